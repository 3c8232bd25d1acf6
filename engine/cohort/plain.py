"""Which visits are plain, so that what was due at them is told in columns, and what their record says beside values.

At a plain visit nothing is doubtful, no guidance and no proposal of ours is on record, and no rule says that a value is
to be judged. Any other goes by the code of one visit (`due.due_at`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.timing import anchor_of
from layette.engine.answer.resolved.doubtful import doubtful, pending, standing
from layette.engine.answer.resolved.due import on_record, said_not_done
from layette.engine.answer.resolved.judge import to_judge
from layette.engine.cohort.laid import Laid
from layette.engine.logic.conditions import STATUSES, Status
from layette.engine.logic.native import InCodes
from layette.engine.states.facts import Facts
from layette.engine.visit.recordings import Readings
from layette.engine.visit.settled import SETTLED
from layette.engine.visit.unsure import is_measured_anew
from layette.engine.visit.visit import Recorded

_STANDS = STATUSES.index(Status.PROVISIONAL)


class Plain(NamedTuple):
    """What a plain visit says: which rules that ask of the record find something, which that it was not done.

    ``moments``: the UTC second of each anchor that its rules count from, by number, None where it is not known.
    ``to_judge``: the targets of values that no line covers. ``context``: where orders are on record, what weighs them.
    """

    recorded: tuple[int, ...]
    not_done: tuple[int, ...]
    moments: tuple[tuple[int, int | None], ...]
    to_judge: tuple[str, ...]
    context: Context | None = None


class PlainReader:
    """Tells plain visits by one pack."""

    def __init__(self, laid: Laid) -> None:
        """Look at a pack, laid out."""
        plan = laid.plan
        findings = plan.pack.findings
        self._anchors, self._anchors_of = [*laid.anchors], laid.anchors_of
        self._due = [(rule, frozenset(one.name for one in rule.findings)) for rule in plan.due_rules]
        self._judging = frozenset(plan.judging)
        self._in_parts = plan.in_parts
        self._from_before = frozenset(n for n, shape in findings.items() if shape.stands or is_measured_anew(shape))
        views = [entry.view for entry in plan.pack.table.entries]
        self._on_lines = frozenset(view.subject for view in views if view.what == "beyond")

    def of(self, facts: Facts, reading: InCodes, context: Callable[[], Context]) -> Plain | None:
        """Return what a visit says where it is plain; ``context`` makes what the code of one visit looks at."""
        visit, readings = facts.visit, facts.readings
        ours = any(order.request_key for order in visit.orders)
        if ours or visit.guidance or not self._judging.isdisjoint(reading.standing):
            return None
        names = frozenset([name for name, _ in readings.by_place])
        if visit.sex is None or self._is_doubtful(readings):
            return None
        at_all = context() if visit.orders or not self._on_lines.isdisjoint(names) else None
        judged = () if at_all is None else (one.target for one in to_judge((), (), at_all))
        recorded, not_done = self._record(reading.statuses, readings, names)
        weighing = at_all if visit.orders else None
        return Plain(recorded, not_done, self._moments(reading, facts), tuple(dict.fromkeys(judged)), weighing)

    def _is_doubtful(self, readings: Readings) -> bool:
        """Whether something is doubtful: it can be where a recording is one of several, or in doubt by itself."""
        recorded, alone = readings.visit.readings, self._alone
        if len(readings.by_place) == len(recorded) and not any(map(alone, recorded)):
            return False
        return any(True for look in (doubtful, pending, standing) for _ in look(readings))

    def _alone(self, one: Recorded) -> bool:
        """Whether a recording may be in doubt by itself: its hour, how settled a screen is, what stands from before."""
        if one.time.lo != one.time.hi:
            return True
        if one.here:
            return one.finding in self._in_parts and one.status not in SETTLED
        return one.finding in self._from_before or one.finding in self._in_parts

    def _record(
        self, statuses: bytearray, readings: Readings, names: frozenset[str]
    ) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """Return the rules that find what they ask for on record, and those that find that it was not done."""
        complete, recorded, not_done = bool(readings.visit.complete), [], []
        for number, (rule, asked) in enumerate(self._due):
            if statuses[rule.index] < _STANDS or not (complete or not asked.isdisjoint(names)):
                continue
            if on_record(rule, readings):
                recorded.append(number)
            elif said_not_done(rule, readings):
                not_done.append(number)
        return tuple(recorded), tuple(not_done)

    def _moments(self, reading: InCodes, facts: Facts) -> tuple[tuple[int, int | None], ...]:
        asked = self._anchors_of
        numbers = {number for rule in reading.standing if rule in asked for number in asked[rule]}
        found = ((number, anchor_of(*self._anchors[number], facts)) for number in numbers)
        return tuple([(number, None if moment is None else moment.lo) for number, moment in found])
