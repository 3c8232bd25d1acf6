"""FHIR JSON in and out, with every decimal digit kept.

FHIR counts the digits of a decimal as meaning: 3.250 is measured more finely than 3.25. So numbers with
a fraction or an exponent are read as ``Decimal`` and written with the digits they came with. What JSON
leaves open but FHIR forbids (keys written twice, NaN, endless nesting) is refused on reading.
"""

from __future__ import annotations

import codecs
import json
import re
from decimal import Decimal
from itertools import chain
from typing import Any, NoReturn

import orjson

from layette.engine.errors import InputError, InputProblem

JsonValue = Any
"""What JSON can hold: ``None``, bool, int, ``Decimal``, str, list or dict of these."""

SIZE_LIMIT = 32 * 1024 * 1024
"""The most bytes (or characters) that are read, unless the caller says otherwise."""

DEPTH_LIMIT = 100
"""The deepest nesting of objects and lists that is read; the deepest real questionnaires stay below 40."""

NUMBER_LIMIT = 64
"""The most characters of one number, and the largest power of ten; FHIR asks systems to keep 18 digits."""

_MARKS = tuple(map(chr, range(0xE000, 0xE040)))
"""Private-use characters, one of which stands around each decimal while the standard encoder is at work."""

JSON_ALONE = orjson.OPT_PASSTHROUGH_SUBCLASS | orjson.OPT_PASSTHROUGH_DATACLASS | orjson.OPT_PASSTHROUGH_DATETIME
"""What orjson would write by itself and JSON does not know is refused."""

_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]", re.ASCII)


def loads(data: bytes | bytearray | str, *, limit: int = SIZE_LIMIT) -> JsonValue:
    """Return the JSON value in ``data`` (UTF-8 bytes, with or without a byte order mark, or text).

    Numbers with a fraction or exponent become ``Decimal`` with their own digits, whole ones ``int``.
    Raises ``InputError`` with code ``too-large`` above ``limit`` bytes or characters, and ``not-json`` (path
    ``line L column C``) for all else: bad syntax, a key written twice, NaN, nesting deeper than ``DEPTH_LIMIT``.
    """
    if len(data) > limit:
        raise _error("input", "too-large", f"The input has {len(data)} bytes; the limit is {limit}.")
    text = data if isinstance(data, str) else _decoded(data)
    value = _parsed(text.removeprefix("\ufeff"))
    _check_depth(value)
    if _SURROGATE.search(text) or isinstance(data, str):
        _check_characters(value)
    return value


def dumps(value: JsonValue, *, indent: int | None = None) -> str:
    """Return ``value`` as JSON text: the same text for the same value, keys in the order of the dicts.

    A ``Decimal`` is written with its own digits. Raises ``ValueError`` for NaN and Infinity, ``TypeError`` for
    anything that ``loads`` does not return.
    """
    quickly = _quickly(value, indent)
    if quickly is not None:
        return quickly
    for mark in _MARKS:
        text = _encoded(value, indent, mark)
        if text is not None:
            return text
    raise ValueError("the texts use up all private-use characters that mark a decimal")


def _quickly(value: JsonValue, indent: int | None) -> str | None:
    """Return the text by orjson; ``None`` where it refuses, of which the standard encoder says more or writes it all
    the same (a number of more than 64 bits), and where it may have written NaN as null.
    """
    if indent not in (None, 2):
        return None
    try:
        text = orjson.dumps(value, _digits, JSON_ALONE if indent is None else JSON_ALONE | orjson.OPT_INDENT_2)
    except orjson.JSONEncodeError:
        return None
    return None if b"null" in text else text.decode()


def _digits(item: object) -> orjson.Fragment:
    if type(item) is not Decimal:
        raise TypeError
    return orjson.Fragment(decimal_text(item))


def _encoded(value: JsonValue, indent: int | None, mark: str) -> str | None:
    """Encode with each decimal between two marks, then take the marks away; ``None`` if a text looks like that."""
    count = 0

    def marked(item: object) -> str:
        nonlocal count
        if not isinstance(item, Decimal):
            raise TypeError(f"{type(item).__name__} has no place in FHIR JSON")
        count += 1
        return f"{mark}{decimal_text(item)}{mark}"

    shape: dict[str, Any] = {"separators": (",", ":")} if indent is None else {"indent": indent}
    encoder = json.JSONEncoder(ensure_ascii=False, allow_nan=False, check_circular=False, default=marked, **shape)
    try:
        text = encoder.encode(value)
    except RecursionError:
        raise ValueError("what holds itself, or is nested without end, has no text") from None
    if not count:
        return text
    written, replaced = re.subn(f'"{mark}([^"{mark}]*){mark}"', r"\1", text)
    return written if replaced == count else None


def decimal_text(value: Decimal) -> str:
    """Return ``value`` as FHIR writes a decimal: its own digits, an exponent only where zeros would mislead.

    >>> decimal_text(Decimal("3.250")), decimal_text(Decimal("1E-7")), decimal_text(Decimal("1.20e3"))
    ('3.250', '0.0000001', '1.20E+3')
    """
    if not value.is_finite():
        raise ValueError("a FHIR decimal is a finite number")
    text = str(value)
    if "E" in text and -20 < value.adjusted() < 0:
        return format(value, "f")
    return text


def _decoded(data: bytes | bytearray) -> str:
    try:
        return data.removeprefix(codecs.BOM_UTF8).decode()  # by far the shorter way than "utf-8-sig"
    except UnicodeDecodeError as error:
        raise _error(f"byte {error.start}", "not-json", "The bytes are not UTF-8, which FHIR JSON must be.") from None


def _parsed(text: str) -> JsonValue:
    try:
        return _DECODER.decode(text)
    except json.JSONDecodeError as error:
        place = f"line {error.lineno} column {error.colno}"
        several = " One resource a time: each line of an NDJSON file is a document of its own."
        hint = several if error.msg == "Extra data" else ""
        raise _error(place, "not-json", f"This is not JSON: {error.msg}.{hint}") from None
    except RecursionError:
        raise _too_deep() from None


def _object(pairs: list[tuple[str, JsonValue]]) -> dict[str, JsonValue]:
    """Build one object and refuse a key written twice: the second would silently win."""
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        kind = found.get("resourceType", "an object")
        raise _error(f"{kind}.{twice}", "not-json", "This key is written twice in one object; write it once.")
    return found


def _fraction(text: str) -> Decimal:
    value = Decimal(text) if len(text) <= NUMBER_LIMIT else None
    if value is None or abs(value.adjusted()) > NUMBER_LIMIT:
        raise _error("a number", "not-json", f"A number has more than {NUMBER_LIMIT} digits.", text[:80])
    return value


def _whole(text: str) -> int | Decimal:
    if len(text) > NUMBER_LIMIT:
        raise _error("a number", "not-json", f"A number has more than {NUMBER_LIMIT} digits.", text[:80])
    return int(text) if text != "-0" else Decimal(text)


def _constant(text: str) -> NoReturn:
    raise _error("a number", "not-json", "JSON has no such number.", text)


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object, parse_float=_fraction, parse_int=_whole, parse_constant=_constant
)


def _check_depth(value: JsonValue) -> None:
    """Go down level by level, so that no later walk can run out of stack."""
    mappings, lists = [value] if type(value) is dict else [], [value] if type(value) is list else []
    for _ in range(DEPTH_LIMIT + 1):
        below = [*chain.from_iterable(map(dict.values, mappings)), *chain.from_iterable(lists)]
        mappings = [child for child in below if type(child) is dict]
        lists = [child for child in below if type(child) is list]
        if not (mappings or lists):
            return
    raise _too_deep()


def _check_characters(value: JsonValue) -> None:
    try:
        json.dumps(value, ensure_ascii=False, default=str).encode()
    except UnicodeEncodeError:
        raise _error("a text", "not-json", "Half a surrogate pair is not a character.") from None


def _too_deep() -> InputError:
    return _error("input", "not-json", f"The input is nested deeper than {DEPTH_LIMIT} levels.")


def _error(path: str, code: str, message: str, value: str = "") -> InputError:
    return InputError([InputProblem(path, code, message, value)])
