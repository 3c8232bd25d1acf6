"""Translations that lie apart from the English: `translations/<file>.yaml`, one file a reader of the language.

What is said while looking stands in English beside its finding; a translator gets a file of one language instead of
twenty files of two. Words for the family that stand by themselves (`plain`) carry their translations along.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Literal

from pydantic import Field

from layette.engine.pack.written.shape import Name, Shape
from layette.engine.pack.written.shapes import Language
from layette.engine.pack.written.spoken import Said


class FindingWords(Shape):
    """One finding in another language: what is said while looking, and what a normal variant means."""

    say: str | None = None
    variant: dict[Name, str] = Field(default_factory=dict)


class AreaWords(Shape):
    """The name of an area in another language, and what is done there."""

    label: str
    step: str


class TranslationFile(Shape):
    """A file of translations. ``topics`` are labels of targets, ``headings`` those of the guidance files.

    ``labels``: what findings are called; ``systems``: what is charted as normal in one word; ``areas`` by name.

    ``review: needed`` says of the whole file that nobody who speaks the language has read it yet.
    """

    language: Language
    review: Literal["needed"] | None = None
    findings: dict[Name, FindingWords] = Field(default_factory=dict)
    topics: dict[Name, str] = Field(default_factory=dict)
    headings: dict[str, str] = Field(default_factory=dict)
    labels: dict[Name, str] = Field(default_factory=dict)
    systems: dict[Name, str] = Field(default_factory=dict)
    areas: dict[str, AreaWords] = Field(default_factory=dict)


@dataclass
class Translations:
    """All that is translated into one language: by finding, by finding and value, by target, by heading, by area."""

    say: dict[str, Said] = field(default_factory=dict)
    variant: dict[tuple[str, str], Said] = field(default_factory=dict)
    topics: dict[str, Said] = field(default_factory=dict)
    headings: dict[str, Said] = field(default_factory=dict)
    labels: dict[str, Said] = field(default_factory=dict)
    systems: dict[str, Said] = field(default_factory=dict)
    areas: dict[str, Said] = field(default_factory=dict)
    steps: dict[str, Said] = field(default_factory=dict)


def by_language(files: Iterable[TranslationFile]) -> dict[str, Translations]:
    """Return the translations of all files by language; of two for one text the first counts."""
    found: dict[str, Translations] = {}
    for one in files:
        into = found.setdefault(one.language, Translations())
        for name, words in one.findings.items():
            if words.say is not None:
                into.say.setdefault(name, Said(words.say, one.review))
            for value, text in words.variant.items():
                into.variant.setdefault((name, value), Said(text, one.review))
        for kind, texts in _by_name(one, into):
            for name, text in texts.items():
                kind.setdefault(name, Said(text, one.review))
    return found


def _by_name(one: TranslationFile, into: Translations) -> Iterator[tuple[dict[str, Said], dict[str, str]]]:
    yield into.topics, one.topics
    yield into.headings, one.headings
    yield into.labels, one.labels
    yield into.systems, one.systems
    yield into.areas, {name: words.label for name, words in one.areas.items()}
    yield into.steps, {name: words.step for name, words in one.areas.items()}
