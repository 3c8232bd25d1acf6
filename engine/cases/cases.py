"""Worked cases: visits with the answer that is expected, run as the tests of a pack.

`run_cases` compares each case with the answer and counts, for every rule, whether it was seen fired, ruled out and
undecided. What a case does not name may be anything.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.cases.areas import area_named
from layette.engine.cases.compare import differences, numbers_of
from layette.engine.cases.coverage import impossible
from layette.engine.cases.written import Case, read_cases
from layette.engine.errors import InputError, PackProblem, ReaderFailed, ReadersDisagree
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


def run_cases(plan: AnswerPlan, readers: Sequence[Reader], only: str | None = None) -> CaseReport:
    """Run every case of the pack of ``plan``, or those of one area, each read by all ``readers``.

    A case shows the pack's own choices. Run on a pack with a site file, what differs is what the site changes.

    Raises `InputError` for an area that the pack does not have.
    What the rules of an area were seen to be is counted over all cases, so that no case is asked for that is there.
    """
    pack = plan.pack
    cases, problems = read_cases(pack)
    area = None if only is None else area_named(only, pack, cases)
    report = CaseReport(problems=problems, impossible=impossible(plan.states), only=only)
    run = _Run(plan, readers, report)
    for case in cases:
        if area is None or area.has(case):
            run.compare(case)
        else:
            run.read_alone(case)
    run.count(pack.rules if area is None else area.rules)
    return run.report


class _Run:
    """One run over cases: what differs goes into the report, the statuses are kept until they are counted."""

    def __init__(self, plan: AnswerPlan, readers: Sequence[Reader], report: CaseReport) -> None:
        self.pack, self.readers, self.report = plan.pack, readers, report
        self._numbers = numbers_of(plan.pack.instances)
        self._read: list[tuple[Status, ...]] = []
        self._plans: dict[tuple[tuple[str, str], ...], AnswerPlan] = {(): plan}

    def compare(self, case: Case) -> None:
        """Run a case: it passes, or what differs is a failure."""
        try:
            found = list(
                differences(case.shape.expect, self._decide(case, self.readers), self._numbers, self.readers[:1])
            )
        except (InputError, ReaderFailed, ReadersDisagree) as error:
            found = [str(error)]
        self.report.failures += [(case.label, difference) for difference in found]
        self.report.passed += not found

    def read_alone(self, case: Case) -> None:
        """Read a case for what it shows of the rules, by one reader; that it can be used is another run's business."""
        with suppress(InputError):
            self._decide(case, self.readers[:1])

    def count(self, rules: Iterable[str]) -> None:
        """Report what each of these rules was seen to be."""
        seen = self.report.seen = {rule: Seen() for rule in rules}
        for instance, statuses in zip(self.pack.instances, zip(*self._read, strict=True), strict=False):
            one = seen.get(instance.rule.shape.id)
            if one is not None:
                provisional = statuses.count(Status.PROVISIONAL)
                one.fired += statuses.count(Status.FIRED) + provisional
                one.ruled_out += statuses.count(Status.RULED_OUT)
                one.undecided += statuses.count(Status.UNDECIDED) + provisional

    def _decide(self, case: Case, readers: Sequence[Reader]) -> Context:
        plan = self._plan(case.shape.tables)
        visit = reader_for(plan.pack).read(case.shape.given)
        decision = decide(plan.states, visit, readers, plan.rule_priorities)
        self._read.append(decision.statuses)
        return Context(decision, plan)

    def _plan(self, tables: Mapping[str, str]) -> AnswerPlan:
        """Return the plan of the pack with a case's own tables, made once for all cases with the same ones."""
        key = tuple(sorted(tables.items()))
        if key not in self._plans:
            made = _with_tables(self.pack, tables, self.report.problems)
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
