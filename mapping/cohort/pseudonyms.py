"""Identifiers as a keyed hash: the same newborn keeps the same name within one key, and nobody without it can tell.

The key is a file of its own, for its owner alone. Whoever holds key and record can find a newborn again; a new key
(rotation) gives new names, so that tables made under two keys cannot be joined. Destroying a key makes its names final.
"""

from __future__ import annotations

import hmac
import os
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from layette.engine.errors import InputError, InputProblem

_DIGITS = 24
_BYTES = 32
_HASHED = ("patient", "encounter", "origin", "reference", "spread_from", "by", "request_key", "answer_key")
_LEFT_OUT = ("identifiers", "not_understood", "path", "outcome", "reason")
"""What may name somebody, or is free text, and decides nothing."""


class Pseudonyms:
    """The keyed hash of names."""

    def __init__(self, key: bytes) -> None:
        """Hash with ``key``."""
        self._key = key

    def of(self, name: str) -> str:
        """Return what stands for a name: hexadecimal digits."""
        return hmac.new(self._key, name.encode(), "sha256").hexdigest()[:_DIGITS]

    def visit(self, flat: Mapping[str, Any]) -> dict[str, Any]:
        """Return a flat visit with hashed references, without identifiers and free text."""
        made: dict[str, Any] = self._part(flat)
        for name, kind in (("patient", "Patient"), ("encounter", "Encounter")):
            if made.get(name):
                made[name] = f"{kind}/{made[name]}"
        return made

    def _part(self, part: Any) -> Any:
        if isinstance(part, Mapping):
            kept = {name: value for name, value in part.items() if name not in _LEFT_OUT}
            return {name: self._named(name, value) for name, value in kept.items()}
        return [self._part(one) for one in part] if isinstance(part, list | tuple) else part

    def _named(self, name: str, value: Any) -> Any:
        return self.of(value) if name in _HASHED and isinstance(value, str) and value else self._part(value)


def key_in(place: Path, *, make: bool) -> bytes:
    """Return the key in a file; where there is none, ``make`` one. Raises `InputError` for a file that others can read,
    or that holds no key."""
    if make:
        _made(place)
    mode = place.stat().st_mode
    if os.name == "posix" and mode & 0o077:
        raise _problem(place, "others can read the key", oct(mode & 0o777), "mode 0600")
    try:
        key = bytes.fromhex(place.read_text(encoding="ascii").strip())
    except ValueError:
        key = b""
    if len(key) < _BYTES:
        raise _problem(place, "no key", "", f"{2 * _BYTES} hexadecimal digits")
    return key


def _made(place: Path) -> None:
    try:
        handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return
    with os.fdopen(handle, "w", encoding="ascii") as stream:
        stream.write(secrets.token_hex(_BYTES) + "\n")


def _problem(place: Path, message: str, value: str, expected: str) -> InputError:
    return InputError([InputProblem(f"--key {place}", "setting", message, value, expected)])
