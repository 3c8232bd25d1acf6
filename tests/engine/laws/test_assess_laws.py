"""The laws of an assessment, on random visits to the small pack.

For what clinical rules alone give, and for an unknown recording that becomes known while everything else of the visit
stays: certain never falls, possible never rises, settled stays settled.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from copy import deepcopy
from typing import Any

import pytest
from hypothesis import given, settings
from support.seeds import EACH, seeds, several
from support.small_pack import AT, BORN, FOLDER, small, statuses, visit

from layette.engine import Assessment, ReaderFailed, ReadersDisagree, load_pack
from layette.engine.logic.conditions import State, Status
from layette.engine.logic.native import NativeReader
from layette.engine.logic.program import Reader, Reading
from layette.engine.logic.rete import rete_available
from layette.engine.terms import PRIORITIES

PAIRS = [("native", second) for second in ("rete", "closures", "reference") if second != "rete" or rete_available()]
RANK = {None: len(PRIORITIES), **{priority: k for k, priority in enumerate(PRIORITIES)}}

NUMBERS = {
    "temperature": ("Cel", [34.0, 35.5, 36.8, 37.9, 38.0, 39.2]),
    "weight": ("kg", [2.5, 2.7, 2.79, 2.9, 3.1]),
    "birth_weight": ("kg", [3.0, 3.2]),
    "serum_bilirubin": ("mg/dL", [5.0, 12.0, 17.6, 25.0]),
    "gestational_age": ("wk", [36, 38, 40]),
    "discharge_age": ("h", [24, 48]),
}
CATEGORIES = {
    "red_reflex.left": ["present", "dull", "white", "abnormal"], "red_reflex.right": ["present", "absent"],
    "testis.left": ["in_scrotum", "not_felt", "retractile"], "testis.right": ["in_scrotum", "not_felt"],
    "barlow.left": ["negative", "positive"], "barlow.right": ["negative", "positive"],
    "alertness": ["alert", "sleepy", "hard_to_wake", "abnormal"], "cord_attached": ["yes", "no"],
}  # fmt: skip
AGES = ["1 h", "30 h", "73 h", "90 h"]
Item = tuple[str, dict[str, Any]]


def item(rng: random.Random) -> Item:
    """One recording, perhaps at another time than the visit."""
    name = rng.choice([*NUMBERS, *CATEGORIES, "pulse_oximetry"])
    when = {"age": rng.choice(AGES)} if rng.random() < 0.5 else {}
    if name == "pulse_oximetry":
        return name, {"hand": rng.choice([88, 95, 99]), "foot": rng.choice([89, 97]), "unit": "%", **when}
    if name in CATEGORIES:
        return name, {"value": rng.choice(CATEGORIES[name]), **when}
    unit, values = NUMBERS[name]
    value: Any = rng.choice(values)
    if rng.random() < 0.2:
        value = {rng.choice(["at_least", "below", "more_than", "at_most"]): value}
    return name, {"value": value, "unit": unit, **when}


def a_visit(rng: random.Random) -> dict[str, Any]:
    """A random visit: some findings, some of them tried without a value, some history."""
    findings: dict[str, list[dict[str, Any]]] = {}
    for name, fields in (item(rng) for _ in range(rng.randint(0, 9))):
        if rng.random() < 0.125:
            fields = {key: fields[key] for key in ("age",) if key in fields} | {"absent": "not-performed"}
        findings.setdefault(name, []).append(fields)
    past: dict[str, Any] = {}
    for name, fields in (item(rng) for _ in range(rng.randint(0, 3))):
        past.setdefault(name, []).append({**fields, "age": rng.choice(AGES)})
    parts: dict[str, Any] = {"sex_at_birth": rng.choice(["male", "female", "unknown"])}
    if rng.random() < 0.5:
        parts["history_complete"] = ["observations"]
    born, at = rng.choice([(BORN, AT), ("2026-11-20", AT), (BORN, "2026-12-09T09:00:00-06:00")])
    return {**visit(findings, history={"findings": past}, **parts), "born": born, "at": at}


def visits(seed: int) -> Iterator[dict[str, Any]]:
    return map(a_visit, several(seed))


def assess(flat: Any, readers: Sequence[str] = ("native",)) -> Assessment:
    return small().assess(flat, readers=readers)


def answers(found: Assessment) -> dict[tuple[str, str | None], tuple[int, int, bool]]:
    """Target and side -> rank of certain, rank of possible, settled."""
    return {(a.target, a.side): (RANK[a.certain], RANK[a.possible], a.settled) for a in found.answers}


def one_more_known(seed: int) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Yield a visit, and the same with one recording that was open, or loose, exactly known."""
    return map(_one_more_known, several(seed))


def _one_more_known(rng: random.Random) -> tuple[dict[str, Any], dict[str, Any]]:
    before = a_visit(rng)
    loose = [
        (name, k) for name, items in before["findings"].items() for k in range(len(items)) if _is_open(name, k, before)
    ]
    after = deepcopy(before)
    if not loose:
        known, (name, fields) = {f for f, _ in _read(before)}, item(rng)
        if name.split(".")[0] not in known:
            after["findings"].setdefault(name, []).append({k: v for k, v in fields.items() if k != "age"})
        return before, after if name.split(".")[0] not in known else before
    name, k = rng.choice(loose)
    fields = after["findings"][name][k]
    fields.pop("absent", None)
    fields.update(_completed(rng, name, fields.get("value")))
    return before, after


def _is_open(name: str, k: int, flat: dict[str, Any]) -> bool:
    """Whether a recording can become known without being a further one beside another of its time."""
    fields = flat["findings"][name][k]
    value = fields.get("value")
    ages = [other.get("age") for subject, other in _read(flat) if subject == name.split(".")[0]]
    alone = len(ages) == 1
    # counted from a birth of which the hour is not known, an age overlaps the moment of the visit
    of_its_time = ages.count(fields.get("age")) == 1 and (alone or "T" in flat["born"])
    # "abnormal" beside an exact recording of the same finding is taken for that one, said less exactly
    return alone if "absent" in fields or value == "abnormal" else of_its_time and isinstance(value, dict)


def _read(flat: dict[str, Any]) -> list[Item]:
    places = [flat["findings"], flat["history"]["findings"]]
    return [(name.split(".")[0], f) for place in places for name, items in place.items() for f in items]


def _completed(rng: random.Random, name: str, loose: Any) -> dict[str, Any]:
    """A value that the loose one allowed."""
    if name == "pulse_oximetry":
        return {"hand": rng.choice([88, 95]), "foot": 97, "unit": "%"}
    if name in CATEGORIES:
        expected = CATEGORIES[name][0]
        allowed = [v for v in CATEGORIES[name] if v != "abnormal" and (loose != "abnormal" or v != expected)]
        return {"value": rng.choice(allowed)}
    unit, values = NUMBERS[name]
    tests = {
        "at_least": lambda v, b: v >= b, "more_than": lambda v, b: v > b,
        "at_most": lambda v, b: v <= b, "below": lambda v, b: v < b,
    }  # fmt: skip
    if not isinstance(loose, dict):
        return {"value": rng.choice(values), "unit": unit}
    (word, bound), *_ = loose.items()
    inside = [v for v in (*values, bound + 0.05, bound - 0.05) if tests[word](v, bound)]
    return {"value": round(rng.choice(inside), 3), "unit": unit}


@settings(max_examples=120 // EACH, deadline=None)
@given(seeds)
def test_knowing_more_never_takes_back_what_was_certain(seed: int) -> None:
    for pair in one_more_known(seed):
        before, after = (answers(assess(flat)) for flat in pair)
        assert before.keys() == after.keys()
        for place, (certain, possible, settled) in before.items():
            assert after[place][0] <= certain, f"certain fell at {place}"
            assert after[place][1] >= possible, f"possible rose at {place}"
            assert after[place][2] or not settled, f"{place} is no longer settled"


@settings(max_examples=120 // EACH, deadline=None)
@given(seeds)
def test_a_rule_that_is_decided_stays_so_and_a_provisional_one_falls_only_to_its_replacer(seed: int) -> None:
    stays = {"fired": {"fired"}, "ruled out": {"ruled out", "not applicable"}, "not applicable": {"not applicable"}}
    for pair in one_more_known(seed):
        before, after = (statuses(assess(flat)) for flat in pair)
        for name, status in before.items():
            assert after[name] in stays.get(status, set(after.values()))
            if status == "provisional" and after[name] not in ("provisional", "fired"):
                assert after[name.replace("first", "again")] in ("fired", "provisional")
                assert name.startswith("exam.barlow-first")


@settings(max_examples=80 // EACH, deadline=None)
@given(seeds)
def test_nothing_outstanding_means_all_is_settled(seed: int) -> None:
    """And what is unsettled has something outstanding, a table that is missing, or an earlier visit that is."""
    for found in map(assess, visits(seed)):
        open_rules = {t.rule for t in found.trace if t.status in ("undecided", "provisional")}
        asked = any(step.questions for step in found.steps) or found.cannot_evaluate
        earlier = any(n.startswith("no earlier visit") for n in found.notices)
        exact = any(t.open == ("exact time of birth",) for t in found.trace)
        if not (asked or earlier or exact or any(t.may_stay_undecided for t in found.trace if t.rule in open_rules)):
            assert all(answer.settled for answer in found.answers)
        for answer in found.answers:
            assert answer.settled == (answer.certain == answer.possible)


@pytest.mark.parametrize("sex", ["male", "female", "unknown"])
@pytest.mark.parametrize("complete", [[], ["observations", "orders", "guidance", "immunizations"]])
@pytest.mark.parametrize("at", [AT, "2027-02-10T10:00:00-06:00"])
def test_no_clinical_rule_fires_without_findings(sex: str, complete: list[str], at: str) -> None:
    found = assess({**visit(sex_at_birth=sex, history_complete=complete), "at": at})
    due = {item.rule for item in found.due}
    assert {t.rule for t in found.trace if t.status in ("fired", "provisional")} <= due | {"exam.bloodspot"}
    assert {r.target for r in found.recommendations} <= {"bloodspot_test"}
    assert all(answer.certain is None for answer in found.answers)


def shuffled(value: Any, rng: random.Random) -> Any:
    """The same, with every mapping and every list of recordings in another order."""
    if isinstance(value, dict):
        keys = list(value)
        rng.shuffle(keys)
        return {key: shuffled(value[key], rng) for key in keys}
    if isinstance(value, list):
        return rng.sample([shuffled(item, rng) for item in value], len(value))
    return value


@settings(max_examples=60 // EACH, deadline=None)
@given(seeds)
def test_the_order_of_the_input_never_matters(seed: int) -> None:
    for rng in several(seed):
        flat = a_visit(rng)
        paths = [_without_paths(assess(v)) for v in (flat, shuffled(flat, rng))]
        assert paths[0] == paths[1]


def _without_paths(found: Assessment) -> str:
    """The whole assessment; only a warning may name the place in the input, which a shuffle moves."""
    return found.model_copy(update={"warnings": tuple(sorted(w.partition(": ")[2] for w in found.warnings))}).to_json()


@settings(max_examples=60 // EACH, deadline=None)
@given(seeds)
def test_the_same_input_gives_the_same_bytes(seed: int) -> None:
    for flat in visits(seed):
        assert assess(deepcopy(flat)).to_json() == assess(flat).to_json()


@pytest.mark.parametrize("pair", PAIRS)
@settings(max_examples=60 // EACH, deadline=None)
@given(seeds)
def test_two_readers_agree_and_both_are_named(pair: tuple[str, str], seed: int) -> None:
    for flat in visits(seed):
        found = assess(flat, pair)
        assert found.readers == pair
        assert found.read == "conditions read twice; measures and resolution once"
        alone = assess(flat)
        assert alone.read == "read once"
        assert found.model_copy(update={"readers": alone.readers, "read": alone.read}) == alone


class Deaf(NativeReader):
    """A reader that never hears a rule fire."""

    name = "deaf"

    def read(self, states: Sequence[State]) -> Reading:
        right = super().read(states)
        quiet = tuple(Status.UNDECIDED if s is Status.FIRED else s for s in right.statuses)
        return Reading(quiet, right.states)


def test_a_disagreement_is_refused_with_the_highest_priority(monkeypatch: pytest.MonkeyPatch) -> None:
    pack = small()
    readers: tuple[Reader, ...] = (NativeReader(pack.program), Deaf(pack.program))
    chosen = {reader.name: reader for reader in readers}
    monkeypatch.setattr(type(pack), "readers", lambda _, names=None: tuple(chosen[n] for n in names or chosen))
    monkeypatch.setattr("layette.engine.api.usual", lambda: tuple(chosen))
    with pytest.raises(ReadersDisagree, match=r"exam\.red-reflex-abnormal fired") as caught:
        pack.assess(visit({"red_reflex.left": "white", "cord_attached": "yes"}))
    assert caught.value.highest == "stat"
    assert caught.value.answers["deaf"]["exam.red-reflex-abnormal"] == "undecided"
    assert {line.split(":")[0] for line in caught.value.urgent} == {"Ophthalmology"}


class Broken(NativeReader):
    """A reader that breaks down over every visit."""

    name = "broken"

    def read(self, states: Sequence[State]) -> Reading:
        raise RuntimeError(f"the visit was {states}")


@pytest.mark.parametrize("broken_first", [True, False])
def test_a_reader_that_breaks_down_hides_no_emergency(broken_first: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    pack = small()
    pair = [NativeReader(pack.program), Broken(pack.program)]
    chosen = {reader.name: reader for reader in (pair[::-1] if broken_first else pair)}
    monkeypatch.setattr(type(pack), "readers", lambda _, names=None: tuple(chosen[n] for n in names or chosen))
    monkeypatch.setattr("layette.engine.api.usual", lambda: tuple(chosen))
    with pytest.raises(ReaderFailed, match=r"^the reader 'broken' of the rules broke down \(RuntimeError\)") as caught:
        pack.assess(visit({"red_reflex.left": "white"}))
    assert {line.split(":")[0] for line in caught.value.urgent} == {"Ophthalmology"}


def test_a_second_reader_that_cannot_be_built_hides_no_emergency(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(*_: object) -> Reader:
        raise ImportError("no such library")

    with monkeypatch.context() as patch:
        patch.setattr("layette.engine.logic.readers.ClosureReader", missing)
        patch.setattr("layette.engine.logic.readers.ReteReader", missing)
        with pytest.raises(ReaderFailed, match="ImportError") as caught:
            load_pack(FOLDER).assess(visit({"red_reflex.left": "white"}))
    assert {line.split(":")[0] for line in caught.value.urgent} == {"Ophthalmology"}


def test_a_reader_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="no reader 'third'"):
        small().assess(visit(), readers=["third"])


VISITS = [
    visit({"red_reflex.left": "white"}),
    visit({"temperature": {"value": 38.5, "unit": "Cel"}}, sex_at_birth="female"),
    visit({"weight": {"value": 2.7, "unit": "kg"}, "birth_weight": {"value": 3, "unit": "kg"}}),
    visit({"testis.both": "not_felt"}, sex_at_birth="male"),
    visit(history_complete=["observations"]),
]


def test_eight_threads_share_one_pack() -> None:
    right = [assess(flat, PAIRS[0]).to_json() for flat in VISITS]
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda k: assess(VISITS[k % len(VISITS)], PAIRS[0]).to_json(), range(160)))
    assert [k for k, text in enumerate(found) if text != right[k % len(VISITS)]] == []
