"""The measures as a pack binds them: which recordings of which finding each function is given, at which time.

Importing this module fills `BINDINGS`; ask for it here.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from layette.engine.exact.interval import NOTHING_KNOWN, Interval
from layette.engine.exact.times import DAY, Moment
from layette.engine.exact.units import UnitMismatchError, seconds
from layette.engine.measures import ages, birth_size, change, growth, steps, thresholds
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.states.inputs import BINDINGS, Given, Result, Sight, Value, bind, elapsed, in_unit
from layette.engine.visit.visit import Recorded

__all__ = ["BINDINGS"]


def _result(
    interval: Interval, unit: str, *values: Value | None, basis: str = "", time: Moment | None = None
) -> Result:
    return Result(interval, unit, None, _behind(*values), time, basis)


def _behind(*values: Value | None) -> tuple[Recorded, ...]:
    """Return the recordings behind several values, each once."""
    found: list[Recorded] = []
    for value in values:
        for recorded in value.used if value is not None else ():
            for other in found:
                if other is recorded:  # by identity: to compare two recordings costs more than to compute the measure
                    break
            else:
                found.append(recorded)
    return tuple(found)


def _sex(sight: Sight) -> int:
    return {"male": 0, "female": 1}.get(sight.visit.sex or "", -1)


@bind("age")
def _age(sight: Sight, given: Given) -> Result:
    return Result(sight.clock.hours(sight.visit.at), unit="h", basis="elapsed time since birth")


@bind("age_days")
def _age_days(sight: Sight, given: Given) -> Result:
    return Result(sight.clock.days(sight.visit.at), unit="d", basis="calendar days since birth")


@bind("corrected_age", required="gestation", findings="gestation")
def _corrected_age(sight: Sight, given: Given) -> Result:
    gestation = sight.number(given["gestation"])
    if gestation is None:
        return Result(unit="d")
    days = in_unit(gestation, "d")
    return _result(ages.corrected_age(sight.clock.days(sight.visit.at), days), "d", gestation, basis="term is 40 weeks")


@bind("postmenstrual_age", required="gestation", findings="gestation")
def _postmenstrual_age(sight: Sight, given: Given) -> Result:
    gestation = sight.number(given["gestation"])
    if gestation is None:
        return Result(unit="d")
    days = in_unit(gestation, "d")
    return _result(ages.postmenstrual_age(sight.clock.days(sight.visit.at), days), "d", gestation)


@bind("percent_lost", required="of from", findings="of from")
def _percent_lost(sight: Sight, given: Given) -> Result:
    now, before = sight.number(given["of"]), sight.number(given["from"])
    if now is None or before is None:
        return Result(unit="%")
    lost = change.percent_lost(now.interval, in_unit(before, now.unit))
    of, to = (str(given[key]).replace("_", " ") for key in ("from", "of"))
    return _result(lost, "%", now, before, basis=f"100 × ({of} − {to}) / {of}", time=now.time)


@bind("gain_per_day", required="of since", optional="from", findings="of from")
def _gain_per_day(sight: Sight, given: Given) -> Result:
    listed = sight.values(given["of"])
    start = _gain_start(sight, given, listed)
    if len(listed) < 1 or start is None or listed[0].time is None or start.time is None:
        return Result(unit="g/d")
    now = listed[0]
    assert now.time is not None
    if start.time.hi >= now.time.lo:
        return Result(unit="g/d", why_not="the two weights are not apart in time")
    apart = elapsed(start.time, now.time, DAY)
    gain = change.gain_per_day(in_unit(now, "kg"), in_unit(start, "kg"), apart)
    return _result(gain, "g/d", now, start, basis=f"since {given['since']}", time=now.time)


@bind("change_per_week", required="of since", optional="from at_least_apart", findings="of from")
def _change_per_week(sight: Sight, given: Given) -> Result:
    listed = sight.values(given["of"])
    start = _gain_start(sight, given, listed)
    if not listed or start is None or listed[0].time is None or start.time is None:
        return Result(unit="cm/wk")
    now, apart = listed[0], seconds(str(given.get("at_least_apart", "0 h")))
    assert now.time is not None
    if now.time.lo - start.time.hi < max(apart, 1):
        return Result(unit="cm/wk", used=(*now.used, *start.used), why_not="the two measurements are too close in time")
    days = elapsed(start.time, now.time, DAY)
    growth_rate = change.change_per_week(in_unit(now, "cm"), in_unit(start, "cm"), days)
    return _result(growth_rate, "cm/wk", now, start, basis=f"since {given['since']}", time=now.time)


def _gain_start(sight: Sight, given: Given, listed: list[Value]) -> Value | None:
    if given["since"] == "birth":
        birth = sight.number(given["from"]) if "from" in given else None
        return None if birth is None else Value(birth.interval, birth.unit, sight.visit.born, birth.used)
    before = listed[1:]
    if not before:
        return None
    if given["since"] == "nadir" and len(before) > 1:
        return min(before, key=lambda v: (v.span[0] is None, v.span[0] or Fraction(0)))
    return before[0]


@bind("difference", required="of minus", findings="of minus")
def _difference(sight: Sight, given: Given) -> Result:
    return _apart(sight, given, change.difference)


@bind("absolute_difference", required="of minus", findings="of minus")
def _absolute_difference(sight: Sight, given: Given) -> Result:
    return _apart(sight, given, change.absolute_difference)


def _apart(sight: Sight, given: Given, function: Callable[..., Interval]) -> Result:
    # what was measured is asked first: where it is missing, the other need not be computed
    second = sight.number(given["minus"])
    first = None if second is None else sight.number(given["of"])
    if first is None or second is None:
        return Result()
    made = function(first.interval, in_unit(second, first.unit))
    return _result(made, first.unit, first, second, time=first.time)


@bind("zscore", required="of table", findings="of")
def _zscore(sight: Sight, given: Given) -> Result:
    return _growth(sight, given, growth.zscore, "{SD}")


@bind("centile", required="of table", findings="of")
def _centile(sight: Sight, given: Given) -> Result:
    return _growth(sight, given, growth.centile, "{centile}")


def _growth(sight: Sight, given: Given, function: Callable[..., Interval], unit: str) -> Result:
    value, table = sight.number(given["of"]), sight.table(given["table"])
    if value is None or table is None or value.time is None:
        return Result(unit=unit, why_not="" if table is not None else f"table {given['table']} not supplied")
    made = function(in_unit(value, table.unit), _sex(sight), sight.clock.days(value.time), table)
    return _result(made, unit, value, basis=table.label, time=value.time)


@bind("size_for_gestation", required="of gestation table", findings="of gestation")
def _size_for_gestation(sight: Sight, given: Given) -> Result:
    value, gestation, table = sight.number(given["of"]), sight.number(given["gestation"]), sight.table(given["table"])
    if table is None:
        return Result(categories=(), why_not=f"table {given['table']} not supplied")
    if value is None or gestation is None:
        return Result(categories=table.bands)
    days = in_unit(gestation, "d")
    possible = birth_size.size_for_gestation(in_unit(value, table.unit), _sex(sight), days, table)
    bands = tuple(band for band, here in zip(table.bands, possible, strict=True) if here)
    return Result(categories=bands, used=_behind(value, gestation), basis=table.label, time=value.time)


@bind("change_per_hour", required="of", optional="at_least_apart", findings="of")
def _change_per_hour(sight: Sight, given: Given) -> Result:
    listed = sight.values(given["of"])
    if len(listed) < 2 or listed[0].time is None or listed[1].time is None:
        return Result(unit="mg/dL/h")
    later, earlier = listed[0], listed[1]
    assert later.time is not None
    assert earlier.time is not None
    apart = seconds(str(given.get("at_least_apart", "0 h")))
    if later.time.lo - earlier.time.hi < max(apart, 1):
        return Result(
            unit="mg/dL/h", used=(*later.used, *earlier.used), why_not="the two samples are too close in time"
        )
    hours = elapsed(earlier.time, later.time)
    rise = change.change_per_hour(in_unit(later, "mg/dL"), in_unit(earlier, "mg/dL"), hours)
    return _result(rise, "mg/dL/h", later, earlier, basis="the two latest samples", time=later.time)


@bind("threshold", required="of set line gestation", optional="risk", findings="of gestation risk")
def _threshold(sight: Sight, given: Given) -> Result:
    choice = sight.setting(given["set"])
    lines = sight.table(choice)
    if not isinstance(lines, ThresholdSet):
        return Result(why_not=f"threshold table '{choice}' not supplied")
    value = sight.number(given["of"])
    if value is None or value.time is None:
        return Result(unit=lines.unit, basis=lines.label)
    gestation = sight.number(given["gestation"])
    days = NOTHING_KNOWN if gestation is None else in_unit(gestation, "d")
    risk = sight.flag(given["risk"]) if "risk" in given else None
    if str(given["line"]) not in lines.lines:
        return Result(unit=lines.unit, why_not=f"{lines.label} has no {given['line']} line")
    made = thresholds.threshold(lines, str(given["line"]), sight.clock.hours(value.time), days, risk)
    return _result(made, lines.unit, value, gestation, basis=lines.label, time=value.time)


@bind("margin", required="of line", findings="of line")
def _margin(sight: Sight, given: Given) -> Result:
    value, line = sight.number(given["of"]), sight.number(given["line"])
    if value is None or line is None:
        return Result()
    try:
        made = thresholds.margin(in_unit(value, line.unit), line.interval)
    except UnitMismatchError as error:
        return Result(why_not=str(error))
    return _result(made, line.unit, value, line, time=value.time)


@bind("expected_count", required="table column")
def _expected_count(sight: Sight, given: Given) -> Result:
    table = sight.table(given["table"])
    if table is None:
        return Result(why_not=f"table {given['table']} not supplied")
    made = steps.expected_count(sight.clock.hours(sight.visit.at), table, str(given["column"]))
    return Result(made, unit="/d", basis=table.label)


@bind("feed_volume_per_feed", required="table")
def _feed_volume_per_feed(sight: Sight, given: Given) -> Result:
    table = sight.table(given["table"])
    if table is None:
        return Result(why_not=f"table {given['table']} not supplied")
    made = steps.feed_volume_per_feed(sight.clock.hours(sight.visit.at), table)
    return Result(made, unit="mL", basis=table.label)


@bind("feed_volume_per_day", required="of table", findings="of")
def _feed_volume_per_day(sight: Sight, given: Given) -> Result:
    table, weight = sight.table(given["table"]), sight.number(given["of"])
    if table is None or weight is None:
        return Result(unit="mL/d")
    kilograms = in_unit(weight, "kg")
    made = steps.feed_volume_per_day(kilograms, sight.clock.hours(sight.visit.at), table)
    return _result(made, "mL/d", weight, basis=table.label)
