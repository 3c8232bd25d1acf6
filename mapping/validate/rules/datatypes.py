"""The invariants of data types that take more than the presence of elements."""

from __future__ import annotations

import re

from layette.mapping.validate.rules.registry import UCUM, Node, has, number, rule, string, strings
from layette.mapping.validate.rules.times import surely_after

_SAMPLES = re.compile(r"(-?[0-9]*\.?[0-9]+|[EUL])( (-?[0-9]*\.?[0-9]+|[EUL]))*", re.ASCII)


@rule("per-1", "Period", at="end")
def per_1(node: Node) -> str | None:
    """A period ends when it starts, or later."""
    if surely_after(node.get("start"), node.get("end")):
        return "The period ends before it starts; the end must be the same or later."
    return None


@rule("period", "Appointment", "Slot", "Appointment.requestedPeriod", at="end")
def start_end(node: Node) -> str | None:
    """A start and an end outside a Period keep to the same order."""
    return per_1(node)


@rule("rng-2", "Range")
def rng_2(node: Node) -> str | None:
    """The low end of a range in one unit is at most the high end."""
    low, high = node.get("low"), node.get("high")
    if not isinstance(low, dict) or not isinstance(high, dict) or low.get("code") != high.get("code"):
        return None
    first, last = number(low, "value"), number(high, "value")
    if first is not None and last is not None and first > last:
        return "low is above high; the low end of a range comes first."
    return None


@rule("rat-1", "Ratio")
def rat_1(node: Node) -> str | None:
    """Both parts, or none and an extension."""
    top, bottom = has(node, "numerator"), has(node, "denominator")
    if top != bottom:
        return "A ratio has both numerator and denominator; give the other one."
    if not top and not has(node, "extension"):
        return "A ratio without numerator and denominator must say by an extension why."
    return None


@rule("tim-4", "Timing.repeat", at="duration")
def tim_4(node: Node) -> str | None:
    """No negative duration."""
    value = number(node, "duration")
    return "A duration cannot be negative; zero or more is due." if value is not None and value < 0 else None


@rule("tim-5", "Timing.repeat", at="period")
def tim_5(node: Node) -> str | None:
    """No negative period."""
    value = number(node, "period")
    return "A period cannot be negative; zero or more is due." if value is not None and value < 0 else None


@rule("tim-9", "Timing.repeat", at="offset")
def tim_9(node: Node) -> str | None:
    """An offset is from an event such as waking, not from the meal in general."""
    if not has(node, "offset"):
        return None
    when = list(strings(node, "when"))
    if not has(node, "when") or {"C", "CM", "CD", "CV"}.intersection(when):
        return "offset counts from an event in when, which must be there and not be C, CM, CD or CV."
    return None


@rule("age-1", "Age")
def age_1(node: Node) -> str | None:
    """An age has a UCUM unit of time and is above zero."""
    value = number(node, "value")
    if has(node, "value") and not has(node, "code"):
        return "An age with a value needs the UCUM code of its unit."
    if value is not None and value <= 0:
        return "An age is more than zero; a newborn's is given in h or d."
    return _ucum_only(node, "An age")


@rule("dis-1", "Distance")
def dis_1(node: Node) -> str | None:
    """A distance has a UCUM unit."""
    if has(node, "value") and not has(node, "code"):
        return "A distance with a value needs the UCUM code of its unit."
    return _ucum_only(node, "A distance")


@rule("cnt-3", "Count")
def cnt_3(node: Node) -> str | None:
    """A count is whole and its unit is 1."""
    value = node.get("value")
    if has(node, "value") and not has(node, "code"):
        return "A count with a value needs the code 1."
    if has(node, "code") and node.get("code") != "1":
        return "The code of a count is 1."
    if value is not None and "." in str(value):
        return "A count is a whole number."
    return _ucum_only(node, "A count")


@rule("drt-1", "Duration")
def drt_1(node: Node) -> str | None:
    """A coded duration is in UCUM and has a value."""
    if has(node, "code") and (string(node, "system") != UCUM or not has(node, "value")):
        return f"A duration with a code needs a value and the system {UCUM}."
    return None


@rule("format", "SampledData", at="data")
def sampled_data(node: Node) -> str | None:
    """Sampled data are numbers, or E, L and U for what could not be measured, with single spaces between."""
    data = node.get("data")
    if isinstance(data, str) and data.strip() and not _SAMPLES.fullmatch(data):
        return "These should be numbers, E, L or U with single spaces between."
    return None


@rule("trd-3", "TriggerDefinition")
def trd_3(node: Node) -> str | None:
    """Each kind of trigger brings what defines it."""
    kind = string(node, "type")
    needed = {"named-event": "name", "periodic": "timing[x]"}.get(kind, "data" if kind.startswith("data-") else "")
    return f"A trigger of type {kind} needs {needed}." if needed and not has(node, needed) else None


def _ucum_only(node: Node, what: str) -> str | None:
    if has(node, "system") and string(node, "system") != UCUM:
        return f"{what} has the system {UCUM}."
    return None
