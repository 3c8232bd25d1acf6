"""What bad input gets: the path of the field, what was found there, what would be right; all at once; no traceback."""

from __future__ import annotations

import json
from contextlib import suppress
from copy import deepcopy
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from support.random_json import or_one_of, random_json, random_leaf, random_text
from support.seeds import EACH, seeds, several
from support.small_pack import AT, BORN, small, visit

from layette.engine import Assessment, InputError, assess
from layette.engine.errors import INPUT_CODES, InputProblem

OF_READERS = {"invalid-fhir", "not-json", "patient", "too-large"}
"""Codes that only what stands before the engine can raise: bytes, Bundles, limits of size."""


def problems(flat: Any, at: str | None = None) -> tuple[InputProblem, ...]:
    with pytest.raises(InputError) as caught:
        small().assess(flat, at, readers=["native"])
    return caught.value.problems


def finding(name: str, item: Any) -> dict[str, Any]:
    return visit({name: item})


def weight(**fields: Any) -> dict[str, Any]:
    return finding("weight", fields)


HISTORY = {"value": 3.2, "unit": "kg"}
BAD: list[tuple[str, Any, str, str, str, str]] = [
    # code, visit, path, message, found, expected
    ("structure", [], "$", "a visit is a mapping", "a list", "born, at, findings"),
    ("structure", visit(weights=1), "weights", "no such part", "weights", "history_complete"),
    ("structure", visit(layette_visit=2), "layette_visit", "another version", "2", "1"),
    ("structure", visit(patient="\ud800"), "$", "half a character", "", "Unicode"),
    ("structure", {**visit(), "findings": [1]}, "findings", "a mapping by name", "a list", ""),
    ("structure", visit(history=[1]), "history", "the history is a mapping", "", "orders"),
    ("structure", visit(history={"labs": []}), "history.labs", "no such part", "labs", "findings, orders"),
    ("structure", visit(history={"orders": {"target": "x"}}), "history.orders", "a list is due", "a mapping", "a list"),
    ("structure", visit(history={"orders": ["x"]}), "history.orders[0]", "a mapping is due", "a text", "a mapping"),
    ("structure", visit(history={"orders": [{}]}), "history.orders[0]", "names its target", "", "{target"),
    ("structure", visit(history={"guidance": [{}]}), "history.guidance[0]", "needs its 'topic'", "", "{topic"),
    ("structure", visit(history={"immunizations": [{}]}), "history.immunizations[0]", "its 'code'", "", "{code"),
    ("structure", visit(history_complete=["labs"]), "history_complete[0]", "not a part", "labs", "observations"),
    ("structure", visit(settings=["a"]), "settings", "a mapping by name", "a list", ""),
    ("structure", visit(identifiers="7"), "identifiers", "a list is due", "a text", "a list"),
    ("structure", visit(not_understood=[7]), "not_understood[0]", "a mapping is due", "a number", "a mapping"),
    ("structure", weight(value=3.4, unit="kg", colour="red"), "findings.weight", "no part 'colour'", "colour", ""),
    ("structure", weight(value=3.4, unit="kg", reported="no"), "findings.weight.reported", "true or false", "no",
     "true"),
    ("structure", finding("pulse_oximetry", {"unit": "%"}), "findings.pulse_oximetry", "in parts", "", "hand and foot"),
    ("value", weight(value="3_1.5", unit="kg"), "findings.weight", "is a number", "3_1.5", "a number in kg"),
    ("value", weight(value="٣", unit="kg"), "findings.weight", "is a number", "٣", "a number in kg"),
    ("value", weight(value="1e9999999", unit="kg"), "findings.weight", "is a number", "1e9999999", "a number in kg"),
    ("time", weight(value=3.4, unit="kg", age="٩ h"), "findings.weight.age", "not an amount", "٩ h", "90 h"),
    ("birth", {"at": AT}, "born", "is missing", "", "such as 2026-"),
    ("birth", {"at": AT, "born": 7}, "born", "is missing", "7", "such as 2026-"),
    ("birth", {"at": AT, "born": "2026-11-20T08:00"}, "born", "offset from UTC", "2026-11-20T08:00", "with offset"),
    ("birth", {"at": AT, "born": "20 November"}, "born", "", "20 November", "a date, or a date and time"),
    ("birth", {"at": AT, "born": "1026-11-20"}, "born", "a year from 1900 to 2199", "1026-11-20", ""),
    ("time", {"born": BORN}, "at", "moment of the visit is missing", "", "with offset"),
    ("time", {"born": BORN, "at": "2026-11-24T10:00:00"}, "at", "offset", "2026-11-24T10:00:00", "-06:00"),
    ("time", {"born": BORN, "at": "2026-11-24"}, "at", "needs its offset", "2026-11-24", "such as"),
    ("time", {"born": BORN, "at": "2026-11-19T10:00:00-06:00"}, "at", "before birth",
     "2026-11-19T10:00:00-06:00", BORN),
    ("time", weight(value=3, unit="kg", time="2026-11-24T11:00:00-06:00"), "findings.weight.time", "after the visit",
     "2026-11-24T11:00:00-06:00", f"not after {AT}"),
    ("time", weight(value=3, unit="kg", time="2026-11-20T07:00:00-06:00"), "findings.weight.time", "before birth",
     "2026-11-20T07:00:00-06:00", f"not before {BORN}"),
    ("time", weight(value=3, unit="kg", time="2026-11-24T09:00:00"), "findings.weight.time", "offset from UTC",
     "2026-11-24T09:00:00", "with offset"),
    ("time", weight(value=3, unit="kg", time=7), "findings.weight.time", "is missing", "7", "such as"),
    ("time", weight(value=3, unit="kg", age="4 months"), "findings.weight.age", "'months' cannot be", "4 months",
     "such as 90 h"),
    ("time", weight(value=3, unit="kg", age="99 h"), "findings.weight.age", "after the visit", "99 h", "not after"),
    ("time", weight(value=3, unit="kg", age="-1 h"), "findings.weight.age", "from birth on", "-1 h", "such as 90 h"),
    ("time", visit(history={"findings": {"weight": HISTORY}}), "history.findings.weight", "needs its time", "", "age"),
    ("time", visit(history={"orders": [{"target": "x", "time": ""}]}), "history.orders[0].time", "", "", "offset"),
    ("age", {"born": "2026-08-24T08:00:00-06:00", "at": AT}, "born",
     "92 days old; this pack decides nothing after day 91",
     "2026-08-24T08:00:00-06:00", "0 to 91 days"),
    ("unit", finding("weight", 3.4), "findings.weight.unit", "a number needs its unit", "", "kg, g, [lb_av]"),
    ("unit", weight(value=3.4, unit="stone"), "findings.weight.unit", "not a unit of 'Weight'", "stone", "kg, g"),
    ("unit", weight(value=3.4, unit=["kg"]), "findings.weight.unit", "not a unit", "[kg]", "kg, g"),
    ("unit", weight(value=3.4, unit="KG"), "findings.weight.unit", "not a unit of 'Weight'", "KG", "kg, g"),
    ("implausible", weight(value=34, unit="kg"), "findings.weight", "not physically possible", "34 kg", "0.3 to 12"),
    ("implausible", weight(value=3400, unit="kg"), "findings.weight", "not physically possible", "3400 kg", "kg"),
    ("implausible", weight(value=3.4, unit="g"), "findings.weight", "not physically possible", "3.4 g", "0.3 to 12"),
    ("implausible", finding("serum_bilirubin", {"value": 250, "unit": "mg/dL"}), "findings.serum_bilirubin",
     "not physically possible", "250 mg/dL", "0 to 80 mg/dL"),
    ("implausible", finding("temperature", {"value": 38.4, "unit": "[degF]"}), "findings.temperature", "not physically",
     "38.4 [degF]", "Cel"),
    ("implausible", finding("temperature", {"value": {"more_than": 99}, "unit": "Cel"}), "findings.temperature",
     "not physically", "> 99 Cel", "25 to 45"),
    ("value", weight(value="heavy", unit="kg"), "findings.weight", "is a number", "heavy", "a number in kg"),
    ("value", weight(value=True, unit="kg"), "findings.weight", "is a number", "true", "a number in kg"),
    ("value", weight(value="1e999999999", unit="kg"), "findings.weight", "is a number", "1e999999999", "a number"),
    ("value", weight(value={"between": [4, 3]}, unit="kg"), "findings.weight", "is a number", "{between: [4, 3]}",
     ""),
    ("value", weight(value={"at_least": 3, "more_than": 3}, unit="kg"), "findings.weight", "is a number",
     "{at_least", ""),
    ("value", weight(value={"more_than": 3, "below": 3}, unit="kg"), "findings.weight", "is a number",
     "{more_than", ""),
    ("value", weight(unit="kg"), "findings.weight", "neither a value nor a reason", "", ""),
    ("value", finding("alertness", "drowsy"), "findings.alertness", "not a value of 'Alertness'", "drowsy",
     "alert, sleepy, hard_to_wake, abnormal"),
    ("value", finding("temperature", {"value": 37, "unit": "Cel", "route": "ear"}), "findings.temperature.route",
     "not a route", "ear", "rectal, axillary"),
    ("value", weight(value=3, unit="kg", status="entered in error"), "findings.weight.status", "no status",
     "entered in error", "entered-in-error"),
    ("value", visit(sex_at_birth="boy"), "sex_at_birth", "not a sex at birth", "boy", "male, female, unknown"),
    ("side", finding("weight.left", {"value": 3, "unit": "kg"}), "findings.weight.left", "has no sides", "left", ""),
    ("side", finding("barlow.middle", "positive"), "findings.barlow.middle", "not a side", "middle",
     "left, right or both"),
    ("side", finding("barlow", {"value": "positive", "side": "L"}), "findings.barlow", "not a side", "L",
     "left, right"),
    ("contradiction", weight(value=3, unit="kg", absent="not-performed"), "findings.weight",
     "and a reason why it has none",
     "value and absent: not-performed", "one of the two"),
    ("contradiction", finding("barlow.left", {"value": "positive", "side": "right"}), "findings.barlow.left",
     "two sides",
     "left and right", "one side"),
    ("contradiction", weight(value=3, unit="kg", age="1 h", time=BORN), "findings.weight", "two moments",
     "time and age",
     "one of the two"),
    ("unknown-finding", finding("wieght", 3), "findings.wieght", "did you mean 'weight'", "wieght", ""),
    ("unknown-finding", finding("sex_at_birth", "male"), "findings.sex_at_birth", "no such finding", "sex_at_birth",
     ""),
    ("setting", visit(settings={"hips": "a"}), "settings.hips", "no such setting", "a", "loss_limit"),
    ("setting", visit(settings={"loss_limit": "12"}), "settings.loss_limit", "no such setting or choice", "12",
     "at-least-10, more-than-10"),
    ("setting", visit(settings={"loss_limit": []}), "settings.loss_limit", "no such setting or choice", "[]",
     "at-least"),
]  # fmt: skip


@pytest.mark.parametrize(("code", "flat", "path", "message", "found", "expected"), BAD)
def test_a_mistake_is_told_by_path_value_and_what_would_be_right(
    code: str, flat: Any, path: str, message: str, found: str, expected: str
) -> None:
    told = problems(flat)
    assert [(p.code, p.path) for p in told] == [(code, path)], told
    assert message in told[0].message
    assert told[0].value == found or (found and told[0].value.startswith(found))
    assert expected in told[0].expected
    assert str(told[0]).startswith(f"{path}: ")
    assert str(told[0]).endswith(f"[{code}]")


def test_every_code_that_the_engine_can_raise_is_tested() -> None:
    assert {code for code, *_ in BAD} | OF_READERS == set(INPUT_CODES)


def test_all_mistakes_are_told_at_once_in_the_order_of_their_paths() -> None:
    flat = visit(
        {"weight": 3.4, "temperature": {"value": 99, "unit": "Cel"}, "alertness": "drowsy", "barlow.up": "positive"},
        sex_at_birth="boy",
        settings={"hips": "a"},
    )
    told = problems(flat)
    assert [p.path for p in told] == sorted(p.path for p in told)
    assert {p.code for p in told} == {"unit", "implausible", "value", "side", "setting"}
    assert len(told) == 6


def test_a_path_of_the_source_is_told_instead_of_the_place_in_the_flat_form() -> None:
    told = problems(weight(value=34, unit="kg", path="Bundle.entry[3].resource"))
    assert [p.path for p in told] == ["Bundle.entry[3].resource"]


def test_what_is_long_is_shortened_in_the_text() -> None:
    told = problems(weight(value=10**5000, unit="kg"))
    assert told[0].value == "a number of very many digits"
    told = problems(finding("alertness", "x" * 5000))
    assert len(told[0].value) < 130


def test_day_91_is_the_last_one() -> None:
    at = "2026-02-10T09:00:00+00:00"
    assert small().assess({"born": "2025-11-11T23:00:00+00:00", "at": at}, readers=["native"]).age.startswith("91 days")
    assert [p.code for p in problems({"born": "2025-11-10T23:00:00+00:00", "at": at})] == ["age"]


def test_a_moment_given_beside_the_visit_counts_instead_of_its_own() -> None:
    found = small().assess({"born": BORN, "at": "nonsense"}, at=AT, readers=["native"])
    assert found.at == AT
    assert [p.path for p in problems(visit(), at="nonsense")] == ["at"]


# Emergencies


def test_an_emergency_is_told_with_the_mistake_that_stops_the_run() -> None:
    with pytest.raises(InputError) as caught:
        small().assess(visit({"red_reflex.left": "white", "weight": 34}), readers=["native"])
    assert [p.code for p in caught.value.problems] == ["unit"]
    assert len(caught.value.urgent) == 1
    assert caught.value.urgent[0].startswith("Ophthalmology: ")
    assert "[exam.red-reflex-abnormal]" in caught.value.urgent[0]


def test_what_is_not_certain_or_not_an_emergency_is_not_told_with_a_mistake() -> None:
    with pytest.raises(InputError) as caught:
        small().assess(visit({"cord_attached": "yes", "barlow.left": "positive", "weight": 34}), readers=["native"])
    assert caught.value.urgent == ()


def test_a_baby_too_old_for_the_pack_gets_no_decision_at_all() -> None:
    old = {**visit({"red_reflex.left": "white"}), "born": "2026-07-01"}
    with pytest.raises(InputError) as caught:
        small().assess(old, readers=["native"])
    assert caught.value.urgent == ()


# Problems that a visit brings along from the form that it was made from

REFUSED = {"path": "Bundle.entry[3]", "code": "unit", "message": "a number without a unit", "value": "3.2"}


def test_a_visit_that_something_was_refused_of_is_never_assessed() -> None:
    refused = visit({"temperature": 3}, problems=[REFUSED])
    for use in (small().assess, small().read_visit, assess):
        with pytest.raises(InputError) as caught:
            use(refused)
        assert InputProblem(**REFUSED) in caught.value.problems
        assert len(caught.value.problems) > 1, "what the flat reader finds is told together with it"


def test_no_copy_of_a_visit_loses_what_was_refused() -> None:
    refused = visit(problems=[REFUSED])
    for copied in ({**refused, "settings": {}}, refused | {"at": AT}, json.loads(json.dumps(refused)), dict(refused)):
        assert problems(copied) == (InputProblem(**REFUSED),)


def test_an_emergency_is_told_with_what_was_refused_before() -> None:
    with pytest.raises(InputError) as caught:
        small().assess(visit({"red_reflex.left": "white"}, problems=[REFUSED]), readers=["native"])
    assert "[exam.red-reflex-abnormal]" in caught.value.urgent[0]


def test_what_is_missing_because_it_was_refused_is_not_asked_for_again() -> None:
    assert problems({"findings": {}, "problems": [REFUSED]}) == (InputProblem(**REFUSED),)
    assert [p.path for p in problems({"findings": {}, "problems": []})] == ["at"]


@pytest.mark.parametrize("refused", ["weight", [7], [{}], [{"code": "odd", "path": None}], {"path": "x"}, 5])
def test_a_problem_that_says_nothing_stops_the_run_all_the_same(refused: Any) -> None:
    assert {p.code for p in problems(visit(problems=refused))} == {"structure"}


# Nothing else than an InputError, whatever comes

TIMES = (BORN, AT, "kg", "left", "4 h", "2026-11-20", "9999-12-31T23:59:59-23:59", "0001-01-01", "1e400")
NAMES = (
    "born", "at", "findings", "history", "settings", "value", "unit", "time", "age", "side", "absent", "between",
    "at_least", "orders", "target", "weight", "temperature", "barlow.left", "testis", "pulse_oximetry", "hand",
)  # fmt: skip
scalar, name = or_one_of(TIMES, random_leaf), or_one_of(NAMES, random_text, often=0.6)


def anything(rng: Random) -> Any:
    return random_json(rng, scalar, name, leaves=12)


GOOD: dict[str, Any] = {
    "layette_visit": 1, "patient": "Patient/1", "identifiers": [{"system": "urn:x", "value": "7"}],
    "born": BORN, "at": AT, "sex_at_birth": "male",
    "findings": {
        "temperature": [{"value": 38.2, "unit": "Cel", "route": "rectal", "age": "90 h"}, {"value": 37, "unit": "Cel"}],
        "weight": {"value": {"between": [2900, 2950]}, "unit": "g"}, "birth_weight": {"value": "3.300", "unit": "kg"},
        "testis.left": "not_felt", "testis.right": {"absent": "not-performed"}, "barlow.both": "positive",
        "red_reflex": {"value": "abnormal", "side": "left", "status": "corrected", "origin": "Observation/1"},
        "serum_bilirubin": {"value": {"more_than": 20}, "unit": "mg/dL"},
        "gestational_age": {"value": 274, "unit": "d"},
        "pulse_oximetry": [{"hand": 93, "foot": 95, "unit": "%", "age": "26 h"},
                           {"part": "hand", "value": 97, "unit": "%"}],
    },
    "history": {
        "findings": {"barlow.left": {"value": "positive", "age": "1 h"}},
        "orders": [{"target": "ophthalmology", "status": "active", "time": BORN, "reference": "ServiceRequest/9"}],
        "guidance": [{"topic": "cord_care", "time": BORN}], "immunizations": [{"code": "cvx:08", "time": BORN}],
    },
    "history_complete": ["observations"], "settings": {"loss_limit": "more-than-10"},
    "not_understood": [{"path": "Bundle.entry[7]", "code": "1", "why": "no such code"}],
}  # fmt: skip


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(p for key, item in inner for p in places(item, (*path, key)))]


def mutated(rng: Random) -> Any:
    """A good visit in which up to three places are something else, gone, or somewhere else as well."""
    flat = deepcopy(GOOD)
    for _ in range(rng.randint(1, 3)):
        path = rng.choice(places(flat)[1:])
        holder: Any = flat
        for key in path[:-1]:
            holder = holder[key]
        how = rng.choice(["delete", "replace", "replace", "wrap", "copy"])
        if how == "delete":
            del holder[path[-1]]
        elif how == "wrap":
            holder[path[-1]] = [holder[path[-1]]]
        elif how == "copy" and isinstance(holder, dict):
            holder[name(rng)] = deepcopy(holder[path[-1]])
        else:
            holder[path[-1]] = anything(rng)
    return flat


def answered(flat: Any) -> Assessment | None:
    with suppress(InputError):
        return small().assess(flat, readers=["native"])
    return None


def test_the_good_visit_is_good() -> None:
    found = answered(GOOD)
    assert found is not None
    assert len(found.recommendations) >= 4


def is_an_error_or_an_assessment(flat: Any) -> bool:
    found = answered(flat)
    return found is None or json.loads(found.to_json())["layette_assessment"] == 2


@settings(max_examples=400 // EACH, deadline=None)
@given(seeds)
def test_anything_at_all_is_an_input_error_or_an_assessment(seed: int) -> None:
    for flat in map(anything, several(seed)):
        assert is_an_error_or_an_assessment(flat)


@settings(max_examples=300 // EACH, deadline=None)
@given(seeds)
def test_a_mutated_visit_is_an_input_error_or_an_assessment(seed: int) -> None:
    for flat in map(mutated, several(seed)):
        assert is_an_error_or_an_assessment(flat)


@pytest.mark.parametrize("part", ["at", "born"])
@pytest.mark.parametrize("written", [None, "2026-13-01", "noon"])
def test_a_time_that_cannot_be_used_hides_no_other_mistake(part: str, written: str | None) -> None:
    wrong = visit({"temprature": 38, "weight": {"value": 3}, "red_reflex.left": "blue"}, settings={"loss": "x"})
    wrong = {key: value for key, value in wrong.items() if key != part} | ({part: written} if written else {})
    with pytest.raises(InputError) as caught:
        small().assess(wrong)
    told = {problem.path: problem.code for problem in caught.value.problems}
    assert told == {
        part: "birth" if part == "born" else "time", "findings.temprature": "unknown-finding",
        "findings.weight.unit": "unit", "findings.red_reflex.left": "value", "settings.loss": "setting",
    }  # fmt: skip
    assert not any("isoformat" in problem.message for problem in caught.value.problems)


def test_a_date_alone_for_the_visit_is_told_in_words_that_fit_it() -> None:
    with pytest.raises(InputError, match="a date alone does not say when: a time of day is needed"):
        small().assess(visit(), at="2026-11-24")
