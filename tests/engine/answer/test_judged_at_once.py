"""A person judges a value once, whatever hangs on it: the verdict counts as the page lists."""

from __future__ import annotations

import re
from typing import Any

import pytest

from layette.engine import Assessment, load_pack
from layette.engine.answer.parts.judged_at_once import by_value
from layette.mapping.text import render

ONE_PART = [{"hand": 97, "foot": 98, "unit": "%", "age": "30 h"}, {"hand": 88, "unit": "%", "age": "30 h"}]
BOTH_PARTS = [
    {"hand": 97, "foot": 97, "unit": "%", "age": "30 h"},
    {"hand": 81, "foot": 81, "unit": "%", "age": "30 h"},
]


def assessed(**findings: Any) -> Assessment:
    born, at = "2026-06-01T08:00:00-05:00", "2026-06-05T10:00:00-05:00"
    return load_pack().assess({"born": born, "at": at, "findings": findings})


@pytest.mark.parametrize("oximetry", [ONE_PART, BOTH_PARTS])
def test_the_verdict_counts_one_value_on_which_several_things_hang(oximetry: list[dict[str, Any]]) -> None:
    found = assessed(pulse_oximetry=oximetry)
    assert len({one.target for one in found.to_judge}) > 1
    assert found.verdict.to_judge == 1
    assert "1 value is to be judged" in found.verdict.text
    section = render(found).partition("TO JUDGE")[2].partition("NOT ON RECORD")[0]
    assert len(re.findall(r"^ +\d+  ", section, re.MULTILINE)) == 1


def test_values_that_share_nothing_are_judged_one_by_one() -> None:
    found = assessed(pulse_oximetry=ONE_PART, **{"red_reflex.left": ["absent", "present"]})
    assert found.verdict.to_judge == 2


def test_no_item_is_lost_and_what_meets_through_a_third_is_one_group() -> None:
    found = assessed(pulse_oximetry=BOTH_PARTS).to_judge
    apart = [one.model_copy(update={"values": one.values[:1]}) for one in found]
    groups = by_value([*apart, *found])
    assert sorted(one.target for group in groups for one in group) == sorted(2 * [one.target for one in found])
    assert len(groups) == 1
