"""What stands behind the answer: reassurance, what could not be evaluated, measures, settings, warnings."""

from __future__ import annotations

import re
from collections.abc import Sequence

from layette.engine.answer.parts.assessment import Assessment, Choice, Measured, Used
from layette.mapping.text.actions import why
from layette.mapping.text.layout import Page, cut, shown

_ANNOTATION = re.compile(r"\{([^{}]*)\}")
_FEW = 4
_MANY = 8


def write(page: Page, assessment: Assessment) -> None:
    """Write the lower part of the page."""
    _section(page, "NORMAL AT THIS AGE", _reassurance(assessment), _FEW)
    _section(page, "NOT EVALUATED", _not_evaluated(assessment, full=page.full), _FEW)
    known = [m for m in assessment.measures if page.full or m.low or m.high or m.category]
    measures = [_measure(measured) for measured in known]
    lines = measures if page.full else [cut(line, page.width - 4) for line in measures]
    _section(page, "MEASURES", lines, len(lines))
    compared = [
        f"{pair.label}: {_converted(pair.now)}; earlier {_converted(pair.earlier)}"
        for pair in assessment.compared
        if pair.changed
    ]
    _section(page, "CHANGED SINCE THE LAST VISIT", compared, _MANY)
    concluded = [f"{drawn.label}: {drawn.state}{_named(drawn.rules)}" for drawn in assessment.conclusions]
    holding = [drawn.label for drawn in assessment.conclusions if drawn.state == "yes"]
    _section(page, "CONCLUDED FROM WHAT WAS FOUND", concluded if page.full else holding, _MANY)
    _section(page, "ABOUT THE INPUT", _input(assessment), _MANY)
    settings = [f"{setting.label}: {setting.choice}" for setting in assessment.settings if not setting.default]
    _section(page, "SETTINGS THAT DIFFER FROM THE PACK", settings, _MANY)


def _named(rules: Sequence[str]) -> str:
    return f" ({', '.join(rules)})" if rules else ""


def _section(page: Page, heading: str, lines: list[str], limit: int) -> None:
    if lines:
        page.heading(heading)
        page.several(lines, limit)


def _reassurance(assessment: Assessment) -> list[str]:
    found = []
    for one in assessment.reassurance:
        said = one.plain.get("en") or why(one.reasons[0])
        found.append(f"{one.label}{', ' + one.side if one.side else ''}: {said}")
    return found


def _not_evaluated(assessment: Assessment, *, full: bool) -> list[str]:
    """Return the reasons, each once, with the rules that it stopped."""
    by_reason: dict[str, list[str]] = {}
    for one in assessment.cannot_evaluate:
        worst = f" [{one.priority}]" if one.priority else ""
        by_reason.setdefault(one.why, []).append(one.rule + worst)
    return [f"{reason}: {', '.join(shown(rules, 3, full=full))}" for reason, rules in by_reason.items()]


def _measure(one: Measured) -> str:
    source = f"; {one.source.id}" if one.source else ""
    basis = f" ({one.basis}{source})" if one.basis else (f" ({one.source.id})" if one.source else "")
    # The braces of a UCUM annotation mean nothing to a reader: {SD} is SD.
    value = _ANNOTATION.sub(r"\1", one.text)
    return f"{one.label}: {value}{basis}"


def _input(assessment: Assessment) -> list[str]:
    unused = [_choice(one) for one in assessment.choices if one.not_used]
    return [*assessment.warnings, *unused, *assessment.notices]


def _choice(one: Choice) -> str:
    label = (one.used or one.not_used[0]).label
    used = f"used {_value(one.used)}; " if one.used else "none used; "
    return f"{label}: {used}not used: {', '.join(map(_value, one.not_used))} ({one.why})"


def _converted(used: Used) -> str:
    """Return a value in the pack's own unit, so that two can be compared, and when it was found."""
    turned = (used.note or "").split(";")[0].removeprefix("= ") if (used.note or "").startswith("= ") else used.value
    return turned + (f" on {used.time[:10]}" if used.time else "")


def _value(used: Used) -> str:
    return used.value + (f" at {used.time}" if used.time else "")
