"""What was due at plain visits, all at once: windows as arithmetic on columns, nearly every reason by itself.

Where several reasons make one recommendation, the code of one visit joins them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import tzinfo
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from layette.engine.answer.laid.proposals import Place
from layette.engine.answer.laid.windows import RealWindow
from layette.engine.answer.resolved.grounds import FAR, Ground
from layette.engine.answer.resolved.resolve import ASAP, Episode, together
from layette.engine.cohort.due import NOT_ON_RECORD, DueRow, Weighed, episodes_of, rows_of, weighed_orders
from layette.engine.cohort.laid import BIRTH, NOT_DUE, VISIT, Laid
from layette.engine.cohort.plain import Plain
from layette.engine.cohort.spans import KNOWN, OPEN, Flags, Numbers, Span, spans
from layette.engine.exact.times import DAY
from layette.engine.logic.conditions import STATUSES, Status
from layette.engine.logic.program import Reader

_PROVISIONAL, _FIRED = STATUSES.index(Status.PROVISIONAL), STATUSES.index(Status.FIRED)
SAID = ("fired", "provisional", NOT_ON_RECORD)
"""What is said of a row's rule, by its code."""


class DueColumns(NamedTuple):
    """Rows of what was due, each a recommendation of its own, in the columns of `DueRow`; by visit and episode.

    ``proposal`` and ``rule`` are numbers of `Laid`, ``said`` of `SAID`, ``rank`` of `PRIORITIES`; ``missing`` is the
    number of an anchor that is not known, or `KNOWN`.
    """

    visit: Numbers
    episode: Numbers
    proposal: Numbers
    rule: Numbers
    said: Numbers
    rank: Numbers
    start: Numbers
    until: Numbers
    overdue: Flags
    missing: Numbers

    def at(self, places: NDArray[np.int64] | Flags) -> DueColumns:
        """Return some of the rows."""
        columns: Sequence[Any] = self
        return DueColumns(*(column[places] for column in columns))


class _Rows(NamedTuple):
    """What rules ask for: the visit, the rule, its proposal, its status, how pressing, and when."""

    visit: Numbers
    rule: Numbers
    proposal: Numbers
    status: Numbers
    rank: Numbers
    span: Span

    def at(self, places: NDArray[np.int64] | Flags) -> _Rows:
        columns: list[Any] = [*self[:-1]]
        return _Rows(*[column[places] for column in columns], self.span.at(places))  # type: ignore[call-arg]


class Together(NamedTuple):
    """What was due at plain visits: in columns, and in rows what reasons make together, or an order may answer.

    ``to_chase``: targets of overdue orders, of the visits that have orders.
    """

    columns: DueColumns
    rows: Mapping[int, Sequence[DueRow]]
    to_chase: Mapping[int, tuple[str, ...]]


class PlainVisit(NamedTuple):
    """A plain visit: when it was, when the newborn was born (UTC seconds), its zone, its rules, what it says."""

    at: int
    born: int
    zone: tzinfo
    statuses: bytearray
    said: Plain


def due_together(laid: Laid, visits: Sequence[PlainVisit], readers: Sequence[Reader]) -> Together:
    """Return what was due at plain visits, by their places; ``readers`` decide what was on record at an order."""
    return _Due(laid, visits).all(readers)


class _Due:
    def __init__(self, laid: Laid, visits: Sequence[PlainVisit]) -> None:
        self.laid, self.number = laid, len(visits)
        self.zones = [one.zone for one in visits]
        statuses = b"".join([one.statuses for one in visits])
        self.statuses = np.frombuffer(statuses, np.uint8).reshape(len(visits), len(laid.rules))
        self.moments = np.full((len(laid.anchors), len(visits)), OPEN)
        self.moments[VISIT] = [one.at for one in visits]
        self.moments[BIRTH] = [one.born for one in visits]
        self.recorded, self.not_done = (np.zeros((len(visits), len(laid.wanted) + 1), bool) for _ in range(2))
        self.weighing = {k: one.said.context for k, one in enumerate(visits) if one.said.context is not None}
        self.ordered = np.zeros((len(visits), len(laid.targets)), bool)
        for k, context in self.weighing.items():
            known = (laid.targets.get(order.target) for order in context.visit.orders)
            self.ordered[k, [target for target in known if target is not None]] = True
        for k, (*_, said) in enumerate(visits):
            self.recorded[k, [*said.recorded]] = True
            self.not_done[k, [*said.not_done]] = True
            for anchor, second in said.moments:
                self.moments[anchor, k] = OPEN if second is None else second

    def all(self, readers: Sequence[Reader]) -> Together:
        now, silent = self._wanted(self._asked())
        shared = self._shared(now)
        alone, joined = now.at(~shared), [*self._joined(now.at(shared))]
        visits, numbers = self._numbered(alone, joined)
        made = self._alone(alone, numbers[: len(alone.visit)])
        quiet = self._silent(silent, np.bincount(visits, minlength=self.number))
        columns = DueColumns(*(np.concatenate(two) for two in zip(made, quiet, strict=True)))
        in_order = sorted(zip(joined, numbers[len(alone.visit) :].tolist(), strict=True), key=lambda one: one[1])
        by_visit: dict[int, list[tuple[int, Episode]]] = {visit: [] for visit in self.weighing}
        for (visit, episode), number in in_order:
            by_visit.setdefault(visit, []).append((number, episode))
        rows, to_chase = self._weighed(by_visit, readers)
        return Together(columns.at(np.lexsort((columns.episode, columns.visit))), rows, to_chase)

    def _weighed(
        self, by_visit: Mapping[int, Sequence[tuple[int, Episode]]], readers: Sequence[Reader]
    ) -> tuple[dict[int, Sequence[DueRow]], dict[int, tuple[str, ...]]]:
        """Return the rows of recommendations, with what orders answer of them, and what is to be chased."""
        rows: dict[int, Sequence[DueRow]] = {}
        to_chase = {}
        for visit, several in by_visit.items():
            context, history = self.weighing.get(visit), Weighed()
            if context is not None:
                history = weighed_orders([episode for _, episode in several], context, readers)
                to_chase[visit] = history.to_chase
            rows[visit] = [
                row
                for k, (number, episode) in enumerate(several)
                for row in rows_of(number, episode, k in history.stood, self.laid.plan)
            ]
        return rows, to_chase

    def _numbered(self, alone: _Rows, joined: Sequence[tuple[int, Episode]]) -> tuple[Numbers, Numbers]:
        """Return the visits of all recommendations, and their numbers there: the most pressing first."""
        laid, span = self.laid, alone.span
        keys = np.stack([
            alone.visit, alone.rank, span.until, np.where(span.start == OPEN, 0, span.start), laid.key[alone.rule],
            laid.verb[alone.proposal], laid.place[alone.proposal],
        ])  # fmt: skip
        others = np.array([self._key(*one) for one in joined], np.int64).reshape(len(joined), len(keys))
        keys = np.concatenate([keys, others.T], axis=1)
        order, numbers = np.lexsort(keys[::-1]), np.empty(keys.shape[1], np.int64)
        numbers[order] = _places(keys[0][order], self.number) + 1
        return keys[0], numbers

    def _key(self, visit: int, episode: Episode) -> tuple[int, ...]:
        """Return what a recommendation is ordered by, as those in columns."""
        laid, first = self.laid, episode.first
        _, until, start, _, _ = first.order
        place = laid.places[first.proposal.place]
        return visit, first.rank, until, start, int(laid.key[first.number]), laid.verbs[first.proposal.verb], place

    def _asked(self) -> _Rows:
        """Return all that rules ask for which stand."""
        laid = self.laid
        visit, rule = np.nonzero(self.statuses >= _PROVISIONAL)
        number = laid.number[rule]
        begin = np.repeat(np.cumsum(number) - number, number)
        visit, rule = np.repeat(visit, number), np.repeat(rule, number)
        proposal = np.arange(len(rule)) - begin + laid.first[rule]
        status = self.statuses[visit, rule].astype(np.int64)
        kept = ~(laid.reassures[proposal] & (status != _FIRED))
        visit, rule, proposal, status = (column[kept] for column in (visit, rule, proposal, status))
        span = self._spans(visit, proposal)
        little = span.anchored & ~span.overdue & (span.until != FAR) & (span.until - self.moments[VISIT][visit] <= DAY)
        rank = np.where(little, np.minimum(laid.rank[proposal], ASAP), laid.rank[proposal])
        return _Rows(visit, rule, proposal, status, rank, span)

    def _spans(self, visit: Numbers, proposal: Numbers) -> Span:
        """Return the window of each proposal at its visit: those of one timing together."""
        timing = self.laid.timing[proposal]
        order = np.argsort(timing, kind="stable")
        timings, begin = np.unique(timing[order], return_index=True)
        rows = [order[a:b] for a, b in pairwise([*begin, len(order)])]
        parts = [self._span(int(k), visit[some]) for k, some in zip(timings, rows, strict=True)]
        empty = spans((), "routine", np.empty(0, np.int64), (), ())
        whole = Span(*(np.concatenate(column) for column in zip(empty, *parts, strict=True)))
        back = np.empty(len(order), np.int64)
        back[order] = np.arange(len(order))
        return whole.at(back)

    def _span(self, proposal: int, visits: Numbers) -> Span:
        one, moments = self.laid.proposals[proposal], self.moments[:, visits]
        months = any(amount and amount[0] for w in one.windows for amount in (w.start, w.until))
        zones = [self.zones[k] for k in visits] if months else ()
        return spans(self.laid.windows[proposal], one.priority, moments[VISIT], [*moments], zones)

    def _wanted(self, asked: _Rows) -> tuple[_Rows, _Rows]:
        """Return what is asked for now, and that of which the record is silent and which presses less.

        See `due.wanted_now`: what is wanted later, or on record, is neither.
        """
        laid, due = self.laid, self.laid.due[asked.rule]
        of_record = due != NOT_DUE
        recorded, not_done = self.recorded[asked.visit, due], self.not_done[asked.visit, due]
        start = asked.span.start
        later = (start != OPEN) & (start > self.moments[VISIT][asked.visit]) & ~asked.span.overdue
        first = laid.first[asked.rule]
        pressing = not_done | (laid.rank[first] == 0)
        open_now = of_record & ~recorded & ~later
        return asked.at(~of_record | (open_now & pressing)), asked.at(open_now & ~pressing & (asked.proposal == first))

    def _shared(self, rows: _Rows) -> Flags:
        """Return which reasons may share a recommendation with others: those of one place, and of acts that join.

        So are those for what was ordered: the code of one visit weighs them.
        """
        laid = self.laid
        _, place, times = np.unique(
            rows.visit * len(laid.proposals) + laid.place[rows.proposal], return_inverse=True, return_counts=True
        )
        shared: Flags = (times[place.reshape(-1)] > 1) | self.ordered[rows.visit, laid.target[rows.proposal]]
        for pair in (*laid.mixed, *laid.meeting):
            both, concerned = np.ones(self.number, bool), np.zeros(len(rows.visit), bool)
            for proposals in pair:
                there, own = np.zeros(self.number, bool), proposals[rows.proposal]
                there[rows.visit[own]] = True
                both &= there
                concerned |= own
            shared |= concerned & both[rows.visit]
        return shared

    def _joined(self, rows: _Rows) -> Iterator[tuple[int, Episode]]:
        """Yield the recommendations of each visit that reasons make together."""
        by_visit: dict[int, dict[Place, list[Ground]]] = {}
        for visit, ground in zip(rows.visit.tolist(), self._grounds(rows), strict=True):
            by_visit.setdefault(visit, {}).setdefault(ground.proposal.place, []).append(ground)
        for visit, grounds in by_visit.items():
            for episode in episodes_of(together(grounds, self.laid.plan), self.laid.plan):
                yield visit, episode

    def _grounds(self, rows: _Rows) -> Iterator[Ground]:
        laid, instances = self.laid, self.laid.plan.pack.instances
        columns = (rows.rule, rows.proposal, rows.status, rows.rank, *rows.span)
        for rule, proposal, status, rank, start, until, due, missing, overdue, anchored in zip(
            *(column.tolist() for column in columns), strict=True
        ):
            window = RealWindow(
                None if start == OPEN else start,
                None if until == FAR else until,
                "",
                overdue,
                None if missing == KNOWN else laid.missing[missing],
                None if due == FAR else due,
                anchored,
            )
            yield Ground(rule, instances[rule], laid.proposals[proposal], STATUSES[status], window, rank)

    def _alone(self, rows: _Rows, numbers: Numbers) -> DueColumns:
        """Return reasons that stand by themselves."""
        start = np.minimum(rows.span.start, rows.span.until)
        return self._columns(rows, numbers, np.where(rows.status == _FIRED, 0, 1), rows.rank, start)

    def _silent(self, rows: _Rows, after: Numbers) -> DueColumns:
        """Return that of which the record is silent, ``after`` so many recommendations of each visit."""
        episode = _places(rows.visit, self.number) + 1 + after[rows.visit]
        rank = self.laid.rank[rows.proposal]
        return self._columns(rows, episode, np.full(len(rows.visit), SAID.index(NOT_ON_RECORD)), rank, rows.span.start)

    def _columns(self, rows: _Rows, episode: Numbers, said: Numbers, rank: Numbers, start: Numbers) -> DueColumns:
        span = rows.span
        until = np.where(span.overdue & (span.due != FAR), span.due, span.until)
        return DueColumns(
            rows.visit, episode, rows.proposal, rows.rule, said, rank, start, until, span.overdue, span.missing
        )


def _places(visit: Numbers, number: int) -> Numbers:
    """Return the place of each row among those of its visit; rows of a visit stand together, visits in order."""
    counts = np.bincount(visit, minlength=number)
    return np.arange(len(visit)) - (np.cumsum(counts) - counts)[visit]
