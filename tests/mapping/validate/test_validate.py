"""The validator finds all planted defects, raises no false alarm, and accounts for every invariant of the table."""

import copy
import re
import warnings
from decimal import Decimal

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.checkout import ROOT

from layette.engine.errors import TOLD
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.fhir.types import table
from layette.mapping.validate import KEYS, errors, validate
from layette.mapping.validate.coverage import ELSEWHERE, IN_THE_WALK, uncovered
from layette.mapping.validate.report import operation_outcome, text_report
from layette.mapping.validate.rules import units
from layette.mapping.validate.rules.issue import Issue
from layette.mapping.validate.rules.registry import keys
from layette.mapping.validate.rules.times import surely_after
from layette.mapping.validate.schema import DRAFT, TOGETHER, definitions, validator

DEFECTS = ROOT / "tests/support/defects"


def cases(name):
    return loads((DEFECTS / name).read_bytes())


GOOD = cases("good_cases.json")
PLANTED = cases("planted_defects.json")
OWN = cases("own_defects.json")
ALL = GOOD | {name: case["resource"] for name, case in (PLANTED | OWN).items()}

NO_CATEGORY = ("vital-sign", "warning")
"""Some planted cases carry a weight without its category, which is told of them beside what they are about."""


def told_of(resource):
    """Return what is found in a planted case, but for the category that it lacks."""
    return [one for one in validate(resource) if (one.key, one.severity) != NO_CATEGORY]


PLACES = {
    "b01": "Observation.status",
    "b02": "Observation.status",
    "b03": "Observation.effectiveDateTime",
    "b04": "Observation.effectiveDateTime",
    "b05": "Observation.effectiveDateTime",
    "b07": "Observation.valueBoolean",
    "b09": "Observation.findings",
    "b10": "Observation.code",
    "b11": "Observation.code.coding[0].system",
    "b12": "Observation.valueQuantity.code",
    "b13": "ServiceRequest.intent",
    "b14": "ServiceRequest.subject",
    "b16": "Observation",
    "b18": "Observation.note",
    "b19": "Observation.note",
    "b21": "Observation.text.div",
    "b23": "Bundle.type",
    "b24": "Bundle.entry[1].request",
    "b25": "Bundle.entry[1].fullUrl",
    "b27": "Patient.gender",
    "b28": "Encounter.class",
    "b29": "Observations.resourceType",
    "b30": "Observation.extension[0]",
    "b32": "Task.intent",
    "b34": "Bundle.entry[1].resource.status",
    "b35": "Observation.interpretation",
}


@pytest.mark.parametrize("name", [name for name in PLANTED if name.startswith("b")])
def test_planted_defect_is_found(name):
    found = told_of(PLANTED[name]["resource"])
    assert PLACES[name] in {one.path for one in errors(found)}
    assert len(found) <= 2, "one defect, one issue; only a fullUrl given twice also leaves a reference dangling"


def test_all_planted_defects_are_listed():
    assert sorted(PLACES) == sorted(name for name in PLANTED if name.startswith("b"))
    assert len(PLACES) == 26


@pytest.mark.parametrize("name", [name for name in PLANTED if name.startswith("g")])
def test_no_false_alarm_on_the_given_good_cases(name):
    assert told_of(PLANTED[name]["resource"]) == []


@pytest.mark.parametrize("name", GOOD)
def test_no_false_alarm_on_our_good_cases(name):
    assert validate(GOOD[name]) == []


@pytest.mark.parametrize("name", GOOD)
def test_no_false_alarm_after_another_library(name):
    """What fhir.resources reads and writes again is as valid as before."""
    from fhir.resources.R4B import get_fhir_model_class

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = get_fhir_model_class(GOOD[name]["resourceType"])
        try:
            text = model.model_validate_json(dumps(GOOD[name])).model_dump_json()
        except ValueError:
            pytest.skip("fhir.resources refuses this valid resource")
    assert errors(validate(loads(text))) == []


@pytest.mark.parametrize("name", ALL)
def test_two_json_schema_libraries_agree(name):
    """jsonschema_rs is checked by jsonschema: the same verdict at the same places."""
    for resource in _resources(ALL[name]):
        kind = resource.get("resourceType")
        if not isinstance(kind, str) or not kind.isalpha() or kind in {"Observations"}:
            continue
        plain = _plain(resource)
        alone = {"$schema": DRAFT, "$ref": f"#/definitions/{kind}", "definitions": definitions(kind)}
        fast = {(*error.instance_path[1:],) for error in validator(kind).iter_errors({kind: resource})}
        slow = {(*error.absolute_path,) for error in jsonschema.Draft6Validator(alone).iter_errors(plain)}
        assert fast == slow


def test_the_types_of_a_visit_and_its_answer_share_one_compiled_schema():
    assert {id(validator(kind)) for kind in TOGETHER} == {id(validator("Observation"))}
    assert validator("Medication") is not validator("Observation")
    assert [one.path for one in validate({"resourceType": "Medication", "statu": "active"})] == ["Medication.statu"]


def _resources(node):
    if isinstance(node, dict):
        if "resourceType" in node:
            yield node
        for child in node.values():
            yield from _resources(child)
    elif isinstance(node, list):
        for child in node:
            yield from _resources(child)


def _plain(node):
    if isinstance(node, dict):
        return {key: _plain(child) for key, child in node.items()}
    if isinstance(node, list):
        return [_plain(child) for child in node]
    return float(node) if isinstance(node, Decimal) else node


def test_every_invariant_of_the_table_is_checked():
    rows = {(row["path"], row["key"]) for row in table("invariants.csv")}
    assert uncovered() == []
    assert set(ELSEWHERE) <= rows
    assert set(IN_THE_WALK) <= {key for _, key in rows}


def test_severities_follow_the_table():
    from layette.mapping.validate.rules.registry import RULES

    table_of = {(row["path"], row["key"]): row["severity"] for row in table("invariants.csv")}
    for rules in RULES.values():
        for rule in rules:
            assert table_of.get((rule.path, rule.key), rule.severity) == rule.severity


def test_every_key_is_known():
    published = {key for _, key in keys()} | set(IN_THE_WALK)
    for resource in ALL.values():
        for one in validate(resource, advice=True):
            assert one.key in KEYS or one.key in published
            assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", one.key)


def test_required_codes_of_the_tables_are_all_checked():
    """Each binding with a list of codes refuses a word outside it, wherever the type may stand."""
    from layette.mapping.validate.rules.shapes import shape

    for kind, name, codes in [
        ("Observation", "status", 8),
        ("CarePlan_Detail", "status", 9),
        ("Timing_Repeat", "when", 26),
        ("Quantity", "comparator", 4),
        ("CapabilityStatement_Resource", "type", 148),
        ("MedicationRequest", "intent", 8),
    ]:
        assert len(shape(kind).slots[name].codes) == codes


@pytest.mark.parametrize("value", [None, 3, "x", [], {}, {"resourceType": 3}, {"resourceType": ["Patient"]}])
def test_anything_can_be_validated(value):
    assert errors(validate(value))


junk = st.none() | st.booleans() | st.integers() | st.text(max_size=3) | st.just([]) | st.just({}) | st.just([None])


@settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(sorted(GOOD)), st.randoms(use_true_random=False), junk)
def test_no_mutation_makes_it_raise(name, random, value):
    resource = copy.deepcopy(GOOD[name])
    node = resource
    while True:
        key = random.choice(list(node) if isinstance(node, dict) else range(len(node)))
        if not isinstance(node[key], (dict, list)) or not node[key] or random.random() < 0.2:
            break
        node = node[key]
    node[key] = copy.deepcopy(value)
    for one in validate(resource):
        assert one.message.endswith(".")
        assert one.path


def test_advice_is_asked_for():
    patient = {"resourceType": "Patient", "gender": "female"}
    assert validate(patient) == []
    assert [(one.key, one.severity) for one in validate(patient, advice=True)] == [("dom-6", "warning")]


def test_units_without_ucumvert(monkeypatch):
    monkeypatch.setattr(units, "_grammar", lambda: None)
    units.is_ucum.cache_clear()
    resource = copy.deepcopy(PLANTED["b12"]["resource"])
    (found,) = told_of(resource)
    units.is_ucum.cache_clear()
    assert (found.key, found.severity) == ("unit-unchecked", "information")
    assert found.path == "Observation.valueQuantity.code"


def test_urn_outside_a_bundle_is_a_warning():
    inner = PLANTED["g4_bundle"]["resource"]["entry"][1]["resource"]
    assert [(one.key, one.severity) for one in told_of(inner)] == [("unresolved", "warning")]


@pytest.mark.parametrize(
    ("one", "other", "after"),
    [
        ("2026-01-07", "2026-01-06", True),
        ("2026-01-06", "2026-01-06", False),
        ("2026-01", "2026-01-06", False),
        ("2026-02", "2026-01-31", True),
        ("2027", "2026-12-31", True),
        ("2026-01-06T09:00:00+02:00", "2026-01-06T06:59:59Z", True),
        ("2026-01-06T09:00:00+02:00", "2026-01-06T07:00:00Z", False),
        ("2026-01-06T00:00:00.001Z", "2026-01-06T00:00:00Z", True),
        ("2026-01-06T12:00:00Z", "2026-01-05", False),
        ("2026-01-08T12:00:00Z", "2026-01-05", True),
        ("2026-02-30", "2026-01-05", False),
        (None, "2026-01-05", False),
        ("soon", "2026-01-05", False),
    ],
)
def test_only_what_is_certain_counts(one, other, after):
    assert surely_after(one, other) is after


def test_reports():
    found = told_of(PLANTED["b34"]["resource"])
    outcome = operation_outcome(found)
    assert outcome["issue"][0]["expression"] == ["Bundle.entry[1].resource.status"]
    assert outcome["issue"][0]["code"] == "required"
    assert validate(outcome) == []
    assert validate(operation_outcome([])) == []
    for case in OWN.values():
        assert validate(operation_outcome(validate(case["resource"], advice=True))) == []
    assert text_report(found, "x.json").splitlines()[-1] == "x.json: invalid, 1 error"
    assert text_report([]) == "input: valid, nothing to report"


def test_issue_types_are_of_the_published_set():
    rows = {row["path"]: row["codes"].split() for row in table("required_bindings.csv")}
    assert {code for code, _ in KEYS.values()} <= set(rows["OperationOutcome.issue.code"])


def test_a_flood_of_issues_is_told_in_a_hundred_lines_errors_first() -> None:
    remarks = [Issue(f"Bundle.entry[{k}]", "warning", "structure", "odd", "odd") for k in range(500)]
    issues = [*remarks, Issue("Bundle", "error", "structure", "wrong", "wrong")]
    lines = text_report(issues).splitlines()
    assert len(lines) == TOLD + 2
    assert "wrong" in lines[0]
    assert lines[-2:] == [f"and {501 - TOLD} more", "input: invalid, 1 error, 500 warnings"]
    outcome = operation_outcome(issues)["issue"]
    assert len(outcome) == TOLD + 1
    assert (outcome[0]["severity"], outcome[-1]["diagnostics"]) == ("error", f"and {501 - TOLD} more")


def test_what_was_found_good_once_hides_nothing_later() -> None:
    """A concept that was good in one place is looked at again in another, and so is one that differs."""
    gender = {"coding": [{"system": "http://hl7.org/fhir/observation-status", "code": "final"}], "text": "x"}
    good = {"resourceType": "Observation", "status": "final", "code": gender}
    assert errors(validate(good)) == errors(validate(good)) == []
    for bad in ({"coding": [{"system": "status", "code": "final"}], "text": "x"}, {**gender, "text": " "}):
        once = [str(one) for one in validate({**good, "code": bad})]
        assert once
        assert once == [str(one) for one in validate({**good, "code": bad})]
    bound = {"resourceType": "Condition", "subject": {"reference": "Patient/1"}, "clinicalStatus": gender}
    assert [one.key for one in errors(validate({**bound, "code": gender}))].count("binding") == 1


def test_a_concept_that_points_into_its_resource_is_followed_each_time() -> None:
    valued = {"url": "http://example.org/x", "valueReference": {"reference": "#p"}}
    inside = {
        "resourceType": "Observation", "status": "final", "code": {"extension": [valued], "text": "x"},
        "contained": [{"resourceType": "Patient", "id": "p"}],
    }  # fmt: skip
    for _ in range(2):
        assert [one for one in errors(validate(inside)) if one.key == "dom-3"] == []
    alone = {**inside, "contained": [{"resourceType": "Patient", "id": "q"}]}
    assert "dom-3" in {one.key for one in validate(alone)}
