"""What was due at many visits: of plain ones all at once, of the others as the code of one visit says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from layette.engine.answer.resolved.grounds import FAR
from layette.engine.cohort.due import NOT_ON_RECORD, DueAt, DueRow
from layette.engine.cohort.laid import Laid
from layette.engine.cohort.plain import Plain
from layette.engine.cohort.spans import KNOWN, OPEN
from layette.engine.cohort.together import SAID, DueColumns, PlainVisit, due_together
from layette.engine.logic.program import Reader
from layette.engine.terms import ASKED, PRIORITIES
from layette.engine.visit.visit import Visit

_SILENT = SAID.index(NOT_ON_RECORD)
_MOST_WEIGHING = 500
"""Plain visits with orders that wait for each other: of these more is held than their numbers."""


@dataclass(frozen=True)
class Due:
    """What was due at visits, by their places: in ``columns``, and of those that are not told there in ``rows``.

    Of one visit some may stand here and some there: `at` puts them together. ``apart`` are those that went by the code
    of one visit. ``to_judge``: targets; ``to_chase``: those of the others that have orders.
    """

    laid: Laid
    visits: int
    columns: DueColumns
    rows: Mapping[int, Sequence[DueRow]]
    apart: Mapping[int, DueAt]
    to_judge: Mapping[int, tuple[str, ...]]
    to_chase: Mapping[int, tuple[str, ...]]

    def at(self, visit: int) -> DueAt:
        """Return what was due at one visit."""
        if visit in self.apart:
            return self.apart[visit]
        first, last = np.searchsorted(self.columns.visit, [visit, visit + 1])
        told = [self._row(*row) for row in zip(*(column[first:last].tolist() for column in self.columns), strict=True)]
        rows = sorted([*self.rows.get(visit, ()), *told], key=lambda row: row.episode)
        to_judge, silent = self.to_judge.get(visit, ()), self.not_on_record[visit]
        return DueAt(tuple(rows), to_judge, silent, self.to_chase_at(visit), self.added_worlds(visit))

    def to_chase_at(self, visit: int) -> tuple[str, ...]:
        """Return the targets to chase at one visit."""
        return self.apart[visit].to_chase if visit in self.apart else self.to_chase.get(visit, ())

    def added_worlds(self, visit: int) -> bool:
        """Whether a visit was decided with anything doubtful, or with an order to weigh."""
        return self.apart[visit].added_worlds if visit in self.apart else visit in self.to_chase

    def _row(
        self, _: int, episode: int, proposal: int, rule: int, said: int, rank: int, start: int, until: int,
        overdue: bool, missing: int,
    ) -> DueRow:  # fmt: skip
        laid = self.laid
        verb, target, side = laid.proposals[proposal].place
        return DueRow(
            episode, True, verb, target, side or None, laid.plan.pack.targets[target].subject, laid.rules[rule],
            SAID[said], PRIORITIES[rank], PRIORITIES[rank], None if start == OPEN else start,
            None if until == FAR else until, overdue, None if missing == KNOWN else laid.missing[missing], False,
        )  # fmt: skip

    @cached_property
    def not_on_record(self) -> list[tuple[str, ...]]:
        """The findings of which the record of each visit is silent."""
        found: list[dict[str, None]] = [{} for _ in range(self.visits)]
        silent = self.columns.at(self.columns.said == _SILENT)
        names = [self.laid.wanted[k] for k in self.laid.due[silent.rule]]
        for visit, name in zip(silent.visit.tolist(), names, strict=True):
            found[visit][name] = None
        made = [tuple(one) for one in found]
        for visit, due in self.apart.items():
            made[visit] = due.not_on_record
        return made

    @cached_property
    def asked(self) -> tuple[list[str | None], list[int]]:
        """How pressing what is asked for is at each visit, and how many recommendations that are."""
        columns = self.columns.at(self.laid.asked[self.columns.proposal] & (self.columns.said != _SILENT))
        worst = np.full(self.visits, len(PRIORITIES))
        np.minimum.at(worst, columns.visit, columns.rank)
        number = np.bincount(columns.visit, minlength=self.visits)
        for visit, rows in self.rows.items():
            asked = [row for row in rows if row.kind in ASKED and row.status != NOT_ON_RECORD]
            ranks = [PRIORITIES.index(row.priority) for row in asked]
            worst[visit] = min([*ranks, int(worst[visit])])
            number[visit] += sum(row.lead for row in asked)
        names = [*PRIORITIES, None]
        return [names[rank] for rank in worst], number.tolist()


class DueOfMany:
    """What was due at visits as they come in, one after another."""

    def __init__(self, laid: Laid, readers: Sequence[Reader]) -> None:
        """Take visits that were read by a pack, laid out; ``readers`` decide what was on record at an order."""
        self.laid, self.readers = laid, readers
        self._visits = self._weighing = 0
        self._apart: dict[int, DueAt] = {}
        self._plain: dict[int, PlainVisit] = {}
        self._columns: list[DueColumns] = []
        self._rows: dict[int, Sequence[DueRow]] = {}
        self._to_judge: dict[int, tuple[str, ...]] = {}
        self._to_chase: dict[int, tuple[str, ...]] = {}

    def add(self, visit: Visit, statuses: bytearray, told: Plain | DueAt) -> None:
        """Add a visit: plain, or what was due at it."""
        place = self._visits
        self._visits += 1
        if isinstance(told, DueAt):
            self._apart[place] = told
            return
        self._plain[place] = PlainVisit(visit.at.lo, visit.born.lo, visit.zone, statuses, told)
        self._weighing += told.context is not None
        if self._weighing >= _MOST_WEIGHING:
            self._tell_plain()

    def made(self) -> Due:
        """Return what was due at all of them."""
        self._tell_plain()
        columns = DueColumns(*(np.concatenate(several) for several in zip(*self._columns, strict=True)))
        rows = self._rows | {place: due.rows for place, due in self._apart.items()}
        to_judge = self._to_judge | {place: due.to_judge for place, due in self._apart.items()}
        return Due(self.laid, self._visits, columns, rows, self._apart, to_judge, self._to_chase)

    def _tell_plain(self) -> None:
        """Tell what was due at the plain visits that wait for it."""
        found = due_together(self.laid, [*self._plain.values()], self.readers)
        place = np.array([*self._plain], np.int64)
        self._columns.append(found.columns._replace(visit=place[found.columns.visit]))
        self._rows |= {int(place[k]): rows for k, rows in found.rows.items()}
        self._to_chase |= {int(place[k]): targets for k, targets in found.to_chase.items()}
        self._to_judge |= {k: one.said.to_judge for k, one in self._plain.items() if one.said.to_judge}
        self._plain, self._weighing = {}, 0
