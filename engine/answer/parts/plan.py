"""What the rules of a pack lead to, laid out once: proposals, priorities, sources, the answers that are reported."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property, lru_cache

from layette.engine.answer.laid.fixed import Fields, Fixed
from layette.engine.answer.laid.issuers import OfASet, of_a_set
from layette.engine.answer.laid.labels import label_of
from layette.engine.answer.laid.ordered import Awaited, IfOrdered, awaited, if_ordered
from layette.engine.answer.laid.proposals import DueRule, Proposal, due_rules, proposals
from layette.engine.answer.laid.questions import Questions
from layette.engine.answer.laid.reported import Reported
from layette.engine.answer.laid.tested import sparing, tested
from layette.engine.answer.laid.told import codes_of, plain_of
from layette.engine.answer.laid.waiting import Waiting, WantedInput, waiting
from layette.engine.answer.parts.keys import code_digits
from layette.engine.answer.shapes.proposed import Citation, Code
from layette.engine.answer.shapes.used import PackUsed, SettingUsed
from layette.engine.logic.conditions import AllOf, variables
from layette.engine.logic.residual import REMEMBERED, OpenRules
from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.shapes import FindingsFile
from layette.engine.pack.written.views import View
from layette.engine.pack.written.written import spans_rows
from layette.engine.states.plan import MOST_CHOICES, Choices, StatesPlan
from layette.engine.terms import PRIORITIES, PROPOSING, Kind, Priority
from layette.engine.visit.recordings import Where


class AnswerPlan:
    """The outcomes of a pack's rules; immutable but for what it remembers, and that dies with it."""

    def __init__(self, states: StatesPlan) -> None:
        """Lay out the pack whose variables are laid out in ``states``."""
        self.states = states
        self.pack = states.pack
        self._citations: dict[tuple[str, ...], tuple[Citation, ...]] = {}
        self.plain = lru_cache(maxsize=REMEMBERED)(self._plain)
        self._labels: dict[Where, str] = {}
        self.places_of = lru_cache(maxsize=REMEMBERED)(self._places_of)
        self.settings_used = lru_cache(maxsize=MOST_CHOICES)(self._settings_used)
        self.waiting = lru_cache(maxsize=REMEMBERED)(self._waiting)

    @cached_property
    def rule_priorities(self) -> tuple[Priority | None, ...]:
        """For each rule of the program, the highest priority that it can bring."""
        return tuple(highest_priority(instance.rule.shape) for instance in self.pack.instances)

    @cached_property
    def tested(self) -> tuple[frozenset[str], ...]:
        """For each rule of the program, what it hangs on."""
        return tuple(tested(rule, self.states) for rule in self.pack.program.rules)

    @cached_property
    def sparing(self) -> tuple[frozenset[str], ...]:
        """The names of all that can take the place of each rule, by its number."""
        return tuple(sparing(rule, self.states) for rule in self.pack.program.rules)

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
    def fixed_due(self) -> Mapping[int, Fields]:
        """What is told at every visit of each of these rules, by its number."""
        return {rule.index: self.fixed.of_due(rule) for rule in self.due_rules}

    @cached_property
    def if_ordered(self) -> Mapping[int, IfOrdered]:
        """The rules that are about results which somebody has to order, by their number."""
        numbers = [k for k, instance in enumerate(self.pack.instances) if instance.rule.shape.if_ordered]
        return {k: if_ordered(self.pack.program.rules[k], self.states) for k in numbers}

    @cached_property
    def awaited(self) -> Mapping[str, Awaited]:
        """What somebody has to order, by finding."""
        return {name: awaited(name, shape) for name, shape in self.pack.findings.items() if shape.awaited}

    @cached_property
    def in_parts(self) -> frozenset[str]:
        """The findings that are read in parts."""
        return frozenset(name for name, shape in self.pack.findings.items() if shape.readings)

    @cached_property
    def judging(self) -> tuple[int, ...]:
        """The numbers of the rules that say that a value is to be judged."""
        return tuple(k for k, made in enumerate(self.proposals) if any(one.verb == "judge" for one in made))

    @cached_property
    def read_on_lines(self) -> tuple[int, ...]:
        """The numbers of the rules that can press and read a value on a line of treatment."""
        entries = self.pack.table.entries
        return tuple(
            k
            for k, rule in enumerate(self.pack.program.rules)
            if self.rule_priorities[k] in ("stat", "asap")
            and k not in self.due_numbers
            and any(entries[var].view.what == "beyond" for var in variables(AllOf((rule.applies, rule.when))))
        )

    @cached_property
    def behind_pressing(self) -> frozenset[str]:
        """The findings behind every rule that can bring `stat` or `asap`."""
        told = zip(self.tested, self.rule_priorities, strict=True)
        names = [tested for tested, priority in told if priority in ("stat", "asap")]
        return frozenset().union(*names) & self.pack.findings.keys()

    @cached_property
    def wanted(self) -> Mapping[int, tuple[WantedInput, ...]]:
        """For each variable that waits for the same recording at every visit, what that is."""
        found = {}
        names = self.pack.findings.keys() - self.states.concluders.keys() - self.pack.measures.keys()
        for var, entry in enumerate(self.pack.table.entries):
            view = entry.view
            if view.subject not in names or view.what == "unequal":
                continue
            if view.pick == "earlier":
                found[var] = (WantedInput(view.subject, view.side, "history"),)
            elif view.what not in ("beyond", "age") and view.subject not in self.pack.guards:
                found[var] = (WantedInput(view.subject, view.side, "finding"),)
        return found

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
    def fixed(self) -> Fixed:
        """What is the same of recommendations and reasons at every visit."""
        return Fixed(self.pack, self.citations, self.target_codes)

    def _plain(self, target: str, choices: Choices) -> Mapping[str, str]:
        """Return the words for the family of a target by language, with the choices in force."""
        return plain_of(self.pack.targets[target], self.pack.settings, dict(choices))

    def _settings_used(self, choices: Choices) -> tuple[SettingUsed, ...]:
        """Return the settings as they are published, with the choices in force."""
        chosen, shapes = dict(choices), self.pack.settings
        return tuple(
            SettingUsed(id=name, label=shape.label, choice=chosen[name], default=chosen[name] == shape.default)
            for name, shape in shapes.items()
        )

    @cached_property
    def used(self) -> PackUsed:
        """The pack as it is published."""
        pack = self.pack
        return PackUsed(id=pack.id, version=pack.version, jurisdiction=pack.shape.jurisdiction, digest=pack.digest)

    @cached_property
    def target_codes(self) -> Mapping[str, tuple[Code, ...]]:
        """The codes of each target."""
        return {name: codes_of(target.codes) for name, target in self.pack.targets.items()}

    @cached_property
    def code_digits(self) -> Mapping[str, str]:
        """What tells in an answer key the codes of each target."""
        return {name: code_digits(code.code for code in codes) for name, codes in self.target_codes.items()}

    @cached_property
    def measure_codes(self) -> Mapping[str, tuple[Code, ...]]:
        """The codes of each measure."""
        return {name: codes_of(shape.codes) for name, shape in self.pack.measures.items()}

    @cached_property
    def line_units(self) -> Mapping[str, str]:
        """For each line of treatment, and each margin to one, the unit of the finding that is read on it."""
        units = self.states.finding_units
        lines = {name: m for name, m in self.pack.measures.items() if m.compute in ("threshold", "margin")}
        read = {name: str((m.model_extra or {}).get("of", "")).split(".")[0] for name, m in lines.items()}
        return {name: units[finding] for name, finding in read.items() if finding in units}

    @cached_property
    def on_conclusions(self) -> frozenset[int]:
        """The numbers of the rules that test what other rules conclude."""
        entries, concluded = self.pack.table.entries, self.states.concluding
        return frozenset(
            k
            for k, rule in enumerate(self.pack.program.rules)
            if any(entries[var].view.subject in concluded for var in variables(AllOf((rule.applies, rule.when))))
        )

    @cached_property
    def conflicting(self) -> tuple[tuple[str, str], ...]:
        """The pairs of targets that exclude each other, each told once."""
        pairs = {(name, other): None for name, shape in self.pack.targets.items() for other in shape.conflicts_with}
        return tuple((name, other) for name, other in pairs if name < other or (other, name) not in pairs)

    @cached_property
    def excluding(self) -> frozenset[str]:
        """The targets that some other target excludes."""
        return frozenset(name for pair in self.conflicting for name in pair)

    @cached_property
    def of_a_set(self) -> tuple[OfASet, ...]:
        """The rules of one issuer, which are read on its lines of treatment alone."""
        return of_a_set(self.pack.instances, self.pack.set_guards)

    @cached_property
    def set_names(self) -> tuple[str, ...]:
        """The settings that choose the lines of treatment in use."""
        lines = (shape for shape in self.pack.measures.values() if shape.compute == "threshold")
        return tuple(sorted({str((shape.model_extra or {})["set"]) for shape in lines} & self.pack.settings.keys()))

    def label(self, finding: str, side: str) -> str:
        """Return the label of a finding, with its side."""
        label = self._labels.get((finding, side))
        if label is None:
            label = self._labels[finding, side] = label_of(self.pack, View(finding, side))
        return label

    def _places_of(self, variables: frozenset[int]) -> frozenset[Where]:
        """Return the findings and sides that variables look at; many rules are settled by the same few."""
        views = [self.pack.table.entries[var].view for var in variables]
        return frozenset((view.subject, view.side) for view in views)

    def _waiting(self, waits_for: tuple[int, ...], settled_by: frozenset[int]) -> Waiting | None:
        """Return what a rule waits for that is open for these variables; None where that hangs on the visit."""
        if not all(var in self.wanted for var in waits_for):
            return None
        return waiting((one for var in waits_for for one in self.wanted[var]), self.places_of(settled_by))

    @cached_property
    def questions(self) -> Questions:
        """What makes the questions that are open, and remembers them."""
        return Questions([one.key for one in self.pack.instances], self.rule_priorities, self._asked_label)

    def _asked_label(self, finding: str, side: str) -> str:
        return self.label(finding, side) if finding in self.pack.findings else "Sex at birth"

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
    def numbers(self) -> Mapping[str, int]:
        """The number of each rule, by its name in the trace."""
        return {instance.key: k for k, instance in enumerate(self.pack.instances)}

    @cached_property
    def reported(self) -> Reported:
        """What is reported of targets and of rules, whatever the visit."""
        return Reported(self.pack, self.leads_to)

    @cached_property
    def area_of(self) -> Mapping[str, FindingsFile]:
        """The area of the examination in which each finding stands."""
        return {name: area for area in self.pack.areas for name in area.findings}


def highest_priority(shape: RuleShape, verbs: Iterable[str] = PROPOSING) -> Priority | None:
    """Return the most pressing priority of a rule's consequences with one of ``verbs``."""
    wanted = frozenset(verbs)
    ranks = [then.rank for then in shape.then if then.verb in wanted]
    return PRIORITIES[min(ranks)] if ranks else None
