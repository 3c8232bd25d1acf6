"""Identifiers as a keyed hash: the same newborn keeps the same name within one key, and nobody without it can tell.

The key is a file of its own, for its owner alone. Whoever holds key and record can find a newborn again; a new key
(rotation) gives new names, so that tables made under two keys cannot be joined. Destroying a key makes its names final.
"""

from __future__ import annotations

import hmac
import os
import re
import secrets
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
from layette.engine.visit.form import DEFINITIONS, HISTORY, VISIT
from layette.mapping.codes import printed_units
from layette.mapping.validate.schema import definitions

_DIGITS = 24
_BYTES = 32
_HASHED = ("patient", "encounter", "origin", "reference", "spread_from", "by", "request_key", "answer_key")
_LEFT_OUT = ("identifiers", "not_understood", "counts", "path", "text", "outcome", "reason")
"""What may name somebody, or is free text, and decides nothing."""

_LISTS = {"orders": "order", "guidance": "topic", "immunizations": "dose", "judged": "judgment"}
"""Lists of a history whose items may carry more than their form says; what it does not say is left out."""

_AS_PRINTED = re.compile(r"[<>]?=?\s*\d+(?:\.\d+)?\s*(.*)")
_STEP = re.compile(r"[^.\[\]]+")
_IN_TEXT = re.compile(r"line \d+(?: column \d+)?")
_KINDS = ("Patient", "RelatedPerson", "Encounter", "Observation", "Condition", "ServiceRequest", "Bundle")


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
        history = made.get("history") or {}
        for name in history.keys() & _LISTS.keys():
            allowed = DEFINITIONS[_LISTS[name]]["properties"].keys()
            history[name] = [{key: one[key] for key in one if key in allowed} for one in history[name]]
        for name, kind in (("patient", "Patient"), ("encounter", "Encounter")):
            if made.get(name):
                made[name] = f"{kind}/{made[name]}"
        return made

    def _part(self, part: Any) -> Any:
        if isinstance(part, Mapping):
            kept = {name: value for name, value in part.items() if name not in _LEFT_OUT}
            if not _is_number(kept.get("given", "0")):
                del kept["given"]
            return {name: self._named(name, value) for name, value in kept.items()}
        return [self._part(one) for one in part] if isinstance(part, list | tuple) else part

    def _named(self, name: str, value: Any) -> Any:
        return self.of(value) if name in _HASHED and isinstance(value, str) and value else self._part(value)


def without_names(path: str, pack: Pack) -> str:
    """Return the path of a mistake with `…` for each step that is no word of FHIR, of our form or of the pack.

    A key of the input may be somebody's name.
    """
    if _IN_TEXT.fullmatch(path):
        return path
    known = _known_words() | pack.findings.keys() | pack.settings.keys() | pack.subjects.normals.keys()
    return _STEP.sub(lambda step: step[0] if step[0] in known or step[0].isdigit() else "…", path)


@cache
def _known_words() -> frozenset[str]:
    fhir = [body.get("properties", {}) for kind in _KINDS for body in definitions(kind).values()]
    ours = [VISIT["properties"], HISTORY, *(shape.get("properties", {}) for shape in DEFINITIONS.values())]
    return frozenset({"$", "input", "left", "right", "both", *_KINDS}).union(*fhir, *ours)


def _is_number(given: object) -> bool:
    """Whether what was written is a number with a unit and nothing else."""
    found = _AS_PRINTED.fullmatch(str(given))
    unit = found[1].strip() if found else "?"
    return not unit or unit.casefold() in printed_units() or unit in printed_units().values()


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
