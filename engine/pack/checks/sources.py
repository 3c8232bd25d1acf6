"""Whether the sources, codes and choices that a pack names exist."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from layette.engine.errors import PackProblem, near
from layette.engine.pack.written.shapes import SourceShape, listed
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.pack.written.yaml_nodes import Document, Path
from layette.engine.terms import CODE_SYSTEMS


def check_sources(
    document: Document, path: Path, names: Iterable[str], sources: Mapping[str, SourceShape]
) -> Iterator[PackProblem]:
    """Yield a problem for each source that is not in sources.yaml."""
    for name in names:
        if name not in sources:
            yield document.problem(path, "unknown-source", f"sources.yaml has no source '{name}'{near(name, sources)}")


def check_codes(codes: Mapping[str, Any], document: Document, path: Path) -> Iterator[PackProblem]:
    """Yield code systems that the pack may not use."""
    for system in codes:
        if system not in CODE_SYSTEMS:
            known = ", ".join(CODE_SYSTEMS)
            yield document.problem((*path, system), "shape", f"'{system}' is no code system of a pack: {known}")


def check_settings(pack: WrittenPack, document: Document) -> Iterator[PackProblem]:
    """Yield settings whose default is no choice, and sources that do not exist."""
    for name, shape in pack.settings.items():
        if shape.default not in shape.choices:
            yield document.problem(
                (name, "default"),
                "unknown-setting",
                f"'{shape.default}' is no choice of '{name}'{near(shape.default, shape.choices)}",
            )
        yield from check_sources(document, (name, "source"), listed(shape.source), pack.sources)
        for slug, choice in shape.choices.items():
            yield from check_sources(document, (name, "choices", slug), listed(choice.source), pack.sources)
