"""What is reported of how far targets are settled, and of rules that are ruled out: a few pieces, made once a pack."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from layette.engine.answer.shapes.detail import Answer, Traced
from layette.engine.pack.compiled import CompiledPack
from layette.engine.terms import PRIORITIES, PROPOSING, Kind

Leads = Mapping[tuple[Kind, str], tuple[tuple[int, str, int], ...]]
"""For each verb and target, the rules that lead to it: number, side, rank of the priority."""


class Reported:
    """Pieces that are the same at many visits; immutable but for what it remembers, and that dies with the pack."""

    def __init__(self, pack: CompiledPack, leads_to: Leads) -> None:
        """Take the rules that lead to each target."""
        self._pack, self._leads_to = pack, leads_to
        self._answers: dict[tuple[Kind, str, str, int | None, int | None], Answer] = {}
        self._ruled_out: dict[tuple[int, bool], Traced] = {}

    @cached_property
    def answer_places(self) -> Mapping[tuple[Kind, str, str], tuple[tuple[int, int], ...]]:
        """For each verb, target and side whose answer is reported, the rules that lead to it, with their rank."""
        by_place: dict[tuple[Kind, str, str], list[tuple[int, int]]] = {}
        for (verb, target), leads in self._leads_to.items():
            for index, side, rank in leads if verb in PROPOSING else ():
                if self._pack.instances[index].rule.shape.due is None:
                    by_place.setdefault((verb, target, side), []).append((index, rank))
        return {place: tuple(leads) for place, leads in by_place.items()}

    def answer(self, verb: Kind, target: str, side: str, fired: int | None, possible: int | None) -> Answer:
        """Return how far one target is settled, by the ranks of what fired and of what is possible."""
        key = (verb, target, side, fired, possible)
        answer = self._answers.get(key)
        if answer is None:
            certain, most = (None if rank is None else PRIORITIES[rank] for rank in (fired, possible))
            answer = self._answers[key] = Answer(
                target=target, side=side or None, kind=verb, label=self._pack.targets[target].label,
                certain=certain, possible=most, settled=fired == possible,
            )  # fmt: skip
        return answer

    def ruled_out(self, index: int, *, not_applicable: bool) -> Traced:
        """Return the trace of a rule that was ruled out."""
        traced = self._ruled_out.get((index, not_applicable))
        if traced is None:
            instance = self._pack.instances[index]
            traced = self._ruled_out[index, not_applicable] = Traced(
                rule=instance.key,
                title=instance.rule.shape.title,
                place=instance.rule.place,
                status="not applicable" if not_applicable else "ruled out",
                may_stay_undecided=instance.key in self._pack.compiled.inexact,
            )
        return traced
