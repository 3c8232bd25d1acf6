"""What the rules of a pack lead to, in columns, laid out once a pack: by the number of a rule, and of a proposal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np

from layette.engine.answer.laid.proposals import Place, Proposal
from layette.engine.answer.laid.windows import WrittenWindow
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.cohort.spans import Counted, Flags, Numbers
from layette.engine.pack.written.shapes import listed
from layette.engine.terms import ASKED, Kind

Anchor = tuple[str, str]
"""What a window counts from, and on which side that was found."""

VISIT, BIRTH = 0, 1
"""The anchors that every visit has."""
NOT_DUE = -1
"""In place of the number of a rule that asks whether something is on record: this one does not."""


class Laid:
    """The proposals of all rules one after another: of rule k from ``first[k]`` on, ``number[k]`` of them."""

    def __init__(self, plan: AnswerPlan) -> None:
        """Lay out the pack of ``plan``."""
        self.plan = plan
        made = plan.proposals
        self.proposals: tuple[Proposal, ...] = tuple(one for several in made for one in several)
        self.number = np.array([len(several) for several in made], np.int64)
        self.first = np.cumsum(self.number) - self.number
        instances = plan.pack.instances
        self.rules = [instance.rule.shape.id for instance in instances]
        self.key = _ranks([instance.key for instance in instances])
        self.due = np.full(len(instances), NOT_DUE, np.int64)
        self.due[np.array([rule.index for rule in plan.due_rules], np.int64)] = np.arange(len(plan.due_rules))
        self.wanted = [listed(instances[rule.index].rule.shape.due)[0] for rule in plan.due_rules]
        self.anchors: dict[Anchor, int] = {("visit", ""): VISIT, ("birth", ""): BIRTH}
        self.windows = [[self._counted(window, one.side) for window in one.windows] for one in self.proposals]

    def _counted(self, window: WrittenWindow, side: str) -> Counted:
        name = "visit" if window.after == "next_visit" else window.after
        anchor = (name, "" if name in ("visit", "birth") else side)
        return Counted(window, self.anchors.setdefault(anchor, len(self.anchors)))

    @cached_property
    def missing(self) -> list[str]:
        """For each anchor, what is said where it is not known."""
        return [f"the time of {name.removesuffix('.time')} is not recorded" for name, _ in self.anchors]

    @cached_property
    def anchors_of(self) -> dict[int, tuple[int, ...]]:
        """For each rule whose windows count from what not every visit has, the numbers of these anchors."""
        found = {}
        for rule, (first, number) in enumerate(zip(self.first, self.number, strict=True)):
            asked = {one.anchor for several in self.windows[first : first + number] for one in several}
            if asked - {VISIT, BIRTH}:
                found[rule] = tuple(sorted(asked - {VISIT, BIRTH}))
        return found

    @cached_property
    def timing(self) -> Numbers:
        """For each proposal, the one whose window it has: of a rule that asks of the record, the first of the rule."""
        first_with: dict[int, int] = {}
        own = [first_with.setdefault(one.timing, k) for k, one in enumerate(self.proposals)]
        for rule in self.plan.due_rules:
            begin = self.first[rule.index]
            own[begin : begin + self.number[rule.index]] = [own[begin]] * int(self.number[rule.index])
        return np.array(own, np.int64)

    @cached_property
    def rank(self) -> Numbers:
        """How pressing each proposal is, 0 for stat."""
        return np.array([one.rank for one in self.proposals], np.int64)

    @cached_property
    def places(self) -> Mapping[Place, int]:
        """The places of proposals, numbered in the order of verb, target and side."""
        return _numbers(one.place for one in self.proposals)

    @cached_property
    def place(self) -> Numbers:
        """The place of each proposal."""
        return np.array([self.places[one.place] for one in self.proposals], np.int64)

    @cached_property
    def verbs(self) -> Mapping[Kind, int]:
        """The verbs of proposals, numbered in their order."""
        return _numbers(one.verb for one in self.proposals)

    @cached_property
    def verb(self) -> Numbers:
        """The verb of each proposal."""
        return np.array([self.verbs[one.verb] for one in self.proposals], np.int64)

    @cached_property
    def targets(self) -> Mapping[str, int]:
        """The targets of proposals, numbered."""
        return _numbers(one.target for one in self.proposals)

    @cached_property
    def target(self) -> Numbers:
        """The target of each proposal."""
        return np.array([self.targets[one.target] for one in self.proposals], np.int64)

    @cached_property
    def asked(self) -> Flags:
        """Which proposals ask for something."""
        return np.array([one.verb in ASKED for one in self.proposals], bool)

    @cached_property
    def reassures(self) -> Flags:
        """Which proposals reassure."""
        return np.array([one.verb == "reassure" for one in self.proposals], bool)

    @cached_property
    def mixed(self) -> Sequence[tuple[Flags, Flags]]:
        """For each verb and target that some rule has with a side and some without: those with, and those without."""
        return tuple(self._mixed())

    def _mixed(self) -> Iterator[tuple[Flags, Flags]]:
        act = _ranks([one.place[:2] for one in self.proposals])
        sided = np.array([bool(one.side) for one in self.proposals], bool)
        for number in range(int(act.max(initial=-1)) + 1):
            own = act == number
            if (own & sided).any() and (own & ~sided).any():
                yield own & sided, own & ~sided

    @cached_property
    def meeting(self) -> Sequence[tuple[Flags, Flags]]:
        """For each target that others meet: the proposals that ask for it, and those that ask for what meets it."""
        targets = self.plan.pack.targets
        target = [one.target for one in self.proposals]
        pairs = ((name, shape.met_by) for name, shape in targets.items() if shape.met_by)
        return tuple(
            (self.asked & np.array([t == name for t in target]), self.asked & np.array([t in met for t in target]))
            for name, met in pairs
        )


def _numbers(keys: Iterable[Any]) -> dict[Any, int]:
    return {key: k for k, key in enumerate(sorted({*keys}))}


def _ranks(keys: Sequence[Any]) -> Numbers:
    place = _numbers(keys)
    return np.array([place[key] for key in keys], np.int64)
