"""The words of the pack that families read or hear, each with the place where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

from support.checkout import ROOT

from layette.engine.pack.written.yaml_nodes import parse

PACK = ROOT / "rules" / "newborn"

Text = tuple[str, str]
"""Where a text stands, and the text."""


@cache
def entries(folder: str) -> dict[str, Any]:
    """Return the content of each file of a folder of the pack, by `folder/file`."""
    found = sorted((PACK / folder).glob("*.yaml"))
    return {f"{folder}/{place.name}": parse(place.read_text(encoding="utf-8"), place.name).data for place in found}


def plain() -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the plain words of each target, by language."""
    for file, targets in entries("targets").items():
        for name, shape in (targets or {}).items():
            if shape.get("plain"):
                yield f"{file} {name}", shape["plain"]


def said() -> Iterator[Text]:
    """Yield what the examiner says while looking, and the words for normal variants."""
    for file, area in entries("findings").items():
        for name, shape in area["findings"].items():
            if shape.get("say"):
                yield f"{file} {name} say", shape["say"]
            for value, text in (shape.get("variant") or {}).items():
                yield f"{file} {name} {value}", text


def english() -> Iterator[Text]:
    """Yield every English text for families."""
    for place, texts in plain():
        if isinstance(texts.get("en"), str):
            yield place, texts["en"]
    yield from said()
