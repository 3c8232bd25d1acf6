"""The report of an audit: one self-contained page of counts and figures, emergencies first; no row unless asked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
from markupsafe import Markup

from layette.engine.terms import PRIORITIES
from layette.mapping.pages.audit.counted import ALL, NUMBER, Counted, Counts, Period, counted
from layette.mapping.pages.audit.pictures import course, funnel
from layette.mapping.pages.audit.shown import HEADS, NOT_SHOWN, Shown, shown
from layette.mapping.pages.figures.drawing import Figure
from layette.mapping.pages.frame import filled, style

Labels = Mapping[str, str]
"""What each target is called."""
LEAST = 11
"""The smallest count that is shown unless a setting says otherwise."""
CHARTS = 500
"""So many charts are listed at most."""
PRESS = {
    "stat": "Emergencies", "asap": "Before they leave, or the same day", "urgent": "Soon", "routine": "In its time",
}  # fmt: skip
_FINDINGS = 3
SHARE = "in time of judged (95 %)"

_CHARTS = """
SELECT coalesce(v.source, ''), v.line, r.priority, r.kind, r.target, r.side, r.rule,
       strftime(r.window_until, '%Y-%m-%d %H:%M'), r.outcome, coalesce(round(r.days_late, 1)::VARCHAR, '')
FROM read_parquet($due) r JOIN read_parquet($visits) v USING (visit)
WHERE r.lead AND r.kind <> 'guide' AND r.outcome IN ('missed', 'late')
  AND ($first IS NULL OR r.month >= $first) AND ($last IS NULL OR r.month <= $last)
ORDER BY list_position($ranks, r.priority), r.outcome = 'late', r.days_late DESC, r.window_until, r.visit, r.episode
LIMIT $most
"""


@dataclass(frozen=True)
class Choice:
    """What the report is to show: the smallest count, whose months, and whether the charts to open are named."""

    least: int = LEAST
    period: Period = (None, None)
    rows: bool = False


@dataclass(frozen=True)
class Class:
    """All that one priority asks: its heading, its counts and its figures."""

    heading: str
    counts: Shown
    figures: list[Figure]


def audit_report(out: Path, account: Mapping[str, Any], choice: Choice) -> str:
    """Return the report of the audit in ``out`` as HTML that needs nothing else.

    ``account`` is its `audit.json`, with the words of the pack that was used. Counts below ``choice.least`` are not
    shown, nor what would give one away.
    Raises OSError and duckdb.Error where a table cannot be read.
    """
    found, least, labels = counted(out, choice.period), choice.least, account.get("targets", {})
    told = found.visits >= least or found.visits == 0
    rules = [(one, shown(one, least)) for one in found.rules] if told else []
    asking = [pair for pair in rules if pair[0].kind not in ("guide", "")]
    return filled(
        "audit_report",
        style=Markup(style("paper") + style("audit_report")),
        account=account, least=least, rows=choice.rows, heads=HEADS, share=SHARE, dash=NOT_SHOWN, enough=told,
        visits=f"{found.visits:,}" if told else f"fewer than {least}",
        months=" to ".join(dict.fromkeys(found.months)) or "none",
        silent=_silent(found, least),
        classes=[_class(one, least) for one in found.classes] if told else [],
        rules=[(PRESS[name], [_line(labels, *pair) for pair in asking if pair[0].priority == name])
               for name in PRIORITIES if any(one.priority == name for one, _ in asking)],
        guidance=[_line(labels, *pair) for pair in rules if pair[0].kind == "guide"],
        undecided=[_waits(labels, *pair, least) for pair in asking if pair[1].because(_FINDINGS, least)],
        undecided_silent=[_waits(labels, *pair, least) for pair in rules
                          if not pair[0].kind and pair[1].because(_FINDINGS, least)],
        judge=_by_clinic(labels, found.judge, least) if told else [],
        unasked=_by_clinic(labels, found.unasked, least) if told else [],
        charts=_charts(out, labels, choice) if choice.rows else [], most=CHARTS,
    )  # fmt: skip


def _silent(found: Counted, least: int) -> str:
    small = 0 < found.silent < least or 0 < found.visits - found.silent < least
    return NOT_SHOWN if small else f"{found.silent:,}"


def _class(one: Counts, least: int) -> Class:
    say, name = shown(one, least), one.priority
    title = PRESS[name]
    made = (
        funnel(f"funnel-{name}", title, say),
        course(f"month-{name}", title, say, "month", "month"),
        course(f"birth-{name}", title, say, "birth_group", "birth group"),
    )
    return Class(title, say, [figure for figure in made if figure is not None])


def _line(labels: Labels, one: Counts, say: Shown) -> tuple[str, str, list[str], Shown]:
    statuses = [say.text("eligible"), say.text("undecided")]
    return _what(labels, one), one.name, [*statuses, *say.row()], say


def _waits(labels: Labels, one: Counts, say: Shown, least: int) -> tuple[str, str, str, list[tuple[str, int]]]:
    return _what(labels, one), one.name, say.text("undecided"), say.because(_FINDINGS, least)


def _what(labels: Labels, one: Counts) -> str:
    if not one.target:
        return "asked for nothing at any visit"
    label = labels.get(one.target, one.target.replace("_", " "))
    return f"{one.kind}: {label}" if one.kind else label


def _by_clinic(labels: Labels, several: Sequence[Counts], least: int) -> list[tuple[str, str, str]]:
    """Return of each target its label, its count, and the counts of the clinics that may be shown."""
    made = []
    for one in several:
        say = shown(one, least)
        told = [(name, say.number("clinic", name, NUMBER)) for name in one.groups["clinic"]]
        clinics = ", ".join(f"{name} {number:,}" for name, number in told if number)
        made.append((_what(labels, one), say.text(*ALL, NUMBER), clinics))
    return made


def _charts(out: Path, labels: Labels, choice: Choice) -> list[Sequence[str]]:
    """Return the charts to open, worst first: where it stands, what was due, by when, what became of it."""
    first, last = choice.period
    asked = {
        "due": str(out / "recommendations" / "*.parquet"), "visits": str(out / "visits" / "*.parquet"),
        "first": first, "last": last, "ranks": list(PRIORITIES), "most": CHARTS,
    }  # fmt: skip
    with duckdb.connect() as base:
        base.execute("SET TimeZone = 'UTC'")
        found = base.execute(_CHARTS, asked).fetchall()
    made: list[Sequence[str]] = []
    for source, line, priority, kind, target, side, rule, until, outcome, late in found:
        label = labels.get(target, target)
        place = source if line is None else f"{source}, line {line}"
        what = f"{kind}: {label}{f', {side}' if side else ''}"
        became = f"{outcome}, {late} days" if late else outcome
        made.append((place, priority, what, rule, until or "", became))
    return made
