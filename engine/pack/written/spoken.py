"""Words for the family: in one language, with the words of a site's or a visit's choices filled in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NamedTuple

from layette.engine.pack.written.shapes import SettingShape, Words

PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
"""Anything in braces; what may stand there is ``{setting.<name>}``."""
SETTING = "setting."
_BEGINS = re.compile(r"(^|[.!?]\s+)$")


class Said(NamedTuple):
    """A text for the family; ``review``: what it still awaits, which is told to the clinician alone."""

    text: str
    review: str | None = None


def said(words: Words, language: str) -> Said | None:
    """Return words in a language; None where they are not to be had in it."""
    written = words.get(language)
    if written is None:
        return None
    return Said(written) if isinstance(written, str) else Said(written.text, written.review)


def filled(one: Said, language: str, settings: Mapping[str, SettingShape], choices: Mapping[str, str]) -> Said:
    """Return a text with each ``{setting.<name>}`` as the words of its choice.

    ``choices`` is the choice in force for every setting. Where a choice has no words in ``language``, those in its
    first language stand there. At the beginning of a sentence they get a capital letter. A text is as little reviewed
    as what was filled in.
    """
    if "{" not in one.text:
        return one
    text, last, review = "", 0, one.review
    for place in PLACEHOLDER.finditer(one.text):
        name = place[1].removeprefix(SETTING)
        words = settings[name].choices[choices[name]].words
        inner = said(words, language) or said(words, next(iter(words))) or Said("")
        text += one.text[last : place.start()]
        text += inner.text[:1].upper() + inner.text[1:] if _BEGINS.search(text) else inner.text
        last, review = place.end(), review or inner.review
    return Said(text + one.text[last:], review)


def placeholders(text: str) -> list[str]:
    """Return what stands in braces in a text, and ``{`` or ``}`` for a brace without its other half."""
    rest = PLACEHOLDER.sub("", text)
    return [place[1] for place in PLACEHOLDER.finditer(text)] + [brace for brace in "{}" if brace in rest]
