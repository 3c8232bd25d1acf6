"""What an audit says was due at visits, held to what `assess` says of it: every line, window and reason."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Due, Recommendation, Window
from layette.engine.api import Pack
from layette.engine.cohort.due import NOT_ON_RECORD, DueAt, DueRow
from layette.mapping.cohort.one_visit import Auditor

Line = tuple[Any, ...]
CHASED = ("chased",)
"""In place of the window of what was ordered before and is overdue: its end is the order's."""


def differences(flats: Sequence[Mapping[str, Any]], auditor: Auditor, pack: Pack) -> list[list[str]]:
    """Return how the two differ at each of some visits that an audit reads together, in words. Raises `InputError`."""
    read = [auditor.of(flat, None) for flat in flats]
    due = auditor.due(read)
    return [_differing(due.at(k), pack.assess(one.visit, readers=["native"])) for k, one in enumerate(read)]


def _differing(due: DueAt, wanted: Assessment) -> list[str]:
    return [*_lines(due, wanted), *_lists(due, wanted)]


def _lines(due: DueAt, wanted: Assessment) -> Iterator[str]:
    chased = {(one.kind, one.target, one.side) for one in wanted.to_chase}
    audited = Counter(_audited(due, chased))
    assessed = Counter(_assessed(wanted))
    yield from (f"audit alone: {line}" for line in audited - assessed)
    for line in assessed - audited:
        if line[-2] != CHASED:  # an order may be overdue for which no rule asks today
            yield f"assess alone: {line}"


def _audited(due: DueAt, chased: set[Line]) -> Iterator[Line]:
    episodes: dict[int, list[DueRow]] = defaultdict(list)
    for row in due.rows:
        episodes[row.episode].append(row)
    for rows in episodes.values():
        lead = rows[0]
        assert lead.lead
        assert not any(row.lead for row in rows[1:])
        if lead.kind == "guide" and lead.stood:
            continue  # what was told already is told by neither
        place = (lead.kind, lead.target, lead.side)
        window: Line = (lead.start, lead.until, lead.overdue, lead.anchor)
        if place in chased and not lead.stood and lead.status != NOT_ON_RECORD:
            window = CHASED
        reasons = frozenset((row.rule, row.status) for row in rows)
        yield (*place, lead.subject, lead.priority, lead.stood, window, reasons)


def _assessed(wanted: Assessment) -> Iterator[Line]:
    chased = (*wanted.to_chase,)
    proposed = (*wanted.recommendations, *wanted.guidance, *wanted.reassurance, *wanted.avoid)
    for several, stood in ((proposed, False), (wanted.standing, True), (chased, False)):
        for one in several:
            yield _line(one, stood, CHASED if several is chased else _window(one.window))
    for missing in wanted.not_on_record:
        yield _silent(missing)


def _line(one: Recommendation, stood: bool, window: Line) -> Line:
    reasons = frozenset((reason.rule, reason.status) for reason in one.reasons)
    return (one.kind, one.target, one.side, one.subject, one.priority, stood, window, reasons)


def _silent(one: Due) -> Line:
    reasons = frozenset({(one.rule, NOT_ON_RECORD)})
    return (one.kind, one.target, one.side, one.subject, one.priority, False, _window(one.window), reasons)


def _window(window: Window) -> Line:
    return (_second(window.start), _second(window.until), window.overdue, window.missing)


def _second(text: str | None) -> int | None:
    return None if text is None else int(datetime.fromisoformat(text).timestamp())


def _lists(due: DueAt, wanted: Assessment) -> Iterator[str]:
    pairs = (
        ("to judge", due.to_judge, (one.target for one in wanted.to_judge)),
        ("to chase", due.to_chase, (one.target for one in wanted.to_chase)),
        ("not on record", due.not_on_record, (one.finding for one in wanted.not_on_record)),
    )
    for name, audited, assessed in pairs:
        if {*audited} != (told := {*assessed}):
            yield f"{name}: {sorted(audited)} in the audit, {sorted(told)} by assess"
