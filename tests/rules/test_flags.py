"""How long each value of the pack lasts, in both directions; and which findings have nothing that is expected."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from support.pack_words import PACK

from layette.engine.api import Pack, load_pack
from layette.engine.logic.conditions import variables
from layette.engine.logic.program import YES
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.visit.recordings import Readings

BORN, BEFORE, AT = "2026-06-01T08:00:00-05:00", "2026-06-03T09:00:00-05:00", "2026-06-11T10:00:00-05:00"
FOUR_HOURS_AGO, TWO_DAYS_AGO = "2026-06-11T06:00:00-05:00", "2026-06-09T10:00:00-05:00"
WITHOUT_EXPECTED = {
    "delivery plurality": "a way to be born is no sign of health",
    "baby_blood_group baby_rh mother_blood_group mother_rh": "no blood group is the healthy one",
    "feeding_type supplementation": "how a family feeds is theirs to choose",
    "losing_at_discharge": "most healthy babies still lose when they go home, some do not",
    "murmur_grade murmur_timing murmur_character murmur_site": "it describes what is not usual itself",
    "hemangioma_place port_wine_place birthmark_place": "it says where a mark is, which is not usual itself",
    "head_shape_change": "it compares two shapes that are not usual",
    "phototherapy_place led_device_at_home daily_bilirubin_possible": "it tells what can be arranged",
    "mother_rsv_vaccine rsv_antibody": "the baby needs one of the two, so neither alone is expected",
    "hbig varicella_globulin gonorrhea_dose pertussis_treatment hiv_drugs": "only some babies need it",
    "syphilis_treatment_mother syphilis_treatment_baby hiv_load": "asked of babies whose mother has the illness alone",
    "birth_unit_plan": "only what the mother had or took asks for a plan",
    "labor_onset": "a way to be born is no sign of health, and neither is how labor began",
    "mother_varicella_immunity": "either is common, and neither is the mother's health",
    "brief_event_length brief_event_number brief_event_help": "it describes a spell, which is not usual itself",
}
"""Findings with named values of which none is what a healthy newborn shows, and why."""


@cache
def pack() -> Pack:
    """Return the pack that ships."""
    return load_pack()


def flagged(key: str) -> Iterator[tuple[str, str]]:
    """Yield each finding with each of its values under ``event`` or ``stands``."""
    for name, shape in pack().findings.items():
        yield from ((name, value) for value in getattr(shape, key))


def key_of(name: str) -> str:
    return f"{name}.left" if pack().findings[name].sides else name


def usual(shape: FindingShape) -> str:
    """Return a value that is not kept, for somebody who looked again."""
    return next(v for v in (*listed(shape.expected), *(shape.values or ())) if v not in (*shape.stands, *shape.event))


def visit(findings: dict[str, Any], earlier: dict[str, Any] | None = None) -> Any:
    flat: dict[str, Any] = {"born": BORN, "at": AT, "findings": findings, "history": {"findings": earlier or {}}}
    return pack().read_visit(flat)


@pytest.mark.parametrize(("name", "value"), flagged("stands"))
def test_a_value_that_stands_is_there_until_somebody_looks_again(name: str, value: str) -> None:
    earlier = {key_of(name): {"value": value, "time": BEFORE}}
    unseen = Readings(visit({}, earlier), pack().findings).not_looked_at_again()
    assert [r.finding for r in unseen] == [name]
    again = visit({key_of(name): usual(pack().findings[name])}, earlier)
    assert Readings(again, pack().findings).not_looked_at_again() == []


@pytest.mark.parametrize(("name", "value"), flagged("event"))
def test_what_happened_counts_for_a_day_whatever_was_seen_later(name: str, value: str) -> None:
    later = usual(pack().findings[name])
    assert YES in happened(name, value, {"value": value, "time": FOUR_HOURS_AGO}, later)
    assert YES not in happened(name, value, {"value": value, "time": TWO_DAYS_AGO}, later)


def happened(name: str, value: str, before: dict[str, Any], later: str) -> list[int]:
    """Return the states of all variables that ask whether ``value`` was among what happened."""
    states = pack().decide(visit({key_of(name): [before, later]}), ["native"]).states
    asked = [
        var
        for var, entry in enumerate(pack().table.entries)
        if entry.view.subject == name and entry.view.pick == "event" and entry.view.side in ("", "left")
        if value in entry.view.accept
        if later not in entry.view.accept
    ]
    assert asked, f"no rule asks whether {name} was {value}"
    return [states[var] for var in asked]


def test_what_is_kept_in_no_way_says_why_beside_its_values() -> None:
    asked = {pack().table.entries[var].view.subject for rule in pack().program.rules for var in variables(rule.when)}
    without = {
        name
        for name, shape in pack().findings.items()
        if name in asked and shape.values and not (shape.carries_over or shape.event or shape.stands)
        if set(shape.values) - set(listed(shape.expected))
    }
    assert sorted(without - reasons().keys()) == []


def reasons() -> dict[str, str]:
    """Return the findings whose file says why none of their values is kept."""
    found, name = {}, ""
    for place in sorted((PACK / "findings").glob("*.yaml")):
        for line in place.read_text(encoding="utf-8").splitlines():
            name = match.group(1) if (match := re.match(r"  (\w+):$", line)) else name
            if why := re.search(r"# neither event nor stands: (\S.+)", line):
                found[name] = why.group(1)
    return found


def test_a_reason_for_not_keeping_stands_where_nothing_is_kept() -> None:
    shapes = {name: pack().findings[name] for name in reasons()}
    assert [name for name, shape in shapes.items() if shape.event or shape.stands or shape.carries_over] == []


def test_every_category_has_what_is_expected_or_is_listed_with_why_not() -> None:
    without = {name for name, shape in pack().findings.items() if shape.values and shape.expected is None}
    assert {name for names in WITHOUT_EXPECTED for name in names.split()} == without
