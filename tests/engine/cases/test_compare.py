"""A case asks for parts of an answer, made one by one; they are those of the whole assessment."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from support.small_pack import AT, small, visit
from support.sweeps import every_case

from layette.engine import Assessment, Pack, load_pack
from layette.engine.cases.compare import differences, numbers_of
from layette.engine.cases.written import Expect

WORDS = {"undecided": "undecided", "ruled out": "ruled_out", "not applicable": "not_applicable"}
PLACED = {"target": "hip_again", "side": "left", "status": "active", "priority": "urgent", "time": AT}
VISITS: dict[str, dict[str, Any]] = {
    "nothing known": visit(),
    "several things": visit(
        {
            "weight": {"value": 2.69, "unit": "kg"},
            "birth_weight": {"value": 3.0, "unit": "kg"},
            "barlow.left": "positive",
            "alertness": "hard_to_wake",
            "serum_bilirubin": {"value": 300, "unit": "umol/L"},
        },
        sex_at_birth="female",
    ),
    "an order that stands": visit(
        {"barlow.left": "positive", "barlow.right": "positive"}, history={"orders": [PLACED]}
    ),
}


def _shipped() -> list[Any]:
    pack = load_pack()
    return [
        pytest.param(pack, case.shape.given, id=case.shape.id) for case in every_case()[::90] if not case.shape.tables
    ]


BOTH = [*(pytest.param(small(), given, id=name) for name, given in VISITS.items()), *_shipped()]


def told(pack: Pack, given: dict[str, Any], **expected: Any) -> list[str]:
    native = pack.readers(["native"])
    context = pack.decide(pack.read_visit(given), ["native"])
    return list(differences(Expect(**expected), context, numbers_of(pack.instances), native))


def proposals(found: Assessment) -> Iterator[Any]:
    for listed in (found.recommendations, found.to_chase, found.avoid, found.guidance, found.reassurance):
        yield from listed


@pytest.mark.parametrize(("pack", "given"), BOTH)
def test_what_the_assessment_says_is_as_expected(pack: Pack, given: dict[str, Any]) -> None:
    found = pack.assess(given, readers=["native"])
    expected = {
        "recommend": [
            {"target": r.target, "priority": r.priority, "side": r.side, "rule": g.rule, "status": g.status}
            for r in proposals(found)
            for g in r.reasons
        ],
        "provisional": [r.target for r in proposals(found) for g in r.reasons if g.status == "provisional"],
        "cannot_evaluate": [one.rule for one in found.cannot_evaluate],
        "measures": {m.id: m.category or m.text for m in found.measures},
        "conclusions": {c.id: c.state for c in found.conclusions},
        "due": {one.rule: one.state for one in found.due},
        **{key: [t.rule for t in found.trace if t.status == word] for word, key in WORDS.items()},
    }
    assert expected["undecided"]
    assert expected["measures"]
    assert told(pack, given, **expected) == []


@pytest.mark.parametrize(("pack", "given"), BOTH)
def test_what_the_assessment_does_not_say_is_told(pack: Pack, given: dict[str, Any]) -> None:
    found = pack.assess(given, readers=["native"])
    made = {r.target for r in proposals(found)}
    looked_up = {due.target for due in found.due if due.state != "later"}
    unsettled = {a.target for a in found.answers if not a.settled}
    assert told(pack, given, recommend=[{"target": t} for t in pack.targets]) == [
        f"expected {t}, found nothing for it" for t in pack.targets if t not in made | looked_up
    ]
    assert told(pack, given, none=list(pack.targets)) == [
        f"expected no recommendation for '{t}'" for t in pack.targets if t in made
    ]
    assert told(pack, given, settled=list(pack.targets)) == [
        f"expected '{t}' to be settled" for t in pack.targets if t in unsettled
    ]
    due = {one.rule: one.state for one in found.due}
    assert told(pack, given, due=dict.fromkeys(pack.rules, "overdue")) == [
        f"expected {rule} overdue, found {due.get(rule, 'not due')}"
        for rule in pack.rules
        if due.get(rule) != "overdue"
    ]
    shown = {m.id: m.text for m in found.measures}
    assert told(pack, given, measures=dict.fromkeys(pack.measures, "nonsense")) == [
        f"expected {name} = nonsense, found {shown.get(name, 'nothing')}" for name in pack.measures
    ]


@pytest.mark.parametrize("word", WORDS)
@pytest.mark.parametrize(("pack", "given"), BOTH)
def test_every_rule_has_the_status_of_the_trace_and_no_other(pack: Pack, given: dict[str, Any], word: str) -> None:
    found = pack.assess(given, readers=["native"])
    fitting = {word, "not applicable"} if word == "ruled out" else {word}
    assert told(pack, given, **{WORDS[word]: [t.rule for t in found.trace]}) == [
        f"expected {t.rule} {word}, found {t.status}" for t in found.trace if t.status not in fitting
    ]


def test_an_order_that_stands_is_no_recommendation() -> None:
    given = VISITS["an order that stands"]
    [standing] = small().assess(given, readers=["native"]).standing
    assert (standing.target, standing.side) == ("hip_again", "left")
    assert told(small(), given, recommend=[{"target": "hip_again", "side": "right"}]) == []
    assert told(small(), given, recommend=[{"target": "hip_again", "side": "left"}]) != []


def test_what_is_to_be_judged_and_what_to_be_chased_can_be_expected() -> None:
    overdue = {
        "target": "oxygen_evaluation",
        "status": "active",
        "priority": "stat",
        "time": "2026-11-21T10:00:00-06:00",
    }
    given = visit({"red_reflex.left": ["white", "present"]}, history={"orders": [overdue]})
    assert told(small(), given, to_judge=["ophthalmology"], to_chase=["oxygen_evaluation"]) == []
    assert told(small(), given, to_judge=["phototherapy"], to_chase=["phototherapy"]) == [
        "expected 'phototherapy' to be judged, found ophthalmology",
        "expected 'phototherapy' to be chased, found oxygen_evaluation",
    ]
