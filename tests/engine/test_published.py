"""The published schemas are current, and what is shipped satisfies them; what they refuse is refused."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import jsonschema_rs
import pytest
from support.small_pack import FOLDER, assess, small, visit
from support.sweeps import every_case

from layette.engine.cases.written import Case, read_cases
from layette.engine.pack.written.yaml_nodes import parse
from layette.engine.published import PACK_FILES, schemas, write
from layette.engine.visit.form import DEFINITIONS, VISIT
from layette.engine.visit.items import ITEM_KEYS
from layette.engine.visit.reader import KEYS

ROOT = Path(__file__).parents[2]
PACKS = {"small": FOLDER, "newborn": ROOT / "rules" / "newborn"}
KIND_OF = {
    "pack.yaml": "pack", "settings.yaml": "settings", "sources.yaml": "sources", "measures.yaml": "measures",
    "findings": "findings", "targets": "targets", "decisions": "rules", "guidance": "rules", "tables": "table",
    "cases": "cases", "values.yaml": "values", "orders.yaml": "orders", "translations": "translations",
}  # fmt: skip
GOOD = visit({"weight": {"value": 3.2, "unit": "kg"}, "barlow.left": "positive"})


@cache
def schema(name: str) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(schemas()[f"{name}.schema.json"])
    return made


@cache
def checker(name: str, kind: str = "") -> jsonschema.Draft202012Validator:
    whole = schema(name)
    return jsonschema.Draft202012Validator({"$ref": f"#/$defs/{kind}_file", "$defs": whole["$defs"]} if kind else whole)


def read(place: Path) -> Any:
    document = parse(place.read_text(encoding="utf-8"), place.name)
    assert document.problems == []
    return document.data


@cache
def quick(name: str, kind: str = "") -> jsonschema_rs.Validator:
    return jsonschema_rs.validator_for(checker(name, kind).schema)


def errors(name: str, value: Any, kind: str = "") -> list[str]:
    """What is wrong, in the words of one validator; what another one takes is right."""
    if quick(name, kind).is_valid(value):
        return []
    found = [f"{e.json_path}: {e.message[:200]}" for e in checker(name, kind).iter_errors(value)]
    assert found, "two validators differ"
    return found


@pytest.mark.parametrize("name", sorted(schemas()))
def test_what_is_published_is_current(name: str) -> None:
    published = (ROOT / "schemas" / name).read_text(encoding="utf-8")
    assert published == schemas()[name], "run python -m layette.engine.published"


@pytest.mark.parametrize("name", ["pack", "visit", "assessment", "site"])
def test_each_is_a_json_schema(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema(name))


def test_writing_puts_every_schema_into_the_folder(tmp_path: Path) -> None:
    assert {place.name: place.read_text(encoding="utf-8") for place in write(tmp_path)} == schemas()


def files_of(pack: str) -> list[Path]:
    """The YAML files of a pack; tables that a case brings along are tables."""
    return sorted(p for p in PACKS[pack].rglob("*.yaml"))


@pytest.mark.parametrize("place", [p for pack in PACKS for p in files_of(pack)], ids=lambda p: str(p.relative_to(ROOT)))
def test_every_file_of_a_pack_satisfies_the_schema_of_its_kind(place: Path) -> None:
    pack = next(folder for folder in PACKS.values() if place.is_relative_to(folder))
    kind = KIND_OF[place.relative_to(pack).parts[0]]
    if place.with_suffix(".csv").is_file():
        kind = "table"
    data = read(place)
    assert data is None or errors("pack", data, kind) == []


def test_every_kind_of_file_stands_in_the_schema() -> None:
    assert set(KIND_OF.values()) == set(PACK_FILES)
    assert {f"{kind}_file" for kind in PACK_FILES} <= schema("pack")["$defs"].keys()


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        ("pack", {"id": "x"}), ("findings", {"area": "a", "label": "b", "step": "c"}), ("rules", [{"id": "no-file"}]),
        ("targets", {"a": {"kind": "advise", "label": "b"}}), ("sources", {"a": {"kind": "hearsay", "text": "b"}}),
        ("settings", {"a": {}}), ("measures", {"a": {"compute": 5}}), ("table", {"kind": "chart"}),
        ("cases", [{"id": 5}]),
    ],
)  # fmt: skip
def test_the_schema_of_a_pack_refuses_what_the_loader_refuses(kind: str, value: Any) -> None:
    assert errors("pack", value, kind)


def cases() -> list[Any]:
    """Every case of the packs, by file."""
    by_file: dict[str, list[Case]] = {}
    for pack, found in (("small", read_cases(small())[0]), ("newborn", every_case())):
        for one in found:
            by_file.setdefault(f"{pack}/{one.file}", []).append(one)
    return [pytest.param(several, id=file) for file, several in by_file.items()]


@pytest.mark.parametrize("several", cases())
def test_the_visit_of_every_case_satisfies_the_schema(several: list[Case]) -> None:
    found = {one.shape.id: errors("visit", one.shape.given) for one in several}
    assert {name: wrong for name, wrong in found.items() if wrong} == {}


def test_a_second_validator_takes_what_the_first_one_takes() -> None:
    """The first one alone looks at everything; the second takes ten times as long, and looks at a part."""
    taken = [one.shape.given for one in every_case()[::12]]
    assert [e.message for given in taken for e in checker("visit").iter_errors(given)] == []
    for pack in PACKS:
        for file, kind in (("pack.yaml", "pack"), ("settings.yaml", "settings"), ("sources.yaml", "sources")):
            assert [e.message for e in checker("pack", kind).iter_errors(read(PACKS[pack] / file))] == []


def test_the_example_of_the_page_and_the_flat_examples_satisfy_the_schema() -> None:
    page = (ROOT / "schemas" / "visit.md").read_text(encoding="utf-8")
    shown = parse(page.split("```yaml\n")[1].split("```")[0], "visit.md").data
    assert errors("visit", shown) == []
    flat = sorted((ROOT / "examples").glob("*.yaml"))
    assert {place.name: errors("visit", read(place)) for place in flat} == {place.name: [] for place in flat}
    assert flat, "no flat example is shipped"


def test_the_schema_of_a_visit_has_the_keys_that_the_reader_has() -> None:
    assert VISIT["properties"].keys() == KEYS
    assert DEFINITIONS["recording"]["properties"].keys() == ITEM_KEYS


@pytest.mark.parametrize(
    "change",
    [
        {"born": None}, {"visit": 1}, {"layette_visit": 2}, {"sex_at_birth": "boy"}, {"history_complete": ["labs"]},
        {"findings": {"Weight": 3}}, {"findings": {"barlow.middle": "positive"}}, {"findings": {"weight": None}},
        {"findings": {"weight": {"value": {"between": [1]}, "unit": "kg"}}}, {"history": {"labs": []}},
        {"findings": {"weight": {"value": 3, "unit": "kg", "status": "done"}}}, {"history": {"orders": [{}]}},
        {"findings": {"weight": {"value": 3, "unit": "kg", "reported": "no"}}}, {"settings": {"a": 1}},
    ],
)  # fmt: skip
def test_the_schema_of_a_visit_refuses_what_the_reader_refuses(change: dict[str, Any]) -> None:
    assert errors("visit", GOOD) == []
    assert errors("visit", {**GOOD, **change})


@pytest.mark.parametrize("findings", [{}, GOOD["findings"], {"red_reflex.left": "white", "temperature": []}])
def test_an_assessment_satisfies_its_schema(findings: dict[str, Any]) -> None:
    made = json.loads(assess(findings, sex_at_birth="male").to_json())
    assert errors("assessment", made) == []
    assert errors("assessment", {**made, "extra": 1})
    assert errors("assessment", {k: v for k, v in made.items() if k != "verdict"})


def test_a_site_file_satisfies_its_schema() -> None:
    off = {"rule": "exam.fever", "reason": "a", "by": "b", "on": "2026-03-01"}
    assert errors("site", {"site": "Here", "rules_off": [off], "settings": {"a": "b"}, "tables": {"c": "d.csv"}}) == []
    assert errors("site", {"site": "Here", "rules_off": [{"rule": "exam.fever"}]})
    assert errors("site", {"settings": {}})
