"""Worked cases: visits with the answer that is expected, run as the tests of a pack.

`run_cases` compares each case with the answer and counts, for every rule, whether it was seen fired, ruled out and
undecided. What a case does not name may be anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Any

from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.cases.areas import area_named
from layette.engine.cases.compare import differences, numbers_of
from layette.engine.cases.coverage import impossible
from layette.engine.cases.written import Case, read_cases
from layette.engine.errors import InputError, PackProblem, ReaderFailed, ReadersDisagree
from layette.engine.forked import shared_out
from layette.engine.logic.agree import ACTED_ON
from layette.engine.logic.conditions import Status
from layette.engine.logic.program import Reader
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.folder import PackFolder
from layette.engine.states.decide import decide
from layette.engine.states.plan import StatesPlan
from layette.engine.tables.load import load_table
from layette.engine.visit.reader import reader_for


@dataclass
class Seen:
    """How often a rule was seen in each status over all cases."""

    fired: int = 0
    ruled_out: int = 0
    undecided: int = 0

    def count(self, statuses: Sequence[Status]) -> None:
        """Count what a rule was in each of several cases; a provisional rule has fired, and is undecided too."""
        self.fired += sum(map(statuses.count, ACTED_ON))
        self.ruled_out += statuses.count(Status.RULED_OUT)
        self.undecided += sum(map(statuses.count, (Status.UNDECIDED, Status.PROVISIONAL)))

    def add(self, other: Seen) -> None:
        """Add what another run has counted."""
        self.fired += other.fired
        self.ruled_out += other.ruled_out
        self.undecided += other.undecided


@dataclass
class CaseReport:
    """The outcome of a pack's cases: failures (case, what differs) and what each rule was seen to do.

    Where ``only`` names an area, all but ``problems`` is of that area alone.
    """

    passed: int = 0
    failures: list[tuple[str, str]] = field(default_factory=list)
    problems: list[PackProblem] = field(default_factory=list)
    seen: dict[str, Seen] = field(default_factory=dict)
    impossible: dict[str, tuple[str, ...]] = field(default_factory=dict)
    only: str | None = None

    @property
    def unseen(self) -> dict[str, list[str]]:
        """For each rule that lacks a case, which of fired, ruled out, undecided it was never seen to be.

        What a rule can never be (``impossible``, see `engine.coverage`) is not asked for.
        """
        out = {}
        for rule, seen in self.seen.items():
            counts = (("fired", seen.fired), ("ruled out", seen.ruled_out), ("undecided", seen.undecided))
            lacking = [word for word, n in counts if not n and word not in self.impossible.get(rule, ())]
            if lacking:
                out[rule] = lacking
        return out


def run_cases(
    plan: AnswerPlan, readers: Sequence[Reader], only: str | None = None, processes: int = 1, *, seen: bool = True
) -> CaseReport:
    """Run every case of the pack of ``plan``, or those of one area, each read by all ``readers``.

    A case shows the pack's own choices. Run on a pack with a site file, what differs is what the site changes.
    ``processes``: how many share the cases out among them; the report is the same.

    Raises `InputError` for an area that the pack does not have.
    What the rules of an area were seen to be is counted over all cases, so that no case is asked for that is there;
    ``seen``: whether that is asked. Without it, only the cases of the area are read.
    """
    pack = plan.pack
    cases, problems = read_cases(pack)
    area = None if only is None else area_named(only, pack, cases)
    report = CaseReport(problems=problems, impossible=impossible(plan.states), only=only)

    def run(share: int) -> _Run:
        one = _Run(plan, readers)
        for case in cases[share::processes]:
            if area is None or area.has(case):
                one.compare(case)
            elif seen:
                one.read_alone(case)
        one.count()
        return one

    order = {case.label: number for number, case in enumerate(cases)}
    runs = shared_out(run, range(processes), processes)
    report.passed = sum(one.passed for one in runs)
    report.failures = sorted((found for one in runs for found in one.failures), key=lambda found: order[found[0]])
    report.problems += dict.fromkeys(problem for one in runs for problem in one.problems)
    report.seen = {rule: Seen() for rule in (pack.rules if area is None else area.rules)}
    for one in runs:
        for rule, counts in report.seen.items():
            counts.add(one.seen[rule])
    return report


class _Run:
    """One run over cases: what passed, what differs, and what each rule was seen to be."""

    def __init__(self, plan: AnswerPlan, readers: Sequence[Reader]) -> None:
        self.passed = 0
        self.failures: list[tuple[str, str]] = []
        self.problems: list[PackProblem] = []
        self.seen = {rule: Seen() for rule in plan.pack.rules}
        self._pack, self._readers = plan.pack, readers
        self._numbers = numbers_of(plan.pack.instances)
        self._statuses: list[tuple[Status, ...]] = []
        self._plans: dict[tuple[tuple[str, str], ...], AnswerPlan] = {(): plan}

    def __getstate__(self) -> dict[str, Any]:
        """Carry the outcome to another process, without the pack it was found with."""
        return {name: value for name, value in vars(self).items() if not name.startswith("_")}

    def compare(self, case: Case) -> None:
        """Run a case: it passes, or what differs is a failure."""
        try:
            found = list(
                differences(case.shape.expect, self._decide(case, self._readers), self._numbers, self._readers[:1])
            )
        except (InputError, ReaderFailed, ReadersDisagree) as error:
            found = [str(error)]
        self.failures += [(case.label, difference) for difference in found]
        self.passed += not found

    def read_alone(self, case: Case) -> None:
        """Read a case for what it shows of the rules, by one reader; that it can be used is another run's business."""
        with suppress(InputError):
            self._decide(case, self._readers[:1])

    def count(self) -> None:
        """Count over all cases that were read what each rule was seen to be."""
        for instance, statuses in zip(self._pack.instances, zip(*self._statuses, strict=True), strict=False):
            self.seen[instance.rule.shape.id].count(statuses)

    def _decide(self, case: Case, readers: Sequence[Reader]) -> Context:
        plan = self._plan(case.shape.tables)
        visit = reader_for(plan.pack).read(case.shape.given)
        decision = decide(plan.states, visit, readers, plan.rule_priorities)
        self._statuses.append(decision.statuses)
        return Context(decision, plan)

    def _plan(self, tables: Mapping[str, str]) -> AnswerPlan:
        """Return the plan of the pack with a case's own tables, made once for all cases with the same ones."""
        key = tuple(sorted(tables.items()))
        if key not in self._plans:
            made = _with_tables(self._pack, tables, self.problems)
            self._plans[key] = AnswerPlan(StatesPlan(made))
        return self._plans[key]


def _with_tables(pack: CompiledPack, tables: Mapping[str, str], problems: list[PackProblem]) -> CompiledPack:
    """Return the pack with invented tables of `cases/`; the rules are shared, not compiled again."""
    folder = PackFolder(pack.folder)
    made = dict(pack.tables)
    for choice, stem in tables.items():
        document, text = folder.document(f"cases/{stem}.yaml"), folder.text(f"cases/{stem}.csv")
        if document is not None and text is not None:
            table, found = load_table(document.data, text, f"cases/{stem}.csv")
            folder.problems += found
            if table is not None:
                made[choice] = table
    problems += folder.problems
    return replace(pack, tables=made)
