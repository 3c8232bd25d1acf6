"""What the page knows beside the assessment: whom it is about, and how the pack names what it asks for."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from layette.engine.answer.parts.assessment import ComeBack, ComeBackItem
from layette.engine.answer.shapes.detail import Step
from layette.engine.answer.shapes.proposed import Due
from layette.engine.api import Pack, load_pack
from layette.engine.pack.written.folder import PackFolder, default_pack
from layette.engine.pack.written.shapes import PackFile
from layette.mapping.words.speech import Speech

Named = Callable[[str, str], str]
"""From a target and its label to the words for it."""
_CHILD = {"female": "girl", "male": "boy"}


@dataclass(frozen=True)
class About:
    """What the pack and the visit tell; empty where the page is made of an assessment alone.

    ``child`` is "girl" or "boy" where the sex is known. ``areas`` are the steps of the examination in their order, with
    their names; ``begun`` those of which something was recorded. ``awaited`` are the findings that are results.
    ``records`` are the areas that are read and asked, not examined. ``targets`` are the names of what is asked for.
    ``changed``: the pack is not the one that ships under its name.
    ``speech``: what the family is told, where that is asked for in another language than English.
    """

    child: str | None = None
    areas: Mapping[str, str] = field(default_factory=dict)
    begun: frozenset[str] | None = None
    awaited: Collection[str] = ()
    records: Collection[str] = ()
    targets: Mapping[str, str] = field(default_factory=dict)
    changed: bool = False
    speech: Speech | None = None

    @classmethod
    def of(cls, pack: Pack, visit: Mapping[str, Any] | None, language: str = "en") -> About:
        """Return what is known of a flat ``visit`` that was assessed by ``pack``."""
        return cls(
            child=_CHILD.get(str((visit or {}).get("sex_at_birth"))),
            areas={area.area: area.label for area in pack.areas},
            begun=None if visit is None else frozenset(_begun(pack, visit)),
            awaited={name for name, shape in pack.findings.items() if shape.awaited},
            records={area.area for area in pack.areas if area.record},
            targets={name: target.label for name, target in pack.targets.items()},
            changed=changed_from_shipped(pack),
            speech=None if language == "en" else Speech(pack, language, pack.site.choices(pack.settings)),
        )

    def in_order(self, steps: Iterable[Step]) -> list[Step]:
        """Return steps in the order of the examination, what belongs to none of them first."""
        order = {area: place for place, area in enumerate(self.areas)}
        return sorted(steps, key=lambda step: order.get(step.area, -1)) if order else list(steps)

    def is_untouched(self, step: Step) -> bool:
        """Whether nothing of a step was recorded at this visit, as far as is known."""
        return self.begun is not None and step.area in self.areas and step.area not in self.begun

    def step_name(self, step: Step) -> str:
        """Return the name of a step for a list."""
        return self.areas.get(step.area) or step.area.replace("-", " ").capitalize() or "Birth facts"

    def due_name(self, due: Due) -> str:
        """Return what is wanted: the act, where the pack tells; else what is not on record."""
        return self.targets.get(due.target, due.label)

    def visit_names(
        self,
        item: ComeBackItem,
        visit: ComeBack,
        later: Iterable[Due],
        named: Named = lambda _, label: label,
        sides: Mapping[str, str] = {},
    ) -> list[str]:
        """Return what happens at a visit to come, by the acts that it stands for.

        ``named`` and ``sides`` have other words for a target and a side than those of the pack.
        """
        if item.target is not None:
            return [named(item.target, item.label) + (f", {sides.get(item.side, item.side)}" if item.side else "")]
        meant = [due for due in later if due.label == item.label and _holds(due, visit)]
        return [named(due.target, self.due_name(due)) for due in meant] or [item.label]


def changed_from_shipped(pack: Pack) -> bool:
    """Whether a pack goes by the name and version of the one that ships, and holds something else.

    An edited copy is told by its digest; of a checkout edited in place the digest on the page is all there is to tell.
    """
    if pack.folder == default_pack() or (pack.id, pack.version) != _name_that_ships():
        return False
    return pack.digest != pack.site.digest_with(load_pack().digest)


@cache
def _name_that_ships() -> tuple[str, str] | None:
    """Return id and version of the pack that ships: of its first file, since to load all of it takes long."""
    shape = PackFolder(default_pack()).shaped("pack.yaml", PackFile)
    return None if shape is None else (shape.id, shape.version)


def _begun(pack: Pack, visit: Mapping[str, Any]) -> Iterator[str]:
    area_of = {name: area.area for area in pack.areas for name in area.findings}
    earlier = (visit.get("history") or {}).get("findings") or {}
    carried = [key for key in earlier if (shape := pack.findings.get(key.partition(".")[0])) and shape.carries_over]
    for key in (*(visit.get("findings") or {}), *carried):
        name = key.partition(".")[0]
        spread = (*pack.normals[name].spreads, *pack.normals[name].leaves_out) if name in pack.normals else ()
        yield from (area_of[one] for one in (name, *spread) if one in area_of)


def _holds(due: Due, visit: ComeBack) -> bool:
    """Whether something wanted later falls into a visit; ISO times of one offset are in the order of their text."""
    until = due.window.until
    begins = due.window.start is None or due.window.start <= visit.start
    return due.state == "later" and begins and (until is None or (visit.until is not None and visit.until <= until))
