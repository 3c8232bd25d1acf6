"""The verdict in one sentence: what must happen now, how much by tomorrow, what was not judged, when to come back."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from layette.engine.answer.parts.assessment import ComeBack, DoGroup, Verdict
from layette.engine.answer.parts.judged_at_once import by_value
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Recommendation, ToJudge
from layette.engine.terms import Deadline

BY_TOMORROW: tuple[Deadline, ...] = ("before they leave", "within 24 hours")
MOST_NAMED = 3
LONGEST_NAMED = 70


class NotRead(NamedTuple):
    """What came along and could not be read: labels of findings on which something pressing may hang, else the words.

    ``of_mother``: something of it is about the mother.
    """

    findings: Sequence[str]
    said: Sequence[str]
    of_mother: bool


_verdict = known(Verdict)


def verdict_of(
    do: Sequence[DoGroup],
    to_judge: Sequence[ToJudge],
    to_chase: Sequence[Recommendation],
    visits: Sequence[ComeBack],
    unread: NotRead,
    unseen: Callable[[], Sequence[str]],
) -> Verdict:
    """Return the verdict of one visit.

    ``unread`` is what came along and could not be read; ``unseen`` the steps that are not wholly done, where it counts.
    What nobody understands is named, and is no press by itself: a record holds much that is of no finding.
    """
    now = [one for group in do if group.deadline == "now" for one in group.items]
    by_tomorrow = sum(len(group.items) for group in do if group.deadline in BY_TOMORROW)
    judged = len(by_value(to_judge))
    parts = [*_now(now, to_chase)]
    if judged:
        parts.append(f"{_count(judged, 'value is', 'values are')} to be judged before they leave")
    if unread.findings:
        number = _count(len(unread.findings), "value", "values")
        parts.append(f"{number} could not be read, look before they leave: {'; '.join(unread.findings)}")
    if by_tomorrow:
        parts.append(f"{_count(by_tomorrow, 'thing', 'things')} to do by this time tomorrow")
    pressing = bool(parts)
    if not pressing:
        parts.append("Nothing pressing in what was " + ("understood" if unread.said else "recorded"))
    parts += _not_understood(unread.said)
    if not pressing:
        parts[-1] += _unseen(unseen())
    return _verdict(
        text=". ".join(parts) + ".",
        pressing=pressing,
        now=len(now) + len(to_chase),
        by_tomorrow=by_tomorrow,
        to_judge=judged,
        unread=len(unread.findings),
        not_read=tuple(unread.findings),
        unknown=tuple(unread.said),
        names_mother=unread.of_mother,
        next_visit=visits[0] if visits else None,
    )


def _now(now: Sequence[Recommendation], to_chase: Sequence[Recommendation]) -> list[str]:
    told = []
    if now:
        told.append(f"Now: {_named(now)}")
    if to_chase:
        told.append(f"Overdue, chase now: {_named(to_chase)}")
    return told


def _named(made: Sequence[Recommendation]) -> str:
    names = list(dict.fromkeys(one.label + (f", {one.side}" if one.side else "") for one in made))
    return _first_few(names)


def _not_understood(said: Sequence[str]) -> list[str]:
    """Tell what was recorded at this visit and is in no words that are known: silence would pass for normal."""
    if not said:
        return []
    number = _count(len(said), "recording was not understood, read it", "recordings were not understood, read them")
    return [f"{number}: {_first_few(list(map(_short, said)))}"]


def _short(said: str) -> str:
    return said if len(said) <= LONGEST_NAMED else said[: LONGEST_NAMED - 1].rstrip() + "…"


def _unseen(open_steps: Sequence[str]) -> str:
    """Never "all is well": of what nobody looked at nothing is known."""
    if not open_steps:
        return "; everything on the list was looked at"
    steps = [label[:1].lower() + label[1:] for label in open_steps]
    return f". Not looked at, or not wholly: {_first_few(steps, 'more step', 'more steps')}"


def _first_few(named: Sequence[str], one: str = "more", many: str = "more") -> str:
    more = len(named) - MOST_NAMED
    return "; ".join(named[:MOST_NAMED]) + (f"; and {_count(more, one, many)}" if more > 0 else "")


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
