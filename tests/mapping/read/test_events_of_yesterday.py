"""An event of the last day counts at this visit, wherever it was recorded (danger law 11, for records as they come)."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from support.read_samples import AT, BORN, bundle, encounter, observation, own, patient

from layette.engine import load_pack
from layette.mapping.read import read

EVENTS = [
    (name, value) for name, shape in load_pack().findings.items() for value in shape.event if shape.subject == "baby"
]
OF_NIGHT = encounter(id="night", period={"start": "2026-11-23T20:00:00-06:00", "end": "2026-11-23T23:00:00-06:00"})


def hours_before(hours: float) -> str:
    return (datetime.fromisoformat(AT) - timedelta(hours=hours)).isoformat()


def taken(finding: str, value: str, time: str, visit: str | None = "night", **more: Any) -> dict[str, Any]:
    shape = load_pack().findings[finding]
    code = own(f"{finding}.{shape.sides[0]}" if shape.sides else finding)
    where = {"reference": f"Encounter/{visit}"} if visit else None
    said = observation(code, valueCodeableConcept=own(value), effectiveDateTime=time, encounter=where, **more)
    found = read(bundle(patient(gender="unknown"), encounter(), OF_NIGHT, said), load_pack()).require()
    return found.visit


@pytest.mark.parametrize("visit", ["night", None])
@pytest.mark.parametrize(("finding", "value"), EVENTS, ids=lambda one: one)
def test_every_event_of_the_last_day_is_of_this_visit(finding: str, value: str, visit: str | None) -> None:
    assert finding in taken(finding, value, hours_before(13), visit)["findings"]
    assert finding not in taken(finding, value, hours_before(25), visit)["findings"]


def test_what_was_withdrawn_or_is_no_event_stays_where_it_was() -> None:
    assert taken("convulsions", "seen", hours_before(13), status="entered-in-error")["findings"] == {}
    assert taken("convulsions", "none", hours_before(13))["findings"] == {}
    assert taken("murmur", "heard", hours_before(13))["findings"] == {}


@pytest.mark.parametrize(("minutes", "counts"), [(3, False), (10, False), (11, True)])
def test_blue_while_the_first_breaths_are_taken_is_no_event_of_the_day(minutes: int, counts: bool) -> None:
    born = datetime.fromisoformat(BORN)
    first = encounter(period={"start": (born + timedelta(hours=20)).isoformat()})
    stay = encounter(id="birth", period={"start": BORN})
    blue = observation(
        own("colour"),
        valueCodeableConcept=own("blue_central"),
        effectiveDateTime=(born + timedelta(minutes=minutes)).isoformat(),
        encounter={"reference": "Encounter/birth"},
    )
    found = read(bundle(patient(), first, stay, blue), load_pack()).require()
    assert ("colour" in found.visit["findings"]) is counts
