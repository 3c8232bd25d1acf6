"""Short names for requests and answers, stable over runs and machines."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any

CODES = 8
"""Digits at the end of an answer key that tell the codes."""


def key(*parts: Any) -> str:
    """Return a short digest of parts, stable over runs and machines."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:32]


def code_digits(codes: Iterable[str]) -> str:
    """Return the digits that tell, at the end of an answer key, what is asked for."""
    return key("codes", sorted(codes))[:CODES]
