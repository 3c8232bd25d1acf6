"""Ways that add a plain normal, well away from every limit: what is nearest to a limit need not be what hides the most.

A saturation of 90 beside one of 84 is a failed screen, one of 97 a passed one.
"""

from __future__ import annotations

from support.feeds.emergencies import Emergency, other_values
from support.feeds.flat import Flat, Item, Place, added, moment_of, timed
from support.feeds.ways import way


def _plain(one: Emergency, place: Place) -> Item | None:
    """Return a number in the middle of those with which the rule does not fire; None of a named value."""
    harmless = other_values(one, place)[1]
    if one.pack.findings[place.finding].number is None or not harmless:
        return None
    return sorted(harmless, key=lambda item: float(item["value"]))[len(harmless) // 2]


def _beside(one: Emergency, place: Place, time: str | None) -> Flat | None:
    normal = _plain(one, place)
    if normal is None or time is None or ("T" in time and moment_of(time) < moment_of(one.flat["born"])):
        return None
    return added(one.flat, place, {**place.item(one.flat), **normal, "time": time})


@way(10)
def a_plain_normal_at_the_same_moment(one: Emergency, place: Place) -> Flat | None:
    return _beside(one, place, timed(place.item(one.flat)))


@way(10)
def a_plain_normal_at_an_earlier_moment(one: Emergency, place: Place) -> Flat | None:
    return _beside(one, place, timed(place.item(one.flat), minutes=-20))


@way(10)
def a_plain_normal_of_that_day_without_an_hour(one: Emergency, place: Place) -> Flat | None:
    time = str(place.item(one.flat).get("time"))
    return _beside(one, place, time[:10]) if "T" in time else None


@way(10)
def a_plain_normal_at_an_earlier_visit(one: Emergency, place: Place) -> Flat | None:
    flat = _beside(one, place, timed(place.item(one.flat), hours=-26)) if place.here else None
    if flat is not None:
        item = place.among(flat).pop()
        flat["history"]["findings"].setdefault(place.key, []).append(item)
    return flat


@way(10)
def plain_normals_more_often_than_count(one: Emergency, place: Place) -> Flat | None:
    normal, readings = _plain(one, place), one.pack.findings[place.finding].readings
    item = place.item(one.flat)
    if normal is None or readings is None:
        return None
    before = [{**item, **normal, "time": timed(item, hours=-k)} for k in range(1, readings.at_most + 1)]
    return added(one.flat, place, *before)
