"""What the rules of a pack lead to, laid out once: proposals, priorities, sources, the answers that are reported."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from layette.engine.answer.assessment import Answer, Citation, Traced
from layette.engine.answer.due import DueRule, due_rules
from layette.engine.answer.proposals import Proposal, proposals
from layette.engine.logic.open_rules import OpenRules
from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.shapes import FindingsFile
from layette.engine.pack.written.written import spans_rows
from layette.engine.states.plan import PackVariables
from layette.engine.terms import PRIORITIES, PROPOSING, VERBS, Kind, Priority

if TYPE_CHECKING:
    pass


class PackOutcomes(PackVariables):
    """The outcomes of a pack's rules; a part of `Pack`."""

    @cached_property
    def rule_priorities(self) -> tuple[Priority | None, ...]:
        """For each rule of the program, the highest priority that it can bring."""
        return tuple(highest_priority(instance.rule.shape) for instance in self.instances)

    @cached_property
    def proposals(self) -> tuple[tuple[Proposal, ...], ...]:
        """What each rule of the program leads to."""
        return proposals(self.instances)

    @cached_property
    def due_rules(self) -> tuple[DueRule, ...]:
        """The rules that ask whether something is on record."""
        return due_rules(self.instances, self.proposals, self.findings)

    @cached_property
    def due_numbers(self) -> frozenset[int]:
        """The numbers of the rules that ask whether something is on record."""
        return frozenset(rule.index for rule in self.due_rules)

    @cached_property
    def row_spanning(self) -> frozenset[int]:
        """The numbers of the rules that span several rows of a table."""
        return frozenset(k for k, instance in enumerate(self.instances) if spans_rows(instance.rule))

    @lru_cache(maxsize=10_000)  # noqa: B019 - a pack lives as long as the program that uses it
    def citations(self, names: tuple[str, ...]) -> tuple[Citation, ...]:
        """Return sources for print."""
        found = [(name, self.sources[name]) for name in names]
        return tuple(Citation(id=name, text=s.text, kind=s.kind, issuer=s.issuer) for name, s in found)

    @cached_property
    def open_rules(self) -> OpenRules:
        """What each open rule waits for, remembered between visits."""
        return OpenRules(self.program)

    @cached_property
    def leads_to(self) -> Mapping[tuple[Kind, str], tuple[tuple[int, str, int], ...]]:
        """For each verb and target, the rules that lead to it: number, side, rank of the priority."""
        out: dict[tuple[Kind, str], list[tuple[int, str, int]]] = {}
        for index, instance in enumerate(self.instances):
            for consequence in instance.rule.shape.then:
                for verb in VERBS:
                    target = getattr(consequence, verb)
                    if target is not None:
                        rank = PRIORITIES.index(consequence.priority or "routine")
                        out.setdefault((verb, target), []).append((index, instance.side, rank))
        return {place: tuple(rules) for place, rules in out.items()}

    @cached_property
    def rule_order(self) -> Mapping[str, int]:
        """The place of each rule in the program."""
        return {instance.rule.shape.id: k for k, instance in enumerate(self.instances)}

    @cached_property
    def answer_places(self) -> Mapping[tuple[Kind, str, str], tuple[tuple[int, int], ...]]:
        """For each verb, target and side whose answer is reported, the rules that lead to it, with their rank."""
        found: dict[tuple[Kind, str, str], list[tuple[int, int]]] = {}
        for (verb, target), leads in self.leads_to.items():
            for index, side, rank in leads if verb in PROPOSING else ():
                if self.instances[index].rule.shape.due is None:
                    found.setdefault((verb, target, side), []).append((index, rank))
        return {place: tuple(leads) for place, leads in found.items()}

    @lru_cache(maxsize=10_000)  # noqa: B019 - a pack lives as long as the program that uses it
    def answer(self, verb: Kind, target: str, side: str, fired: int | None, possible: int | None) -> Answer:
        """Return how far one target is settled, by the ranks of what fired and of what is possible."""
        ends = [None if rank is None else PRIORITIES[rank] for rank in (fired, possible)]
        label = self.targets[target].label
        return Answer(
            target=target, side=side or None, kind=verb, label=label, certain=ends[0], possible=ends[1],
            settled=fired == possible,
        )  # fmt: skip

    @lru_cache(maxsize=10_000)  # noqa: B019 - as above
    def ruled_out(self, index: int, *, not_applicable: bool) -> Traced:
        """Return the trace of a rule that was ruled out."""
        instance = self.instances[index]
        return Traced(
            rule=instance.key,
            title=instance.rule.shape.title,
            place=instance.rule.place,
            status="not applicable" if not_applicable else "ruled out",
            may_stay_undecided=instance.key in self.compiled.inexact,
        )

    @cached_property
    def area_of(self) -> Mapping[str, FindingsFile]:
        """The area of the examination in which each finding stands."""
        return {name: area for area in self.areas for name in area.findings}


def highest_priority(shape: RuleShape, verbs: Iterable[str] = PROPOSING) -> Priority | None:
    """Return the most pressing priority of a rule's consequences with one of ``verbs``."""
    wanted = tuple(verbs)
    ranks = [
        PRIORITIES.index(c.priority or "routine")
        for c in shape.then
        if any(getattr(c, verb) is not None for verb in wanted)
    ]
    return PRIORITIES[min(ranks)] if ranks else None
