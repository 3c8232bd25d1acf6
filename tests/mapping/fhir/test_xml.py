"""XML and JSON hold the same; what cannot be held is refused with its path, and XML is read safely."""

import os
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from support.checkout import ROOT
from support.random_json import BENIGN, random_number, random_text
from support.seeds import EACH, seeds, several

from layette.engine.errors import InputError
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.fhir.types import elements, resource_types
from layette.mapping.fhir.xml import from_xml, to_xml, validate_xsd

DEFECTS = ROOT / "tests/support/defects"
PUBLISHED = "fhir-all-xsd.zip on http://hl7.org/fhir/R4/downloads.html"


def cases(name):
    return loads((DEFECTS / name).read_bytes())


GOOD = cases("good_cases.json")
PLANTED = {name: case["resource"] for name, case in cases("planted_defects.json").items()}
OWN = {name: case["resource"] for name, case in cases("own_defects.json").items()}


@pytest.fixture(scope="session")
def xsd():
    """The published XML Schema; CI must have it, elsewhere the test may be skipped."""
    path = Path(os.environ.get("LAYETTE_FHIR_XSD") or ROOT.parent / "shared/reference/fhir/fhir-single.xsd")
    if not path.is_file():
        message = f"{path} is not there: set LAYETTE_FHIR_XSD to fhir-single.xsd, published in {PUBLISHED}"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        pytest.skip(message)
    return path


@pytest.mark.parametrize("name", GOOD)
def test_good_cases_come_back_digit_for_digit(name):
    back = from_xml(to_xml(GOOD[name]))
    assert back == GOOD[name]
    assert dumps(_sorted(back)) == dumps(_sorted(GOOD[name]))


def _sorted(node):
    if isinstance(node, dict):
        return {key: _sorted(node[key]) for key in sorted(node)}
    return [_sorted(child) for child in node] if isinstance(node, list) else node


@pytest.mark.parametrize("name", GOOD)
def test_good_cases_are_valid_xml(name, xsd):
    assert validate_xsd(to_xml(GOOD[name]), xsd) == []


def test_xml_schema_finds_what_is_missing(xsd):
    found = validate_xsd(to_xml(PLANTED["b01"]), xsd)
    assert len(found) == 1
    assert "category': This element is not expected" in found[0]


@pytest.mark.parametrize("name", [*PLANTED, *OWN])
def test_defects_are_written_in_full_or_refused(name):
    resource = (PLANTED | OWN)[name]
    try:
        document = to_xml(resource)
    except InputError as error:
        assert all(problem.code == "structure" for problem in error.problems)  # noqa: PT017 - either is right
    else:
        assert from_xml(document) == resource


def test_primitives_with_extensions_and_nulls():
    document = to_xml(GOOD["patient_primitive_extensions"]).decode()
    assert '<given value="A"/><given><extension url=' in document
    assert '<birthDate value="2026-01-02"><extension url=' in document


@pytest.mark.parametrize("digits", ["3.250", "0.0", "-0.10", "1.20E+3", "7"])
def test_decimals_keep_their_digits(digits):
    resource = loads(f'{{"resourceType": "Observation", "valueQuantity": {{"value": {digits}}}}}')
    back = from_xml(to_xml(resource))
    assert dumps(back["valueQuantity"]["value"]) == digits


def test_values_of_the_wrong_kind_stay_for_the_validator():
    xml = b'<Observation xmlns="http://hl7.org/fhir"><status value=""/><valueBoolean value="yes"/></Observation>'
    assert from_xml(xml) == {"resourceType": "Observation", "status": "", "valueBoolean": "yes"}
    xml = b'<Observation xmlns="http://hl7.org/fhir"><valueInteger value="03"/></Observation>'
    assert from_xml(xml) == {"resourceType": "Observation", "valueInteger": "03"}


def test_narrative_under_a_prefix_and_comments():
    xml = (
        b'<f:Patient xmlns:f="http://hl7.org/fhir" xmlns:h="http://www.w3.org/1999/xhtml"><!-- c --><f:text>'
        b'<f:status value="generated"/><h:div><h:p>a</h:p></h:div></f:text></f:Patient>'
    )
    assert from_xml(xml)["text"]["div"] == '<div xmlns="http://www.w3.org/1999/xhtml"><p>a</p></div>'


BOMB = b'<!DOCTYPE a [<!ENTITY x "xxxxxxxx"><!ENTITY y "&x;&x;&x;">]><Patient xmlns="http://hl7.org/fhir">&y;</Patient>'


@pytest.mark.parametrize(
    ("xml", "path", "words"),
    [
        (BOMB, "input", "document type"),
        (b'<!DOCTYPE Patient SYSTEM "file:///x"><Patient xmlns="http://hl7.org/fhir"/>', "input", "document type"),
        (b"<Patient>", "line 1", "well-formed"),
        (b'<Patient xmlns="http://hl7.org/fhir">&nbsp;</Patient>', "line 1", "well-formed"),
        (b"<Patient/>", "input", "namespace"),
        (b'<Baby xmlns="http://hl7.org/fhir"/>', "input", "resource type"),
        (b'<Patient xmlns="http://hl7.org/fhir"><weight value="3"/></Patient>', "Patient.weight", "no such element"),
        (b'<Patient xmlns="http://hl7.org/fhir" id="1"/>', "Patient.id", "no such attribute"),
        (b'<Patient xmlns="http://hl7.org/fhir"><active val="true"/></Patient>', "Patient.active.val", "attribute"),
        (b'<Patient xmlns="http://hl7.org/fhir"><active>true</active></Patient>', "Patient.active", "Text"),
        (
            b'<Patient xmlns="http://hl7.org/fhir"><gender value="male"/><gender value="other"/></Patient>',
            "Patient.gender",
            "once",
        ),
        (b'<Patient xmlns="http://hl7.org/fhir"><contained/></Patient>', "Patient.contained[0]", "one resource"),
        (b'<Patient xmlns="http://hl7.org/fhir"><name xmlns="x"/></Patient>', "Patient.name", "no such element"),
        ('<?xml version="1.0"?><a/>'.encode("utf-16"), "byte 0", "UTF-8"),
        (b'<Patient xmlns="http://hl7.org/fhir">' + b"<contact>" * 200, "line 1", "well-formed"),
        (
            b'<Patient xmlns="http://hl7.org/fhir">' + b"<name>" * 150 + b"</name>" * 150 + b"</Patient>",
            "input",
            "nested",
        ),
    ],
)
def test_refused(xml, path, words):
    with pytest.raises(InputError) as caught:
        from_xml(xml)
    assert caught.value.problems[0].path == path
    assert words in caught.value.problems[0].message


def test_too_large():
    with pytest.raises(InputError) as caught:
        from_xml(b"<Patient/>", limit=5)
    assert caught.value.problems[0].code == "too-large"


@pytest.mark.parametrize(
    ("resource", "path"),
    [
        ({"resourceType": "Baby"}, "input.resourceType"),
        ({"resourceType": "Patient", "weight": 3}, "Patient.weight"),
        ({"resourceType": "Patient", "_name": []}, "Patient._name"),
        ({"resourceType": "Patient", "active": "true"}, "Patient.active"),
        ({"resourceType": "Patient", "name": []}, "Patient.name"),
        ({"resourceType": "Patient", "gender": None}, "Patient.gender"),
        ({"resourceType": "Patient", "name": {"family": "x"}}, "Patient.name"),
        ({"resourceType": "Patient", "name": [{"given": [None]}]}, "Patient.name[0].given[0]"),
        ({"resourceType": "Patient", "gender": "a\x00"}, "Patient.gender"),
        ({"resourceType": "Patient", "text": {"div": "<p/>"}}, "Patient.text.div"),
        ({"resourceType": "Patient", "text": {"div": 3}}, "Patient.text.div"),
        ({"resourceType": "Patient", "contained": [{}]}, "Patient.contained[0].resourceType"),
        ({"resourceType": "Patient", "maritalStatus": "x"}, "Patient.maritalStatus"),
    ],
)
def test_not_written(resource, path):
    with pytest.raises(InputError) as caught:
        to_xml(resource)
    assert caught.value.problems[0].path == path


WHOLE = ("integer", "positiveInt", "unsignedInt")
DIV = '<div xmlns="http://www.w3.org/1999/xhtml"><p class="x">a &amp; b<br/></p></div>'
SPACED = ("a\nb", "tab\there", "cr\rcr", ' "quoted" <&> ', "\u00a0")


def text(rng):
    """A text of what XML can carry; empty ones among them."""
    return rng.choice(SPACED) if rng.random() < 0.3 else random_text(rng, 12, BENIGN)


def number(rng):
    fraction = Decimal(rng.randint(-1_000_000, 1_000_000)).scaleb(-3)
    return rng.choice([0, rng.randint(-(10**9), 10**9), fraction, fraction])


PRIMITIVES = {"boolean": lambda rng: rng.random() < 0.5, "decimal": number} | dict.fromkeys(WHOLE, random_number)


def an_object(rng, kind, depth):
    """Return an object of a definition with a few of its elements, nested up to a depth."""
    names = [one for one in elements(kind).values() if one.primitive or depth or one.type == "xhtml"]
    found = {"resourceType": kind} if kind in resource_types() else {}
    for element in rng.sample(names, min(len(names), rng.randrange(5))):
        pairs = [a_pair(rng, element, depth, kind) for _ in range(rng.randint(1, 3) if element.many else 1)]
        for name, items in ((element.name, [a for a, _ in pairs]), (f"_{element.name}", [b for _, b in pairs])):
            if any(item is not None for item in items):
                found[name] = items if element.many else items[0]
    return found


def a_pair(rng, element, depth, kind):
    """Return a value and what extends it; at least one of the two is there."""
    if element.type == "ResourceList":
        return an_object(rng, rng.choice(["Patient", "Observation", "Basic"]), depth - 1), None
    if element.type == "xhtml":
        return DIV, None
    if not element.primitive:
        return an_object(rng, element.type, depth - 1), None
    value = PRIMITIVES.get(element.type, text)(rng)
    attribute = element.name == "id" and kind not in resource_types()
    if attribute or (element.name, kind) == ("url", "Extension") or rng.random() < 0.5:
        return value, None
    companion = {"id": text(rng)} if not depth else {"extension": [an_object(rng, "Extension", depth - 1)]}
    return (value if rng.random() < 0.5 else None), companion


@settings(max_examples=400 // EACH, deadline=None)
@given(seeds)
def test_any_resource_comes_back(seed):
    for rng in several(seed):
        resource = an_object(rng, rng.choice(sorted(resource_types())), 3)
        back = from_xml(to_xml(resource))
        assert back == resource
        assert _digits(back) == _digits(resource)


def _digits(node):
    if isinstance(node, dict):
        return {key: _digits(child) for key, child in node.items()}
    if isinstance(node, list):
        return [_digits(child) for child in node]
    return dumps(node) if isinstance(node, (int, Decimal)) else node
