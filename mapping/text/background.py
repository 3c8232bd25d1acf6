"""What stands behind the answer: measures, what changed, the input; and, on request, all that was worked out."""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.answer.parts.assessment import Assessment, Compared, Measured
from layette.engine.answer.shapes.detail import Choice
from layette.mapping.read.bundle.result import NOTES
from layette.mapping.text.clock import Clock
from layette.mapping.text.frame import conflicts, exclusions
from layette.mapping.text.headlines import headlines
from layette.mapping.text.labels import listed, short
from layette.mapping.text.layout import Page, counted, cut, sentence, shown, wrapped
from layette.mapping.text.values import dated, measured

_LINES = 3
_TWO = 2
_FEW = 4
_SHORT = 60


def measures(page: Page, assessment: Assessment, clock: Clock) -> None:
    """Write the headline measures that the head has no room for; all measures, and how each was made, if full."""
    if page.full:
        page.section("MEASURES", [_computed(one) for one in assessment.measures])
    elif rest := headlines(assessment, clock, page.width).rest:
        page.strip("MEASURES", rest, _LINES)


def _computed(one: Measured) -> str:
    label, text = measured(one)
    basis = "; ".join(part for part in (one.basis, one.source.id if one.source else "") if part)
    return f"{label}: {text}" + (f" ({basis})" if basis else "")


def changed(page: Page, assessment: Assessment, clock: Clock) -> None:
    """Write what differs from the last visit."""
    lines = [_compared(pair, clock) for pair in assessment.compared if pair.changed]
    if page.full:
        page.section("WHAT CHANGED", lines)
    elif lines:
        page.strip("WHAT CHANGED", lines, _LINES)


def _compared(pair: Compared, clock: Clock) -> str:
    return f"{short(pair.label)}: {dated(pair.earlier, clock)} → {dated(pair.now, clock)}"


def about_the_input(page: Page, assessment: Assessment, clock: Clock, counts: str, *, brief: bool = False) -> None:
    """Write what became of the input: what was odd, what was left aside, what the site set.

    ``brief``: what was kept aside and not evaluated is left to the full page.
    """
    lines = [*_odd(page, assessment), *_noticed(page, assessment)]
    if page.full:
        lines += [_choice(choice, clock) for choice in assessment.choices if choice.not_used]
        page.section("ABOUT THE INPUT", [line for line in (*lines, counts) if line])
        return
    lines.append(counts if brief else _account(assessment, counts))
    for number, line in enumerate(line for line in lines if line):
        page.strip("" if number else "ABOUT THE INPUT", [line], _LINES)


def _odd(page: Page, assessment: Assessment) -> list[str]:
    on_top = set(conflicts(assessment).values())
    odd = [warning for warning in assessment.warnings if page.full or warning not in on_top]
    return [_short(page, warning) for warning in shown(odd, _FEW, full=page.full)]


def _account(assessment: Assessment, counts: str) -> str:
    """Return the counts of the entries, what was left aside and what was not read."""
    unused = [choice.used or choice.not_used[0] for choice in assessment.choices if choice.not_used]
    names = ", ".join(listed(short(used.label) for used in unused))
    aside = names if len(names) <= _SHORT else counted(len(unused), "finding", "findings") + " (--all)"
    stopped = len({one.rule for one in assessment.cannot_evaluate if one.priority})
    not_read = f"{counted(stopped, 'rule', 'rules')} not evaluated (--all)" if stopped else None
    kept = f"Earlier or less settled values kept aside: {aside}" if unused else None
    return sentence([counts, kept, not_read])


def _choice(one: Choice, clock: Clock) -> str:
    label = (one.used or one.not_used[0]).label
    used = f"used {dated(one.used, clock)}" if one.used else "none used"
    return f"{label}: {used}; not used: {', '.join(dated(r, clock) for r in one.not_used)} ({one.why})"


def _noticed(page: Page, assessment: Assessment) -> list[str]:
    """Return what the engine and the site have to say; a short page without what stands in its head, and notes."""
    told = tuple(f"{one.label}:" for one in assessment.settings if one.id.endswith("_set"))
    on_top = set(exclusions(assessment))
    notices = [
        _short(page, notice) for notice in assessment.notices
        if page.full or not (notice in on_top or notice.startswith((*told, NOTES)))
    ]  # fmt: skip
    settings = [f"{one.label}: {one.choice}, not the pack's default" for one in assessment.settings if not one.default]
    return [*shown(notices, _FEW, full=page.full), *settings]


def _short(page: Page, text: str) -> str:
    """Return a line that takes no more than two lines of a short page."""
    room = page.width - len("NORMAL AT THIS AGE  ")
    if page.full or len(wrapped(text, room, "", "")) <= _TWO:
        return text
    return cut(text, room - len(" (--all)")) + " (--all)"


def worked_out(page: Page, assessment: Assessment) -> None:
    """Write what only a full page shows: conclusions, what could not be read, how far each target is settled."""
    concluded = [f"{drawn.label}: {drawn.state}{_named(drawn.rules)}" for drawn in assessment.conclusions]
    page.section("CONCLUDED FROM WHAT WAS FOUND", concluded)
    by_reason: dict[str, list[str]] = {}
    for one in assessment.cannot_evaluate:
        worst = f" [{one.priority}]" if one.priority else ""
        by_reason.setdefault(one.why, []).append(one.rule + worst)
    page.section("NOT EVALUATED", [f"{reason}: {', '.join(rules)}" for reason, rules in by_reason.items()])
    unsettled = [one.label + (f", {one.side}" if one.side else "") for one in assessment.answers if not one.settled]
    if assessment.answers:
        not_needed = sum(one.settled and one.certain is None for one in assessment.answers)
        lines = [f"not needed: {not_needed} of {len(assessment.answers)} targets"]
        lines += [f"still open: {'; '.join(unsettled)}"] if unsettled else []
        page.section("HOW FAR IT IS SETTLED", lines)


def _named(rules: Sequence[str]) -> str:
    return f" ({', '.join(rules)})" if rules else ""
