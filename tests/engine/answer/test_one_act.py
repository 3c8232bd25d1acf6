"""One act, one line: a broader act joins the more particular one that does it too, and no side where none matters."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from support.small_pack import copied, rule, visit

from layette.engine import Assessment, Pack, load_pack

TARGETS = """
bilirubin_any: {kind: order, label: Bilirubin measured, met_by: [bilirubin_serum]}
bilirubin_serum: {kind: order, label: Bilirubin in serum}
extra_diapers: {kind: avoid, label: Extra diapers, sided: false}
"""
RULES = """
- id: exam.sleepy-any
  when: {alertness: sleepy}
  then: [{order: bilirubin_any, priority: asap, within: 6 h, do: [through the skin will do]}]
- id: exam.cool-serum
  when: {temperature: {below: 36.5}}
  then: [{order: bilirubin_serum, priority: routine, within: 7 d}]
- id: exam.warm-serum
  when: {temperature: {more_than: 37.5}}
  then: [{order: bilirubin_serum, priority: routine, window: {after: visit, from: 3 d, until: 7 d}}]
- id: exam.mild-serum
  when: {temperature: {at_least: 37.0, at_most: 37.2}}
  unless: {cord_attached: "yes"}
  then: [{order: bilirubin_serum, priority: routine, within: 7 d}]
- id: exam.no-diapers
  each: side
  when: {barlow: positive}
  then: [{avoid: extra_diapers}]
"""


@cache
def pack() -> Pack:
    """The small pack with an act that another one does too, and with one that has no side."""
    with TemporaryDirectory() as place:
        rules = [rule(f"- id: {text}") for text in RULES.strip().removeprefix("- id: ").split("\n- id: ")]
        return load_pack(copied(Path(place), ("targets/all.yaml", "", TARGETS.lstrip()), *rules))


def lines(found: Assessment) -> dict[str, tuple[str, set[str]]]:
    """Target -> priority and rules, of the two bilirubin tests."""
    made = [r for r in found.recommendations if r.target.startswith("bilirubin")]
    return {r.target: (r.priority, {reason.rule for reason in r.reasons}) for r in made}


def seen(temperature: float, **more: Any) -> Assessment:
    return pack().assess(visit({"alertness": "sleepy", "temperature": {"value": temperature, "unit": "Cel"}, **more}))


def test_the_broader_act_stands_by_itself_where_nothing_does_it_too() -> None:
    assert lines(seen(36.8)) == {"bilirubin_any": ("asap", {"exam.sleepy-any"})}


def test_the_broader_act_joins_the_more_particular_one_with_its_priority_end_and_words() -> None:
    found = seen(36.0)
    assert lines(found) == {"bilirubin_serum": ("asap", {"exam.sleepy-any", "exam.cool-serum"})}
    [made] = [r for r in found.recommendations if r.target == "bilirubin_serum"]
    assert made.do == ("through the skin will do",)
    assert made.window.until == "2026-11-24T16:00:00-06:00"


def test_acts_without_a_common_moment_stay_two() -> None:
    assert lines(seen(37.8)) == {
        "bilirubin_any": ("asap", {"exam.sleepy-any"}),
        "bilirubin_serum": ("routine", {"exam.warm-serum"}),
    }


def test_what_is_only_provisional_takes_nothing_over() -> None:
    """It may still fall, and what was surely asked for would fall with it."""
    assert lines(seen(37.1)) == {
        "bilirubin_any": ("asap", {"exam.sleepy-any"}),
        "bilirubin_serum": ("routine", {"exam.mild-serum"}),
    }
    assert set(lines(seen(37.1, cord_attached="no"))) == {"bilirubin_serum"}


def test_how_far_the_broader_target_is_settled_does_not_change() -> None:
    [answer] = [a for a in seen(36.0).answers if a.target == "bilirubin_any"]
    assert (answer.certain, answer.settled) == ("asap", True)


def test_an_act_without_sides_is_one_line_for_both() -> None:
    found = pack().assess(visit({"barlow.left": "positive", "barlow.right": "positive"}))
    assert [(r.target, r.side) for r in found.avoid] == [("extra_diapers", None)]
    assert len(found.avoid[0].reasons) == 2
    assert [(a.side, a.settled) for a in found.answers if a.target == "extra_diapers"] == [(None, True)]
