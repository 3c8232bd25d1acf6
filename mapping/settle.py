"""What a process does once, when it has loaded the pack by which it will answer."""

from __future__ import annotations

import gc
from functools import cache

SELDOM = 20_000
"""New objects that are made before any are looked at: about as many as one answer with all its FHIR makes."""


@cache
def settle() -> None:
    """Leave all that is alive now out of garbage collection; once a process, every further call does nothing.

    A loaded pack is some hundred thousand objects that live as long as the process. Each full collection would look at
    all of them again, in the middle of an answer. What an answer makes is looked at less often, too: some ten thousand
    objects, nearly all of which go by themselves when nobody needs them any more.
    """
    gc.freeze()
    gc.set_threshold(SELDOM, *gc.get_threshold()[1:])
