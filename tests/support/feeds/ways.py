"""Every way in which a feed adds data to a visit, by the danger law that says what may come of it.

A way takes an emergency and one of its recordings and returns the changed visit; None where it cannot be done there.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from support.feeds.emergencies import Emergency, other_values
from support.feeds.flat import Flat, Item, Place, added, changed, moment_of, stamped, timed

from layette.engine.exact.units import convert, exact
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.visit.unsure import is_measured_anew

Make = Callable[[Emergency, Place], Flat | None]
NOW, PROVISIONAL, CHASE, JUDGE = "now", "now, unless", "to chase", "to judge"
HELD, GONE = "held back by an order", "gone"
SEEN = frozenset({NOW, PROVISIONAL, CHASE, JUDGE})
"""The ends in which nobody can miss the emergency."""


@dataclass(frozen=True)
class Way:
    """One way, and how it may end. ``of_orders``: it adds to the visit as a whole, not to one recording."""

    name: str
    law: int
    make: Make
    ends: frozenset[str]
    of_orders: bool = False


WAYS: list[Way] = []


def way(law: int, *ends: str, of_orders: bool = False) -> Callable[[Make], Make]:
    """Enter a function in the table; its name says what it adds."""

    def enter(make: Make) -> Make:
        WAYS.append(Way(make.__name__.replace("_", " "), law, make, frozenset(ends) or SEEN, of_orders))
        return make

    return enter


def _twin(one: Emergency, place: Place, **fields: Any) -> Flat:
    """Add a copy of a recording with some fields changed."""
    item = {**place.item(one.flat), **fields}
    return added(one.flat, place, {key: value for key, value in item.items() if value is not None})


def _later(one: Emergency, place: Place) -> str | None:
    return timed(place.item(one.flat), minutes=20)


def _shape(one: Emergency, place: Place) -> FindingShape:
    return one.pack.findings[place.finding]


def _alarming(one: Emergency, place: Place) -> Item | None:
    return next(iter(other_values(one, place)[0]), None)


def _harmless(one: Emergency, place: Place) -> Item | None:
    return next(iter(other_values(one, place)[1]), None)


def _is_event(one: Emergency, place: Place) -> bool:
    return place.item(one.flat)["value"] in _shape(one, place).event


# 10: recordings of one moment


@way(10)
def the_same_again(one: Emergency, place: Place) -> Flat | None:
    return _twin(one, place)


@way(10)
def another_alarming_value_at_the_same_moment(one: Emergency, place: Place) -> Flat | None:
    other = _alarming(one, place)
    return _twin(one, place, **other) if other else None


@way(10)
def the_expected_value_at_the_same_moment(one: Emergency, place: Place) -> Flat | None:
    other = _harmless(one, place)
    return _twin(one, place, **other) if other else None


@way(10)
def an_alarming_and_the_expected_value_at_the_same_moment(one: Emergency, place: Place) -> Flat | None:
    alarming, harmless = _alarming(one, place), _harmless(one, place)
    if alarming is None or harmless is None:
        return None
    item = place.item(one.flat)
    return added(one.flat, place, {**item, **alarming}, {**item, **harmless})


@way(10)
def the_expected_value_of_that_day_without_an_hour(one: Emergency, place: Place) -> Flat | None:
    other, time = _harmless(one, place), str(place.item(one.flat).get("time"))
    return _twin(one, place, **other, time=time[:10]) if other and "T" in time else None


@way(10)
def the_same_sample_in_another_unit(one: Emergency, place: Place) -> Flat | None:
    number, item = _shape(one, place).number, place.item(one.flat)
    others = [unit for unit in number.accepts if unit != item["unit"]] if number else []
    if not others:
        return None
    turned = convert(exact(item["value"]), item["unit"], others[0])
    return _twin(one, place, value=float(round(turned, 1)), unit=others[0])


@way(10)
def a_less_exact_value_at_the_same_moment(one: Emergency, place: Place) -> Flat | None:
    shape = _shape(one, place)
    unexpected = shape.number is None and place.item(one.flat)["value"] not in listed(shape.expected)
    return _twin(one, place, value="abnormal") if unexpected and shape.expected else None


@way(10)
def an_expected_value_for_both_sides(one: Emergency, place: Place) -> Flat | None:
    shape, flat = _shape(one, place), deepcopy(one.flat)
    if not place.side or not shape.expected:
        return None
    item = {**place.item(flat), "value": listed(shape.expected)[0]}
    flat["findings"].setdefault(f"{place.finding}.both", []).append(item)
    return flat


def _system(one: Emergency, place: Place, time: str | None) -> Flat | None:
    normals = one.pack.subjects.normals
    named = next((name for name, normal in normals.items() if place.finding in normal.spreads), None)
    if named is None or time is None:
        return None
    flat = deepcopy(one.flat)
    flat["findings"][named] = [{"value": "normal", "time": time}]
    return flat


@way(10, of_orders=True)
def an_expected_value_beside_each_recording(one: Emergency, _: Place) -> Flat | None:
    """A second form, filled with normals, of the same moment."""
    flat = deepcopy(one.flat)
    for place in one.places:
        other = _harmless(one, place)
        if other is None:
            return None
        place.among(flat).append({**place.item(flat), **other})
    return flat


@way(10)
def a_normal_of_the_whole_system(one: Emergency, place: Place) -> Flat | None:
    return _system(one, place, timed(place.item(one.flat)))


@way(10)
def a_later_normal_of_the_whole_system(one: Emergency, place: Place) -> Flat | None:
    return _system(one, place, _later(one, place))


@way(10)
def a_later_attempt_without_a_value(one: Emergency, place: Place) -> Flat | None:
    return _twin(one, place, value=None, unit=None, absent="not-performed", time=_later(one, place))


@way(10)
def a_later_attempt_that_says_it_does_not_apply(one: Emergency, place: Place) -> Flat | None:
    return _twin(one, place, value=None, unit=None, absent="not-applicable", time=_later(one, place))


@way(10)
def a_later_less_exact_value(one: Emergency, place: Place) -> Flat | None:
    flat = a_less_exact_value_at_the_same_moment(one, place)
    if flat is not None:
        place.among(flat)[-1]["time"] = _later(one, place)
    return flat


@way(10)
def an_alarm_of_that_day_without_an_hour_beside_a_normal(one: Emergency, place: Place) -> Flat | None:
    other, time = _harmless(one, place), str(place.item(one.flat).get("time"))
    if other is None or "T" not in time:
        return None
    return added(changed(one.flat, place, **other), place, {**place.item(one.flat), "time": time[:10]})


@way(10)
def more_attempts_than_count_before_it(one: Emergency, place: Place) -> Flat | None:
    """A screen counts so many attempts; one that alarms after them is no less alarming."""
    readings, other, item = _shape(one, place).readings, _harmless(one, place), place.item(one.flat)
    if readings is None or other is None:
        return None
    before = [{**item, **other, "time": timed(item, hours=-k)} for k in range(1, readings.at_most + 1)]
    return added(one.flat, place, *before)


@way(10)
def the_expected_value_at_an_earlier_moment(one: Emergency, place: Place) -> Flat | None:
    other, time = _harmless(one, place), timed(place.item(one.flat), minutes=-20)
    after_birth = time is not None and moment_of(time) >= moment_of(one.flat["born"])
    return _twin(one, place, **other, time=time) if other and after_birth else None


@way(10)
def the_expected_value_at_an_earlier_visit(one: Emergency, place: Place) -> Flat | None:
    flat = the_expected_value_at_an_earlier_moment(one, place)
    if flat is not None and place.here:
        item = place.among(flat).pop()
        flat["history"]["findings"].setdefault(place.key, []).append(item)
    return flat


@way(10)
def a_twin_entered_in_error(one: Emergency, place: Place) -> Flat | None:
    return _twin(one, place, status="entered-in-error")


@way(10)
def a_later_expected_value_entered_in_error(one: Emergency, place: Place) -> Flat | None:
    other = _harmless(one, place)
    return _twin(one, place, **other, time=_later(one, place), status="entered-in-error") if other else None


@way(10)
def a_later_expected_value_that_was_cancelled(one: Emergency, place: Place) -> Flat | None:
    other = _harmless(one, place)
    return _twin(one, place, **other, time=_later(one, place), status="cancelled") if other else None


@way(10, NOW, PROVISIONAL, JUDGE, GONE)
def a_correction_to_the_expected_value(one: Emergency, place: Place) -> Flat | None:
    """An amended or corrected recording takes away the one that it amends."""
    other = _harmless(one, place)
    return _twin(one, place, **other, status="corrected") if other else None


# 11: an event is not erased by its end


@way(11)
def a_later_settled_none_of_an_event(one: Emergency, place: Place) -> Flat | None:
    other = _harmless(one, place)
    return _twin(one, place, **other, time=_later(one, place)) if other and _is_event(one, place) else None


@way(11)
def an_event_told_of_the_night_before_and_none_now(one: Emergency, place: Place) -> Flat | None:
    other, before = _harmless(one, place), timed(place.item(one.flat), hours=-10)
    if other is None or before is None or not _is_event(one, place):
        return None
    told = changed(one.flat, place, time=before, reported=True)
    return added(told, place, {**place.item(one.flat), **other}) if one.stands_in(told) else None


@way(11)
def told_of_the_day_before_without_an_hour(one: Emergency, place: Place) -> Flat | None:
    """An event, or a number of which the highest or lowest of a day counts: it may lie within that day."""
    at, other = moment_of(one.flat["at"]), _harmless(one, place)
    before = stamped(at - timedelta(hours=20))
    if other is None or moment_of(before) < moment_of(one.flat["born"]):
        return None
    if not one.stands_in(changed(one.flat, place, time=before)):
        return None
    day = stamped(at - timedelta(days=1))[:10]
    told = changed(one.flat, place, time=day, reported=True)
    return added(told, place, {**place.item(one.flat), **other}) if _is_event(one, place) else told


@way(11, *SEEN, GONE)
def a_later_settled_normal_of_what_is_no_event(one: Emergency, place: Place) -> Flat | None:
    """Of what is no event the latest settled look counts."""
    other = _harmless(one, place)
    return _twin(one, place, **other, time=_later(one, place)) if other and not _is_event(one, place) else None


# 12: the less settled clears nothing, but may alarm


def _unsettled(name: str, **fields: Any) -> None:
    def normal(one: Emergency, place: Place) -> Flat | None:
        other = _harmless(one, place)
        return _twin(one, place, **other, time=_later(one, place), **fields) if other else None

    def alarm(one: Emergency, place: Place) -> Flat | None:
        other = _harmless(one, place)
        if other is None:
            return None
        well = changed(one.flat, place, **other, reported=None)
        return added(well, place, {**place.item(one.flat), "time": _later(one, place), **fields})

    normal.__name__ = f"a_later_normal_that_is_{name}"
    alarm.__name__ = f"a_later_alarm_that_is_{name}"
    way(12)(normal)
    way(12)(alarm)


for status in ("preliminary", "registered", "unknown"):
    _unsettled(status, status=status)
_unsettled("reported", reported=True)


@way(12)
def two_later_unsettled_values_of_which_one_alarms(one: Emergency, place: Place) -> Flat | None:
    other = _harmless(one, place)
    if other is None:
        return None
    unsettled = {**place.item(one.flat), "time": _later(one, place), "status": "preliminary"}
    return added(changed(one.flat, place, **other), place, unsettled, {**unsettled, **other})


@way(12)
def a_later_alarm_here_and_later_normals_elsewhere_all_preliminary(one: Emergency, place: Place) -> Flat | None:
    here, rest = _harmless(one, place), [other for other in one.places if other != place]
    elsewhere = [_harmless(one, other) for other in rest]
    if here is None or not rest or None in elsewhere:
        return None
    flat = changed(one.flat, place, **here)
    flat = added(flat, place, {**place.item(one.flat), "time": _later(one, place), "status": "preliminary"})
    for other, value in zip(rest, elsewhere, strict=True):
        item = {**other.item(flat), **(value or {}), "time": _later(one, other), "status": "preliminary"}
        flat = added(flat, other, item)
    return flat


@way(12)
def a_later_normal_result_of_no_visit_that_is_preliminary(one: Emergency, place: Place) -> Flat | None:
    other, shape = _harmless(one, place), _shape(one, place)
    if other is None or not shape.carries_over or not place.here:
        return None
    flat = deepcopy(one.flat)
    item = {**place.item(flat), **other, "time": _later(one, place), "status": "preliminary"}
    flat["history"]["findings"].setdefault(place.key, []).append(item)
    return flat


@way(12)
def a_preliminary_normal_at_the_same_moment(one: Emergency, place: Place) -> Flat | None:
    other = _harmless(one, place)
    return _twin(one, place, **other, status="preliminary") if other else None


# 13: what was abnormal stands until somebody looks again


def _moved_to_an_earlier_visit(one: Emergency, place: Place) -> Flat | None:
    if place.item(one.flat)["value"] not in _shape(one, place).stands:
        return None
    return _recorded_before(one, place, moment_of(place.item(one.flat)["time"]) - timedelta(days=3))


def _recorded_before(one: Emergency, place: Place, before: datetime) -> Flat:
    """Return the visit with a recording put into the history, at a moment after birth."""
    flat = deepcopy(one.flat)
    item = place.among(flat).pop(place.number)
    item["time"] = stamped(max(before, moment_of(flat["born"]) + timedelta(minutes=1)))
    flat["history"]["findings"].setdefault(place.key, []).append(item)
    return flat


@way(13)
def seen_at_an_earlier_visit_and_not_looked_at_again(one: Emergency, place: Place) -> Flat | None:
    return _moved_to_an_earlier_visit(one, place)


@way(13)
def seen_at_an_earlier_visit_and_only_tried_again(one: Emergency, place: Place) -> Flat | None:
    flat = _moved_to_an_earlier_visit(one, place)
    if flat is not None:
        place.among(flat).append({"absent": "not-performed", "time": flat["at"]})
    return flat


@way(13)
def measured_at_another_visit_of_the_last_day_and_not_again(one: Emergency, place: Place) -> Flat | None:
    if not place.here or not is_measured_anew(_shape(one, place)) or len(place.among(one.flat)) > 1:
        return None
    return _recorded_before(one, place, moment_of(one.flat["at"]) - timedelta(minutes=90))


@way(13)
def seen_at_an_earlier_visit_and_the_rest_recorded_twice(one: Emergency, place: Place) -> Flat | None:
    flat, rest = _moved_to_an_earlier_visit(one, place), [other for other in one.places if other.key != place.key]
    if flat is None or not rest:
        return None
    for other in rest:
        value = _harmless(one, other)
        if value is None:
            return None
        flat = added(flat, other, {**other.item(flat), **value})
    return flat


@way(13)
def seen_at_an_earlier_visit_and_an_order_done_at_no_known_time(one: Emergency, place: Place) -> Flat | None:
    flat = _moved_to_an_earlier_visit(one, place)
    if flat is not None:
        done = [{"target": target, "side": side, "status": "completed"} for target, side in one.targets]
        flat["history"]["orders"] = done
    return flat


@way(13)
def judged_before_it_was_seen(one: Emergency, place: Place) -> Flat | None:
    """What somebody said of a value of the same day that was there before settles this one in no way."""
    other, item = _harmless(one, place), place.item(one.flat)
    if other is None or "T" not in item["time"]:
        return None
    said = {"finding": place.finding, "side": place.side, "of": item["time"][:10], "by": "a nurse",
            "time": timed(item, minutes=-30), "outcome": "not of concern"}  # fmt: skip
    flat = _twin(one, place, **other)
    flat["history"]["judged"] = [said]
    return flat


@way(13)
def the_sex_at_birth_taken_away(one: Emergency, place: Place) -> Flat | None:
    flat = deepcopy(one.flat)
    return flat if flat.pop("sex_at_birth", None) else None


@way(13, of_orders=True)
def the_sex_at_birth_taken_away_and_a_side_recorded_twice(one: Emergency, _: Place) -> Flat | None:
    flat = the_sex_at_birth_taken_away(one, one.places[0])
    other = _harmless(one, one.places[0])
    return added(flat, one.places[0], {**one.places[0].item(flat), **other}) if flat and other else None
