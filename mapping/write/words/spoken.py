"""Words for the family, in English with every other language beside it.

A translation stands in R4's own extension on the string, so that a reader who knows no other language still finds
plain words. One that nobody has reviewed yet says so in its text: the mark is the pack's.
"""

from __future__ import annotations

from collections.abc import Mapping

from layette.mapping.write.run.context import Resource
from layette.mapping.write.words.wording import clean

TRANSLATION = "http://hl7.org/fhir/StructureDefinition/translation"


def text(element: str, words: str, plain: Mapping[str, str]) -> Resource:
    """Return a string element, with the translations of ``plain`` (language -> words) beside it."""
    others = [_translation(language, said) for language, said in plain.items() if language != "en" and said.strip()]
    return {element: clean(words)} | ({f"_{element}": {"extension": others}} if others else {})


def in_one_language(plain: Mapping[str, str], language: str) -> str:
    """Return words for the family in the language asked for; in English where they are not to be had in it."""
    return plain.get(language, "").strip() or plain.get("en", "")


def _translation(language: str, said: str) -> Resource:
    parts = [{"url": "lang", "valueCode": language}, {"url": "content", "valueString": clean(said)}]
    return {"url": TRANSLATION, "extension": parts}
