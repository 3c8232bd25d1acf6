"""From a visit to a measure: what the binder does where a value, a table or a time is missing."""

from __future__ import annotations

import ast
import pickle
from fractions import Fraction
from pathlib import Path
from textwrap import dedent
from typing import Any

import pytest
from support.small_pack import BORN, copied, small, visit

from layette.engine import Pack, load_pack
from layette.engine.measures import REGISTRY
from layette.engine.measures.input_kinds import Lines
from layette.engine.states import measure_text
from layette.engine.states.facts import Facts
from layette.engine.states.inputs import Result
from layette.engine.states.measures import BINDINGS, WORDS

GAIN = "gain: {{compute: gain_per_day, label: Gain, of: weight, {}}}\n"
NOON = "2026-11-2{}T12:00:00-06:00"


def facts(pack: Pack, findings: dict[str, Any]) -> Facts:
    return pack.decide(pack.read_visit(visit(findings, at="2026-11-24T14:00:00-06:00")), ["native"]).facts


def with_measures(place: Path, *entries: str) -> Pack:
    return load_pack(copied(place, ("measures.yaml", "", "".join(entries))))


def recorded(value: str, unit: str, time: str) -> dict[str, Any]:
    return {"value": float(value), "unit": unit, "time": time}


WEIGHTS = {
    "weight": [recorded(value, "kg", NOON.format(day)) for value, day in (("3.0", 4), ("2.95", 3), ("2.8", 2))],
    "birth_weight": recorded("3.1", "kg", BORN),
}


@pytest.mark.parametrize("name", REGISTRY)
def test_every_function_of_the_registry_can_be_bound_and_pickled(name: str) -> None:
    assert pickle.loads(pickle.dumps(BINDINGS[name])).declared is REGISTRY[name]
    assert list(BINDINGS) == list(REGISTRY)
    assert len(BINDINGS) == len(REGISTRY)


def test_the_text_of_a_measure_is_what_the_module_says() -> None:
    shown = (measure_text.__doc__ or "").partition("    def compute")[2]
    assert BINDINGS["difference"].text == dedent(f"    def compute{shown}")


@pytest.mark.parametrize("name", REGISTRY)
def test_the_text_holds_keys_of_the_declaration_and_fixed_words(name: str) -> None:
    declared, known = REGISTRY[name], {*WORDS, "nothing", "not_supplied", "too_close", "function", "basis"}
    known |= {lines.kind.__name__ for lines in declared.of_kind(Lines)}
    names = {node.id for node in ast.walk(ast.parse(BINDINGS[name].text)) if isinstance(node, ast.Name)}
    own = {"inputs", "written", "table", "choice", "made", "later", "earlier", "max", "str", "isinstance"}
    assert names - known - own == {f"v_{key}" for key in declared.keys} & names


@pytest.mark.parametrize(
    ("keys", "gain"),
    [
        ("since: earlier", Fraction(50)),
        ("since: nadir", Fraction(100)),
        ("since: birth, from: birth_weight", Fraction(-600, 25)),
    ],
)
def test_a_gain_counts_from_the_recording_that_the_pack_chooses(keys: str, gain: Fraction, tmp_path: Path) -> None:
    found = facts(with_measures(tmp_path, GAIN.format(keys)), WEIGHTS).result("gain")
    assert found.span == (gain, gain)
    assert (found.unit, found.basis) == ("g/d", keys.partition(",")[0].replace(":", ""))
    assert found.time is not None
    assert found.time.text == NOON.format(4)
    assert len(found.used) == 2


@pytest.mark.parametrize(("apart", "known"), [("24 h", True), ("25 h", False)])
def test_recordings_too_close_in_time_are_told_with_both(apart: str, known: bool, tmp_path: Path) -> None:
    pack = with_measures(tmp_path, GAIN.format(f"since: earlier, at_least_apart: {apart}"))
    found = facts(pack, WEIGHTS).result("gain")
    assert found.known is known
    assert found.why_not == ("" if known else "the two weights are not apart in time")
    assert [recording.time.text for recording in found.used] == [NOON.format(4), NOON.format(3)]


def test_one_recording_is_no_change_and_the_weight_at_birth_may_be_missing(tmp_path: Path) -> None:
    pack = with_measures(tmp_path, GAIN.format("since: birth, from: birth_weight"))
    assert facts(pack, {"weight": WEIGHTS["weight"]}).result("gain") == Result(unit="g/d")
    assert facts(pack, {"birth_weight": WEIGHTS["birth_weight"]}).result("gain") == Result(unit="g/d")


def test_the_time_between_two_findings_is_a_measure(tmp_path: Path) -> None:
    pack = with_measures(
        tmp_path, "apart: {compute: elapsed_hours, label: Apart, later: serum_bilirubin, earlier: birth_weight}\n"
    )
    sample = {"serum_bilirubin": recorded("8", "mg/dL", NOON.format(2))}
    found = facts(pack, sample | {"birth_weight": WEIGHTS["birth_weight"]}).result("apart")
    assert (found.span, found.unit, len(found.used)) == ((Fraction(52), Fraction(52)), "h", 2)
    assert facts(pack, sample).result("apart") == Result(unit="h")


def test_the_time_since_a_named_value_is_a_measure(tmp_path: Path) -> None:
    pack = with_measures(
        tmp_path, "apart: {compute: elapsed_hours, label: Apart, later: serum_bilirubin, earlier: cord_attached}\n"
    )
    sample = {"serum_bilirubin": recorded("8", "mg/dL", NOON.format(2))}
    fell_off = {"cord_attached": {"value": "no", "time": "2026-11-22T06:00:00-06:00"}}
    found = facts(pack, sample | fell_off).result("apart")
    assert (found.span, found.unit, len(found.used)) == ((Fraction(6), Fraction(6)), "h", 2)
    assert facts(pack, sample).result("apart") == Result(unit="h")


def test_a_table_that_is_not_there_is_named() -> None:
    found = BINDINGS["expected_count"].compute(facts(small(), {}), {"table": "nowhere", "column": "wet"})
    assert (found.why_not, found.known) == ("table nowhere not supplied", False)


def test_a_line_that_a_set_has_not_is_named() -> None:
    seen = facts(small(), {"serum_bilirubin": recorded("8", "mg/dL", NOON.format(2))})
    keys = {"of": "serum_bilirubin", "set": "lines_set", "line": "sunlight", "gestation": "gestational_age"}
    assert BINDINGS["threshold"].compute(seen, keys).why_not == "Invented lines has no sunlight line"
    assert BINDINGS["threshold"].compute(seen, keys | {"line": "exchange"}).why_not == ""


def test_a_measure_has_the_unit_of_what_it_is_computed_of(tmp_path: Path) -> None:
    pack = with_measures(
        tmp_path,
        "apart: {compute: difference, label: A, of: weight, minus: birth_weight}\n",
        "again: {compute: difference, label: B, of: apart, minus: weight}\n",
    )
    units = {name: pack.subjects.measure_unit(name) for name in pack.measures}
    assert units["apart"] == units["again"] == "kg"
    assert units["light_line"] == units["light_margin"] == "mg/dL"
    assert units["weight_loss"] == "%"
    assert units["wet_expected"] is None
