"""Worked cases: visits with the answer that is expected, run as the tests of a pack.

`run_cases` compares each case with the assessment and counts, for every rule, whether it was seen fired, ruled out
and undecided. What a case does not name may be anything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from pydantic import Field

from layette.engine.answer.assemble import assemble
from layette.engine.answer.assessment import Assessment, Recommendation
from layette.engine.answer.context import Context
from layette.engine.answer.plan import AnswerPlan
from layette.engine.cases.coverage import impossible
from layette.engine.errors import InputError, PackProblem, ReadersDisagree
from layette.engine.logic.conditions import Status
from layette.engine.logic.program import Reader
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.folder import PackFolder, check_shape
from layette.engine.pack.written.shapes import Shape
from layette.engine.pack.written.yaml_nodes import Document
from layette.engine.states.decide import decide
from layette.engine.states.plan import StatesPlan
from layette.engine.tables.load import load_table
from layette.engine.terms import Priority
from layette.engine.visit.reader import reader_for


class Expected(Shape):
    """One recommendation that a case expects."""

    target: str
    priority: Priority | None = None
    side: str | None = None
    rule: str | None = None
    status: Literal["fired", "provisional"] | None = None


class Expect(Shape):
    """What a case expects. ``none``: targets that must not be proposed; ``settled``: those whose answer is settled."""

    recommend: list[Expected] = Field(default_factory=list)
    provisional: list[str] = Field(default_factory=list)
    undecided: list[str] = Field(default_factory=list)
    ruled_out: list[str] = Field(default_factory=list)
    not_applicable: list[str] = Field(default_factory=list)
    cannot_evaluate: list[str] = Field(default_factory=list)
    measures: dict[str, str | float | int] = Field(default_factory=dict)
    conclusions: dict[str, Literal["yes", "no", "open"]] = Field(default_factory=dict)
    due: dict[str, Literal["later", "due", "overdue"]] = Field(default_factory=dict)
    none: list[str] = Field(default_factory=list)
    settled: list[str] = Field(default_factory=list)


class CaseShape(Shape):
    """A worked case of `cases/`. ``published`` marks one whose answer comes from the cited source itself.

    ``tables`` puts an invented table of `cases/` in the place of one that only a site can supply: choice -> file stem.
    """

    id: str
    title: str
    source: str | list[str]
    published: bool = False
    tables: dict[str, str] = Field(default_factory=dict)
    given: dict[str, Any]
    expect: Expect


@dataclass(frozen=True)
class Case:
    """A case as it stands in a file."""

    shape: CaseShape
    place: str


@dataclass
class Seen:
    """How often a rule was seen in each status over all cases."""

    fired: int = 0
    ruled_out: int = 0
    undecided: int = 0


@dataclass
class CaseReport:
    """The outcome of a pack's cases: failures (case, what differs) and what each rule was seen to do."""

    passed: int = 0
    failures: list[tuple[str, str]] = field(default_factory=list)
    problems: list[PackProblem] = field(default_factory=list)
    seen: dict[str, Seen] = field(default_factory=dict)
    impossible: dict[str, tuple[str, ...]] = field(default_factory=dict)

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


def read_cases(pack: CompiledPack) -> tuple[list[Case], list[PackProblem]]:
    """Read the pack's case files; mistakes of shape, doubled ids and unknown rules or targets come back as problems."""
    folder = PackFolder(pack.folder)
    out: list[Case] = []
    for file in pack.shape.cases:
        document = folder.document(f"cases/{file}")
        if document is None or not isinstance(document.data, list):
            continue
        for k, entry in enumerate(document.data):
            made = check_shape(document, entry, (k,), CaseShape, folder.problems)
            if made is not None:
                place = f"{document.file}:{document.line((k,))}"
                folder.problems += _names(pack, made, document, k, {c.shape.id: c.place for c in out})
                out.append(Case(made, place))
    return out, folder.problems


def _names(
    pack: CompiledPack, case: CaseShape, document: Document, k: int, seen: Mapping[str, str]
) -> Iterator[PackProblem]:
    if case.id in seen:
        yield document.problem((k, "id"), "duplicate-id", f"the case '{case.id}' stands already at {seen[case.id]}")
    expect = case.expect
    rules = [*expect.undecided, *expect.ruled_out, *expect.not_applicable, *expect.cannot_evaluate, *expect.due]
    for name in rules:
        if name.split("@")[0] not in pack.rules:
            yield document.problem((k, "expect"), "unknown-rule", f"there is no rule '{name}'")
    for name in [*expect.none, *expect.provisional, *expect.settled, *(r.target for r in expect.recommend)]:
        if name not in pack.targets:
            yield document.problem((k, "expect"), "unknown-target", f"there is no target '{name}'")
    for name in expect.measures:
        if name not in pack.measures:
            yield document.problem((k, "expect"), "unknown-finding", f"there is no measure '{name}'")


def run_cases(plan: AnswerPlan, readers: Sequence[Reader]) -> CaseReport:
    """Run every case of the pack of ``plan``; each visit is read by all ``readers``."""
    pack = plan.pack
    cases, problems = read_cases(pack)
    never = impossible(plan.states)
    report = CaseReport(problems=problems, seen={rule: Seen() for rule in pack.rules}, impossible=never)
    for case in cases:
        label = f"{case.shape.id} ({case.place})"
        try:
            differ = list(_run(_with_tables(plan, case.shape.tables, report.problems), case, readers, report))
        except (InputError, ReadersDisagree) as error:
            differ = [str(error)]
        report.failures += [(label, difference) for difference in differ]
        report.passed += not differ
    return report


def _with_tables(plan: AnswerPlan, tables: Mapping[str, str], problems: list[PackProblem]) -> AnswerPlan:
    """Return the plan with a case's own invented tables; the rules are shared, not compiled again."""
    if not tables:
        return plan
    folder = PackFolder(plan.pack.folder)
    supplied = dict(plan.pack.tables)
    for choice, stem in tables.items():
        document, text = folder.document(f"cases/{stem}.yaml"), folder.text(f"cases/{stem}.csv")
        if document is not None and text is not None:
            table, found = load_table(document.data, text, f"cases/{stem}.csv")
            folder.problems += found
            if table is not None:
                supplied[choice] = table
    problems += folder.problems
    return AnswerPlan(StatesPlan(replace(plan.pack, tables=supplied)))


def _run(plan: AnswerPlan, case: Case, readers: Sequence[Reader], report: CaseReport) -> Iterator[str]:
    visit = reader_for(plan.pack).read(case.shape.given)
    decision = decide(plan.states, visit, readers, plan.rule_priorities)
    for index, status in enumerate(decision.statuses):
        seen = report.seen[plan.pack.instances[index].rule.shape.id]
        seen.fired += status in (Status.FIRED, Status.PROVISIONAL)
        seen.ruled_out += status is Status.RULED_OUT
        seen.undecided += status in (Status.UNDECIDED, Status.PROVISIONAL)
    yield from differences(case.shape.expect, assemble(Context(decision, plan), readers[:1]))


def differences(expect: Expect, found: Assessment) -> Iterator[str]:
    """Yield each way in which an assessment differs from what a case expects."""
    made = [*found.recommendations, *found.avoid, *found.guidance, *found.reassurance]
    for wanted in expect.recommend:
        if not any(_matches(wanted, r) for r in made):
            have = ", ".join(f"{r.target} {r.priority}" for r in made if r.target == wanted.target) or "nothing for it"
            yield f"expected {wanted.model_dump(exclude_none=True)}, found {have}"
    for target in expect.provisional:
        if not any(r.target == target and any(g.status == "provisional" for g in r.reasons) for r in made):
            yield f"expected a provisional reason for '{target}'"
    for target in expect.none:
        if any(r.target == target for r in made):
            yield f"expected no recommendation for '{target}'"
    for target in expect.settled:
        if any(a.target == target and not a.settled for a in found.answers):
            yield f"expected '{target}' to be settled"
    yield from _statuses(expect, found)
    yield from _values(expect, found)


def _matches(wanted: Expected, found: Recommendation) -> bool:
    return (
        wanted.target == found.target
        and wanted.priority in (None, found.priority)
        and wanted.side in (None, found.side)
        and (wanted.rule is None or any(g.rule == wanted.rule for g in found.reasons))
        and (wanted.status is None or any(g.status == wanted.status for g in found.reasons))
    )


def _statuses(expect: Expect, found: Assessment) -> Iterator[str]:
    status: dict[str, set[str]] = {}
    for traced in found.trace:
        for name in {traced.rule, traced.rule.split("@")[0]}:
            status.setdefault(name, set()).add(traced.status)
    wanted = [
        ("undecided", expect.undecided),
        ("ruled out", expect.ruled_out),
        ("not applicable", expect.not_applicable),
    ]
    for word, rules in wanted:
        for rule in rules:
            have = status.get(rule, set())
            fits = word in have or (word == "ruled out" and have == {"not applicable"})
            if not fits:
                yield f"expected {rule} {word}, found {', '.join(sorted(have)) or 'nothing'}"
    unread = {n.rule for n in found.cannot_evaluate}
    for rule in expect.cannot_evaluate:
        if rule not in unread:
            yield f"expected {rule} not to be evaluated"
    due = {d.rule: d.state for d in found.due}
    for rule, state in expect.due.items():
        if due.get(rule) != state:
            yield f"expected {rule} {state}, found {due.get(rule, 'not due')}"


def _values(expect: Expect, found: Assessment) -> Iterator[str]:
    measured = {m.id: m for m in found.measures}
    for name, value in expect.measures.items():
        have = measured.get(name)
        shown = None if have is None else (have.category or have.text if isinstance(value, str) else have.low)
        if shown is None or (shown != value if isinstance(value, str) else float(shown) != float(value)):
            yield f"expected {name} = {value}, found {have.text if have else 'nothing'}"
    concluded = {c.id: c.state for c in found.conclusions}
    for name, state in expect.conclusions.items():
        if concluded.get(name) != state:
            yield f"expected {name} {state}, found {concluded.get(name, 'nothing')}"
