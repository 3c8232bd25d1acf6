"""One input of a cohort: read by the same code as `assess`, and what was due at it in rows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from layette.engine.answer.parts.context import Context
from layette.engine.api import Pack
from layette.engine.cohort.due import DueAt, due_at
from layette.engine.cohort.many import Due, DueOfMany
from layette.engine.cohort.plain import Plain
from layette.engine.cohort.values import Valued
from layette.engine.errors import InputError, InputProblem
from layette.engine.logic.conditions import STATUSES
from layette.engine.logic.native import InCodes, NativeReader
from layette.engine.pack.written.shapes import listed
from layette.engine.states.decide import Decision
from layette.engine.states.facts import Facts
from layette.engine.visit.visit import Visit
from layette.mapping.codes import OWN_BASE
from layette.mapping.cohort.groups import Groups, clinic_of, groups_of
from layette.mapping.intake import CallerSays, take
from layette.mapping.many.sources import Item


@dataclass(frozen=True)
class Audited:
    """A visit of a cohort, with the values of its views, and what was due; of a plain one what that is made of."""

    flat: Mapping[str, Any]
    visit: Visit
    valued: Valued
    statuses: bytearray
    due: Plain | DueAt
    groups: Groups


class Auditor:
    """Reads the inputs of a cohort by one pack."""

    def __init__(self, pack: Pack) -> None:
        """Audit by ``pack``."""
        self.pack = pack
        [self.native] = pack.readers([NativeReader.name])
        self.laid, self.values, self.plain = pack.cohort.laid, pack.cohort.values, pack.cohort.plain

    def read(self, item: Item) -> Audited:
        """Return what is read of one input. Raises `InputError` with all that is wrong with it."""
        if item.line is not None and item.content[:1] != b"{":
            message = "a line holds one JSON object: a flat visit or a FHIR resource"
            raise InputError([InputProblem("$", "not-json", message, expected="a line that begins with {")])
        intake = take(
            item.content, self.pack, self.pack.site.canonical or OWN_BASE, CallerSays(None, None, item.encounter)
        )
        if intake.problems:
            raise InputError(intake.problems)
        return self.of(intake.visit, clinic_of(intake))

    def of(self, flat: Mapping[str, Any], clinic: str | None) -> Audited:
        """Return what is read of a flat visit. Raises `InputError`."""
        visit = self.pack.read_visit(flat)
        valued = self.values.read(visit)
        facts = valued.facts
        assert isinstance(self.native, NativeReader)
        reading = self.native.read_codes(valued.given)
        facts.states = reading.states
        plain = self.plain.of(facts, reading, lambda: self._context(facts, reading))
        due = due_at(self._context(facts, reading), [self.native]) if plain is None else plain
        return Audited(flat, visit, valued, reading.statuses, due, groups_of(facts, clinic))

    def _context(self, facts: Facts, reading: InCodes) -> Context:
        statuses = tuple([STATUSES[code] for code in reading.statuses])
        # The added worlds are decided by the pack's own plan: they need only what its rules ask.
        return Context(Decision(facts, statuses, (self.native.name,), tuple(reading.standing)), self.pack.plan)

    def due(self, found: Iterable[Audited]) -> Due:
        """Return what was due at visits, by their places."""
        made = DueOfMany(self.laid, [self.native])
        for one in found:
            made.add(one.visit, one.statuses, one.due)
        return made.made()

    @cached_property
    def seen(self) -> frozenset[str]:
        """The findings that answer something when they are seen: what a recheck looks at, what is wanted by an age."""
        looked = {name for target in self.pack.targets.values() for name in target.recheck_of}
        due = {name for rule in self.pack.plan.due_rules for name, *_ in rule.findings}
        return frozenset(looked | due)

    def acts(self, visit: Visit) -> Iterator[Sequence[Any]]:
        """Yield what a visit's record tells of acts, in the columns of `ACTS` from ``kind`` on."""
        for order in visit.orders:
            if order.status != "draft":
                span = (None, None) if order.time is None else (order.time.lo, order.time.hi)
                until = None if order.until is None else order.until.hi
                yield ("order", order.target, order.side or None, order.status, order.priority, *span, until,
                       order.reference or None, order.reason or None)  # fmt: skip
        for kind, given in (("topic", visit.guidance), ("dose", visit.immunizations)):
            for one in given:
                span = (None, None) if one.time is None else (one.time.lo, one.time.hi)
                yield (kind, one.name, None, "completed", None, *span, None, one.reference or None, None)
        looked = {(r.finding, r.side, r.time.lo, r.time.hi) for r in visit.readings
                  if r.finding in self.seen and r.possible is not None}  # fmt: skip
        for finding, side, low, high in sorted(looked):
            yield ("seen", finding, side or None, "completed", None, low, high, None, None, None)


def answered_by(pack: Pack) -> Iterator[tuple[str, str]]:
    """Yield the findings that answer a target when they are seen, as target and finding."""
    for name, target in pack.targets.items():
        yield from ((name, finding) for finding in target.recheck_of)
    for rule in pack.plan.due_rules:
        yield from ((rule.proposal.target, due.name) for due in rule.findings)


def statuses_of(pack: Pack) -> Iterator[tuple[str, str]]:
    """Yield the statuses of an order that answer a target beside a placed one, as `satisfied_by` has them."""
    for name, target in pack.targets.items():
        for wanted in target.satisfied_by:
            yield from ((name, status) for status in listed(wanted.status))
