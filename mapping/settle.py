"""What a process does once, when it has loaded the pack by which it will answer."""

from __future__ import annotations

import gc
from functools import cache


@cache
def settle() -> None:
    """Leave all that is alive now out of garbage collection; once a process, every further call does nothing.

    A loaded pack is some hundred thousand objects that live as long as the process. Each full collection would look at
    all of them again, in the middle of an answer.
    """
    gc.freeze()
