"""The words of what a code or a text says."""

from __future__ import annotations

import re
from collections.abc import Iterable

from layette.mapping.read.codes.answers import plain

_HEAD_ENDS = re.compile(r"\[| in | of |--|\.")
"""Where, in the wording of a published code, the name of what is measured ends."""

_SIDE_WORDS = {"left": "left", "right": "right", "both": "both", "bilateral": "both"}


def head_of(text: str) -> str:
    """Return what a wording is about, without where or of what kind: "Glucose" of "Glucose [Mass/volume] in Blood"."""
    return _HEAD_ENDS.split(text)[0]


def said_words(text: str) -> list[str]:
    """Return the words of a text, lower case, without punctuation."""
    return plain("".join(c if c.isalnum() else " " for c in text)).split()


def side_in(texts: Iterable[str]) -> set[str]:
    """Return the sides that texts name."""
    return {_SIDE_WORDS[word] for text in texts for word in said_words(text) if word in _SIDE_WORDS}
