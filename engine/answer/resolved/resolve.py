"""Several reasons, one recommendation: the highest priority, the earliest end, all reasons kept.

Reasons for one target (and side) share a recommendation while their windows have a moment in common; what has none
is a further episode. The result does not depend on the order of the rules.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from layette.engine.answer.laid.proposals import Place, Proposal
from layette.engine.answer.laid.windows import RealWindow
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.keys import CODES, key
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.answer.parts.timing import window_for
from layette.engine.answer.resolved.grounds import FAR, Ground, ends_of
from layette.engine.answer.shapes.proposed import Window
from layette.engine.exact.times import DAY
from layette.engine.logic.conditions import Status
from layette.engine.terms import PRIORITIES, Kind, Priority

ASAP = PRIORITIES.index("asap")


class Episode(NamedTuple):
    """One recommendation in the making: its reasons, and the window that they share."""

    grounds: tuple[Ground, ...]
    number: int
    start: int | None
    until: int | None

    @property
    def first(self) -> Ground:
        """The reason that sets the priority."""
        return self.grounds[0]

    @property
    def certain(self) -> Priority | None:
        """The highest priority of the reasons that fired."""
        fired = [g.rank for g in self.grounds if g.status is Status.FIRED]
        return PRIORITIES[min(fired)] if fired else None

    @property
    def window(self) -> RealWindow:
        """The window of the recommendation: earliest end, latest start among the highest priority."""
        if len(self.grounds) == 1:
            only = self.first.window
            same = only.start == self.start and only.until == self.until
            return only if same else only._replace(start=self.start, until=self.until)
        lead = min(self.grounds, key=lambda g: (FAR if g.window.until is None else g.window.until, g.rank, g.order))
        text = lead.window.text if lead.window.until is not None else self.first.window.text
        missing = next((g.window.missing for g in self.grounds if g.window.missing), None)
        overdue = any(g.window.overdue for g in self.grounds)
        past = [g.window.due for g in self.grounds if g.window.due is not None]
        return self.first.window._replace(
            start=self.start, until=self.until, text=text, overdue=overdue, missing=missing, due=min(past, default=None)
        )


def gather(context: Context, due: Mapping[int, RealWindow]) -> dict[Place, list[Ground]]:
    """Return the reasons of all rules that fired or are provisional, by place.

    ``due`` holds the window of each `due` rule that is wanted now; the others are on record, or wanted later. Nobody
    is reassured provisionally.
    """
    out: dict[Place, list[Ground]] = {}
    plan, statuses, fired = context.plan, context.statuses, Status.FIRED
    instances, proposals = context.pack.instances, plan.proposals
    due_numbers, windows, at = plan.due_numbers, context.windows, context.visit.at.lo
    for index in context.standing:
        wanted = due.get(index)
        if wanted is None and index in due_numbers:
            continue
        instance, status = instances[index], statuses[index]
        for proposal in proposals[index]:
            if proposal.verb == "reassure" and status is not fired:
                continue
            window = wanted or windows.get(proposal.timing) or window_for(proposal, context)
            rank = _rank(proposal, window, at)
            out.setdefault(proposal.place, []).append(Ground(index, instance, proposal, status, window, rank))
    return together(out, plan)


def together(grounds: dict[Place, list[Ground]], plan: AnswerPlan) -> dict[Place, list[Ground]]:
    """Return reasons by place without those that others speak for, those without a side beside those for one."""
    spanning = plan.row_spanning
    if spanning and any(g.number in spanning for reasons in grounds.values() for g in reasons):
        grounds = {place: _lookup(reasons, spanning) for place, reasons in grounds.items()}
    return _sides_joined(grounds)


def _rank(proposal: Proposal, window: RealWindow, at: int) -> int:
    """Return the place of the priority; little time left until an anchored end lifts it, at most to `asap`."""
    little = window.anchored and not window.overdue and window.until is not None and window.until - at <= DAY
    return min(proposal.rank, ASAP) if little else proposal.rank


def _lookup(grounds: list[Ground], row_spanning: frozenset[int]) -> list[Ground]:
    """The rule that spans several rows of a table says nothing where one of these rows speaks for itself."""
    rows = {g.instance.rule.group for g in grounds if g.number not in row_spanning}
    return [g for g in grounds if g.number not in row_spanning or g.instance.rule.group not in rows]


def _sides_joined(grounds: dict[Place, list[Ground]]) -> dict[Place, list[Ground]]:
    """A reason without a side joins the reasons for one side of the same target: one referral, not two."""
    sided: dict[tuple[Kind, str], list[Place]] = {}
    for place in grounds:
        if place[2]:
            sided.setdefault(place[:2], []).append(place)
    for target, places in sided.items():
        unsided = grounds.pop((*target, ""), None)
        if unsided is not None:
            first = min(places, key=lambda place: (min(g.order for g in grounds[place]), place))
            grounds[first] = grounds[first] + unsided
    return grounds


def episodes(grounds: Sequence[Ground]) -> list[Episode]:
    """Group the reasons for one target and side into as few recommendations as their windows allow."""
    if len(grounds) == 1:
        return [_lasting(tuple(grounds), 1, grounds[0].window.start, grounds[0].window.until)]
    left = sorted(grounds, key=lambda g: g.order)
    out: list[Episode] = []
    while left:
        taken, rest = [left[0]], []
        first, last = ends_of(left[0])
        for ground in left[1:]:
            start, until = ends_of(ground)
            start, until = (start if start > first else first), (until if until < last else last)
            if start <= until:
                taken.append(ground)
                first, last = start, until
            else:
                rest.append(ground)
        out.append(_episode(taken, len(out) + 1))
        left = rest
    return out


def _episode(taken: list[Ground], number: int) -> Episode:
    timed = [g for g in taken if not g.window.missing] or taken
    leading, start, until = timed[0].rank, None, None  # type: int, int | None, int | None
    for ground in timed:
        window = ground.window
        if window.until is not None and (until is None or window.until < until):
            until = window.until
        if window.start is not None and (start is None or window.start > start) and ground.rank == leading:
            start = window.start
    return _lasting(tuple(taken), number, start, until)


def _lasting(taken: tuple[Ground, ...], number: int, start: int | None, until: int | None) -> Episode:
    if start is not None and until is not None and until < start:
        start = until
    return Episode(taken, number, start, until)


def episode_name(episode: Episode, context: Context) -> str:
    """Name the episode: what separates this request from another one for the same target."""
    kind = context.pack.targets[episode.first.proposal.target].episode
    visit = context.visit
    if kind == "per_visit":
        name = f"visit-{context.day(visit.at.lo)}"
    elif kind == "per_anchor" and episode.start is not None:
        name = f"from-{context.day(episode.start)}"
    else:
        name = "once"
    return name if episode.number == 1 else f"{name}-{episode.number}"


def answer_key(request: str, priority: Priority, window: Window | None, codes: str) -> str:
    """Return what names one answer to a request: how pressing, when, and by its last digits what is asked for.

    Of what is past, only the end counts: asked again, it is no new answer. Without a ``window`` none of it does.
    ``codes`` are the digits of what is asked for (`code_digits`).
    """
    when = None if window is None else (None if window.overdue else window.start, window.until)
    return key("answer", request, priority, when)[:-CODES] + codes


def same_codes(one: str, other: str) -> bool:
    """Whether two answer keys ask for the same."""
    return one[-CODES:] == other[-CODES:]
