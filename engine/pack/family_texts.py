"""All that a pack tells families, each text in every language that it has: to list what lacks one, and for laws."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.shapes import Words
from layette.engine.pack.written.spoken import Said, said
from layette.engine.terms import SEEN_TODAY

NAMED = ("guide", "reassure")
"""The kinds of targets of which a family reads the name, too."""
PLANNED = ("refer", "recheck", "order")
"""The kinds of targets that are listed for the family where they are about the baby."""


class FamilyText(NamedTuple):
    """Where a text for families stands, what kind it is, and how it reads by language."""

    place: str
    kind: str
    texts: Mapping[str, Said]


def family_texts(pack: CompiledPack) -> Iterator[FamilyText]:
    """Yield every text for families; placeholders are left as they are written."""
    first = pack.shape.languages[0]
    for name, shape in pack.findings.items():
        if shape.say:
            yield FamilyText(f"{name} say", "say", _by_language(pack, first, shape.say, "say", name))
        for value, text in shape.variant.items():
            key = (name, value)
            yield FamilyText(f"{name} variant {value}", "variant", _by_language(pack, first, text, "variant", key))
    for name, target in pack.targets.items():
        if target.plain:
            yield FamilyText(f"{name} plain", "plain", _of_words(target.plain))
        if target.kind in NAMED or (target.kind in PLANNED and target.subject == "baby"):
            yield FamilyText(f"{name} label", "label", _by_language(pack, first, target.label, "topics", name))
    for heading in headings(pack.shape.guidance):
        yield FamilyText(f"heading {heading}", "heading", _by_language(pack, first, heading, "headings", heading))
    for name, setting in pack.settings.items():
        for slug, choice in setting.choices.items():
            if choice.words:
                yield FamilyText(f"{name} {slug} words", "words", _of_words(choice.words))


def headings(guidance: list[str]) -> list[str]:
    """Return the headings of what families are told, from the names of the files of guidance."""
    return [SEEN_TODAY, *(name.removesuffix(".yaml").replace("-", " ") for name in guidance)]


def _of_words(words: Words) -> dict[str, Said]:
    return {language: one for language in words if (one := said(words, language)) is not None}


def _by_language(pack: CompiledPack, first: str, text: str, kind: str, key: object) -> dict[str, Said]:
    translated = {
        language: one for language, all_of in pack.translations.items() if (one := getattr(all_of, kind).get(key))
    }
    return {first: Said(text), **translated}
