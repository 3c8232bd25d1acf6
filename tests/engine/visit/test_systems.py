"""A system charted as "normal" in one word: what it fills, what it leaves to a hand, and how a form says so."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from support.small_pack import AT, BORN, copied

from layette.engine import InputError, Pack, load_pack
from layette.engine.visit.recordings import Readings
from layette.engine.visit.visit import Visit

EYES = """
normal:
  eyes: {label: Eyes, spreads: {cord_attached: "no"}, leaves_out: [red_reflex, barlow]}
"""


@cache
def _pack(folder: Path) -> Pack:
    return load_pack(folder)


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    """Return the small pack with a system of which one finding is seen and two take a hand."""
    file = "findings/exam.yaml"
    hands = [
        (file, f"    label: {label}", f"    label: {label}\n    by_hand: true")
        for label in ("Red reflex", "Barlow test")
    ]
    seen = (file, '    values: ["yes", "no"]\n  barlow', '    values: ["yes", "no"]\n    expected: "no"\n  barlow')
    return _pack(copied(tmp_path_factory.mktemp("systems"), *hands, seen, (file, "", EYES)))


def read(pack: Pack, findings: dict[str, Any]) -> Visit:
    return pack.read_visit({"born": BORN, "at": AT, "findings": findings})


def test_a_normal_of_a_system_fills_what_is_seen_and_nothing_that_takes_a_hand(pack: Pack) -> None:
    visit = read(pack, {"eyes": "normal"})
    assert [(r.finding, r.spread_from) for r in visit.readings] == [("cord_attached", "Eyes")]


def test_what_is_left_out_is_told_by_name(pack: Pack) -> None:
    (told,) = read(pack, {"eyes": "normal"}).warnings
    assert told.startswith("findings.eyes: 'Eyes' charted as normal is no look at what takes a hand or an instrument")
    assert told.endswith("record it by itself: Red reflex; Barlow test")


def test_only_what_nobody_recorded_by_itself_is_told(pack: Pack) -> None:
    (told,) = read(pack, {"eyes": "normal", "red_reflex.left": "present"}).warnings
    assert told.endswith("record it by itself: Barlow test")
    assert read(pack, {"eyes": "normal", "red_reflex.both": "present", "barlow.both": "negative"}).warnings == ()


def test_another_visit_is_told_nothing(pack: Pack) -> None:
    earlier = {"eyes": {"value": "normal", "age": "30 h"}}
    flat = {"born": BORN, "at": AT, "findings": {}, "history": {"findings": earlier}}
    assert pack.read_visit(flat).warnings == ()


def test_a_form_says_which_system_filled_a_finding(pack: Pack) -> None:
    filled, own = {"value": "no", "charted_by": "eyes"}, "yes"
    (reading,) = read(pack, {"cord_attached": filled}).readings
    assert reading.spread_from == "Eyes"
    chosen = Readings(read(pack, {"cord_attached": [filled, own]}), pack.findings).latest("cord_attached")
    assert chosen.valued is not None
    assert chosen.valued.given == "yes"
    assert chosen.why == "what was recorded by itself counts before a normal of the whole system"


@pytest.mark.parametrize(
    ("finding", "value", "system", "says"),
    [
        ("cord_attached", "no", "ears", "no system that is charted as normal"),
        ("red_reflex.both", "present", "eyes", "the normal of a system does not fill 'red_reflex'"),
        ("alertness", "alert", "eyes", "the normal of a system does not fill 'alertness'"),
    ],
)
def test_a_system_that_does_not_fill_the_finding_is_refused(
    finding: str, value: str, system: str, says: str, pack: Pack
) -> None:
    with pytest.raises(InputError) as caught:
        read(pack, {finding: {"value": value, "charted_by": system}})
    (problem,) = caught.value.problems
    assert (problem.path, problem.value) == (f"findings.{finding}.charted_by", system)
    assert says in problem.message
