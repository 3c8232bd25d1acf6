"""Where on the body: the part with its side, by a verified code where there is one, else by our own and in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from layette.engine.answer.shapes.proposed import Used
from layette.mapping import codes
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import concepts

STRUCTURES: Mapping[str, str] = {"hip": "24136001"}
"""Parts of the body with a verified SNOMED CT code; it says the part and leaves the side to our own code and text."""


def sites(out: Output, side: str | None, values: Iterable[Used]) -> list[Resource]:
    """Return the parts of the body that the values of a proposal were found at, on its side; nothing without a side.

    Where no value says which part, the side alone is told.
    """
    if side is None:
        return []
    names = (used.subject.split(".")[0] for used in values)
    parts = dict.fromkeys(codes.body_parts()[name] for name in names if name in codes.body_parts())
    return [_site(out, side, part) for part in parts] or [concepts.side(side)]


def _site(out: Output, side: str, part: str) -> Resource:
    words = f"{side} {part}"
    ours = concepts.coding(out.system(keys.BODY_SITES), f"{side}-{part}", words)
    theirs = concepts.published({"snomed": STRUCTURES[part]}) if part in STRUCTURES else []
    return concepts.concept([*theirs, ours], words)
