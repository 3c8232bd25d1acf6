"""The published FHIR files are what they say, and what is derived from them is derived from them."""

import hashlib
import json
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ucumvert import get_ucum_parser

from layette.engine import load_pack
from layette.mapping.fhir import types as fhir_types
from layette.mapping.fhir.types import DATA, definition, elements, known, paths, resource_types, table
from layette.mapping.validate.rules.units import common, composed, is_ucum

SHA256 = "c902bd8b19007c30ec3a12bd39cd41ea375ea92d5e89a7c752080625e52bb448"
TABLES = sorted(path.name for path in DATA.glob("*.csv"))


def test_published_schema_is_untouched():
    published = DATA / "fhir.schema.json"
    assert hashlib.sha256(published.read_bytes()).hexdigest() == SHA256
    assert SHA256 in (DATA / "PROVENANCE.md").read_text("utf-8")


def _without_prose(node):
    if isinstance(node, dict):
        return {
            key: _without_prose(child)
            for key, child in node.items()
            if not (key == "description" and isinstance(child, str))
        }
    return [_without_prose(child) for child in node] if isinstance(node, list) else node


def test_definitions_are_the_published_ones_without_prose():
    published = json.loads((DATA / "fhir.schema.json").read_text("utf-8"))["definitions"]
    derived = json.loads((DATA / "definitions.json").read_text("utf-8"))
    assert derived.pop("ResourceList") == {"type": "object", "required": ["resourceType"]}
    del published["ResourceList"]
    assert list(derived) == list(published)
    assert all(derived[name] == _without_prose(body) for name, body in published.items())


def test_every_element_has_a_known_type():
    names = list(json.loads((DATA / "definitions.json").read_text("utf-8")))
    assert len(names) == 680
    assert len(resource_types()) == 146
    for name in names:
        for element in elements(name).values():
            assert element.primitive or known(element.type), f"{name}.{element.name}"


def test_choices_and_amendments():
    observation = elements("Observation")
    assert observation["valueQuantity"].choice == "value"
    assert observation["valueQuantity"].type == "Quantity"
    assert observation["valueDateTime"].type == "dateTime"
    assert observation["status"].choice == ""
    assert list(elements("Extension"))[-2:] == ["valueDosage", "valueMeta"]
    assert paths("CarePlan")["CarePlan_Detail"] == "CarePlan.activity.detail"
    assert all(added in definition(name)["properties"] for name, added in [("Task_Input", "valueMeta")])


@pytest.mark.parametrize("name", TABLES)
def test_each_table_says_where_it_comes_from(name):
    first = (DATA / name).read_text("utf-8").split("\n", 1)[0]
    assert first.startswith("# ")
    assert "hl7.fhir.r4.core 4.0.1" in first
    assert table(name), f"{name} has no rows"
    assert name in (DATA / "PROVENANCE.md").read_text("utf-8")


@pytest.mark.parametrize("name", [name for name in TABLES if "path" in table(name)[0]])
def test_each_path_of_a_table_leads_somewhere(name):
    for row in table(name):
        assert _leads_somewhere(row["path"]), f"{name}: {row['path']}"


def _leads_somewhere(path):
    root, *steps = path.split(".")
    kind = root
    for step in steps:
        stem = re.sub(r"\[x\]$", "", step)
        found = [one for one in elements(kind).values() if one.name == stem or one.choice == stem]
        if not found:
            return False
        kind = found[0].type
    return known(root)


def test_common_units_are_ucum():
    parser = get_ucum_parser()
    for code in sorted(common()):
        parser.parse(code)
    assert {"kg", "g", "[lb_av]", "cm", "Cel", "/min", "%", "mg/dL", "umol/L", "{score}"} <= common()


def test_uncommon_units_are_parsed():
    assert is_ucum("mg/dL/h") is True
    assert is_ucum("kgs") is False
    assert is_ucum("kg m") is False


@given(st.lists(st.sampled_from(sorted(common())), min_size=1, max_size=4), st.lists(st.sampled_from("./"), min_size=4))
@settings(max_examples=40, deadline=None)
def test_what_is_made_of_common_units_is_ucum_without_its_grammar(parts, joints):
    code = "".join(joint + part for joint, part in zip(joints, parts, strict=False))[1:]
    if composed(code):
        get_ucum_parser().parse(code)
    assert composed(code) or "{" in code or "/" in "".join(parts) or "." in "".join(parts)


@pytest.mark.parametrize("code", ["", "/", "kg/", "kg//d", "//min", "{}", "{a b}", "{a{b}", "kgs/d", "kg.{SD}"])
def test_what_is_not_made_of_them_is_left_to_the_grammar(code):
    assert not composed(code)


def test_no_unit_of_the_pack_needs_the_grammar():
    pack = load_pack()
    numbers = [shape.number for shape in pack.findings.values() if shape.number]
    units = {unit for number in numbers for unit in (number.unit, *number.accepts)}
    units |= {pack.subjects.measure_unit(name) for name in pack.measures} - {"", None}
    assert "mg/dL/h" in units
    assert sorted(unit for unit in units if unit not in common() and not composed(unit)) == []


def test_lines_are_read_lazily():
    assert fhir_types.definition("Quantity")["properties"]["value"] == {"$ref": "#/definitions/decimal"}
    with pytest.raises(KeyError):
        fhir_types.definition("Nothing")
