"""What the rules of a pack lead to, laid out once: proposals, priorities, sources, the answers that are reported."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property

from layette.engine.answer.parts.assessment import Answer, Citation, Traced
from layette.engine.answer.parts.proposals import DueRule, Proposal, due_rules, proposals
from layette.engine.answer.parts.tested import tested
from layette.engine.logic.residual import OpenRules
from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.shapes import FindingsFile
from layette.engine.pack.written.written import spans_rows
from layette.engine.states.plan import StatesPlan
from layette.engine.terms import PRIORITIES, PROPOSING, Kind, Priority


class AnswerPlan:
    """The outcomes of a pack's rules; immutable but for what it remembers, and that dies with it."""

    def __init__(self, states: StatesPlan) -> None:
        """Lay out the pack whose variables are laid out in ``states``."""
        self.states = states
        self.pack = states.pack
        self._citations: dict[tuple[str, ...], tuple[Citation, ...]] = {}
        self._answers: dict[tuple[Kind, str, str, int | None, int | None], Answer] = {}
        self._ruled_out: dict[tuple[int, bool], Traced] = {}

    @cached_property
    def rule_priorities(self) -> tuple[Priority | None, ...]:
        """For each rule of the program, the highest priority that it can bring."""
        return tuple(highest_priority(instance.rule.shape) for instance in self.pack.instances)

    @cached_property
    def tested(self) -> tuple[frozenset[str], ...]:
        """For each rule of the program, what it hangs on."""
        return tuple(tested(rule, self.states) for rule in self.pack.program.rules)

    @cached_property
    def proposals(self) -> tuple[tuple[Proposal, ...], ...]:
        """What each rule of the program leads to."""
        return proposals(self.pack.instances, self.unsided)

    @cached_property
    def unsided(self) -> frozenset[str]:
        """The targets that are one act, whatever side a finding is on."""
        return frozenset(name for name, shape in self.pack.targets.items() if not shape.sided)

    @cached_property
    def due_rules(self) -> tuple[DueRule, ...]:
        """The rules that ask whether something is on record."""
        return due_rules(self.pack.instances, self.proposals, self.pack.findings)

    @cached_property
    def due_numbers(self) -> frozenset[int]:
        """The numbers of the rules that ask whether something is on record."""
        return frozenset(rule.index for rule in self.due_rules)

    @cached_property
    def if_ordered(self) -> frozenset[int]:
        """The numbers of the rules that are about results which somebody has to order."""
        return frozenset(k for k, instance in enumerate(self.pack.instances) if instance.rule.shape.if_ordered)

    @cached_property
    def judging(self) -> tuple[int, ...]:
        """The numbers of the rules that say that a value is to be judged."""
        return tuple(k for k, made in enumerate(self.proposals) if any(one.verb == "judge" for one in made))

    @cached_property
    def row_spanning(self) -> frozenset[int]:
        """The numbers of the rules that span several rows of a table."""
        return frozenset(k for k, instance in enumerate(self.pack.instances) if spans_rows(instance.rule))

    def citations(self, names: tuple[str, ...]) -> tuple[Citation, ...]:
        """Return sources for print."""
        cited = self._citations.get(names)
        if cited is None:
            sources = [(name, self.pack.sources[name]) for name in names]
            cited = tuple(Citation(id=name, text=s.text, kind=s.kind, issuer=s.issuer) for name, s in sources)
            self._citations[names] = cited
        return cited

    @cached_property
    def open_rules(self) -> OpenRules:
        """What each open rule waits for, remembered between visits."""
        return OpenRules(self.pack.program)

    @cached_property
    def leads_to(self) -> Mapping[tuple[Kind, str], tuple[tuple[int, str, int], ...]]:
        """For each verb and target, the rules that lead to it: number, side, rank of the priority."""
        by_place: dict[tuple[Kind, str], list[tuple[int, str, int]]] = {}
        for index, instance in enumerate(self.pack.instances):
            for number, then in enumerate(instance.rule.shape.then):
                verb = instance.rule.verb_of(number)
                if verb is not None:
                    side = "" if then.target in self.unsided else instance.side
                    by_place.setdefault((verb, then.target), []).append((index, side, then.rank))
        return {place: tuple(rules) for place, rules in by_place.items()}

    @cached_property
    def rule_order(self) -> Mapping[str, int]:
        """The place of each rule in the program."""
        return {instance.rule.shape.id: k for k, instance in enumerate(self.pack.instances)}

    @cached_property
    def answer_places(self) -> Mapping[tuple[Kind, str, str], tuple[tuple[int, int], ...]]:
        """For each verb, target and side whose answer is reported, the rules that lead to it, with their rank."""
        by_place: dict[tuple[Kind, str, str], list[tuple[int, int]]] = {}
        for (verb, target), leads in self.leads_to.items():
            for index, side, rank in leads if verb in PROPOSING else ():
                if self.pack.instances[index].rule.shape.due is None:
                    by_place.setdefault((verb, target, side), []).append((index, rank))
        return {place: tuple(leads) for place, leads in by_place.items()}

    def answer(self, verb: Kind, target: str, side: str, fired: int | None, possible: int | None) -> Answer:
        """Return how far one target is settled, by the ranks of what fired and of what is possible."""
        key = (verb, target, side, fired, possible)
        answer = self._answers.get(key)
        if answer is None:
            certain, most = (None if rank is None else PRIORITIES[rank] for rank in (fired, possible))
            answer = self._answers[key] = Answer(
                target=target, side=side or None, kind=verb, label=self.pack.targets[target].label,
                certain=certain, possible=most, settled=fired == possible,
            )  # fmt: skip
        return answer

    def ruled_out(self, index: int, *, not_applicable: bool) -> Traced:
        """Return the trace of a rule that was ruled out."""
        traced = self._ruled_out.get((index, not_applicable))
        if traced is None:
            instance = self.pack.instances[index]
            traced = self._ruled_out[index, not_applicable] = Traced(
                rule=instance.key,
                title=instance.rule.shape.title,
                place=instance.rule.place,
                status="not applicable" if not_applicable else "ruled out",
                may_stay_undecided=instance.key in self.pack.compiled.inexact,
            )
        return traced

    @cached_property
    def area_of(self) -> Mapping[str, FindingsFile]:
        """The area of the examination in which each finding stands."""
        return {name: area for area in self.pack.areas for name in area.findings}


def highest_priority(shape: RuleShape, verbs: Iterable[str] = PROPOSING) -> Priority | None:
    """Return the most pressing priority of a rule's consequences with one of ``verbs``."""
    wanted = frozenset(verbs)
    ranks = [then.rank for then in shape.then if then.verb in wanted]
    return PRIORITIES[min(ranks)] if ranks else None
