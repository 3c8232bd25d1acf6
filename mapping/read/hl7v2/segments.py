"""An HL7 v2 message taken apart by the library hl7apy: its segments, and their fields by number."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from layette.engine.errors import InputError, InputProblem
from layette.mapping.read.bundle.parts import shown

Repetition = list[str]
"""One repetition of a field: its components, escapes resolved."""

MARKS_LIMIT = 10_000
"""More separators are not read: some hundred results, for which the library needs seconds."""

_NEWEST, _TOLERANT = "2.8.2", 2
_NAME = re.compile(r"[A-Z][A-Z0-9]{2}")
_ESCAPED = {"F": "FIELD", "S": "COMPONENT", "T": "SUBCOMPONENT", "R": "REPETITION", "E": "ESCAPE"}
_FRAME = "\x0b\x1c \t\r\n"


@dataclass(frozen=True, slots=True)
class Segment:
    """One segment: its name, its number among those of its name, and the fields that were asked for."""

    name: str
    number: int
    fields: Mapping[int, list[Repetition]]

    def first(self, number: int) -> Repetition | None:
        """Return the first repetition of a field."""
        return next(iter(self.fields.get(number, ())), None)

    def text(self, number: int, component: int = 1) -> str:
        """Return a component of a field's first repetition, empty where it is missing."""
        return part(self.first(number), component)


def part(of: Repetition | None, number: int) -> str:
    """Return a component by its number, empty where it is missing or HL7's null."""
    found = of[number - 1].strip() if of and len(of) >= number else ""
    return "" if found == '""' else found


def refused(path: str, message: str, value: str = "", expected: str = "", code: str = "structure") -> InputError:
    """Return the error for a message of which nothing can be read."""
    return InputError([InputProblem(path, code, message, shown(value), expected)])


def take_apart(data: bytes, wanted: Collection[str]) -> list[Segment]:
    """Return all segments of a message, with the fields of those ``wanted``. Raises `InputError`.

    Fields keep their numbers in all versions, so the newest definitions serve for every message.
    """
    lines = [line.strip() for line in re.split(r"[\r\n]+", _text(data))]
    try:
        parser, errors = import_module("hl7apy.parser"), import_module("hl7apy.exceptions")
    except ImportError:
        message = "HL7 v2 needs the library hl7apy, which is not installed here"
        raise refused("input", message, expected="pip install 'layette[hl7v2]', or FHIR") from None
    segments: list[Segment] = []
    seen: Counter[str] = Counter()
    try:
        marks = parser.get_message_info(lines[0])[0]
        for line in filter(None, lines):
            name = _name(line, marks, len(segments))
            seen[name] += 1
            fields = _fields(parser.parse_segment(line, _NEWEST, marks, _TOLERANT), marks) if name in wanted else {}
            segments.append(Segment(name, seen[name], fields))
    except (errors.HL7apyException, IndexError):
        raise refused(
            f"segment {len(segments) + 1}", "this is no HL7 v2", expected="MSH|^~\\&|... of version 2"
        ) from None
    return segments


def _text(data: bytes) -> str:
    encoding = "latin-1" if b"8859/1" in re.split(rb"[\r\n]", data.strip())[0] else "utf-8-sig"
    try:
        text = data.decode(encoding).strip(_FRAME)
    except UnicodeDecodeError as error:
        raise refused(f"byte {error.start}", "the bytes are not UTF-8", "", "UTF-8, or 8859/1 in MSH-18") from None
    if sum(text.count(mark) for mark in {*text[3:8], "\r", "\n"}) > MARKS_LIMIT:
        message = f"the message has more than {MARKS_LIMIT} fields and parts"
        raise refused("MSH", message, expected="its results in several messages", code="too-large")
    return text


def _name(line: str, marks: Mapping[str, str], before: int) -> str:
    if not _NAME.fullmatch(line[:3]) or line[3:4] not in ("", marks["FIELD"]):
        raise refused(f"segment {before + 1}", "this is no segment", line[:3], "a name such as OBX, and its fields")
    return line[:3]


def _fields(segment: Any, marks: Mapping[str, str]) -> dict[int, list[Repetition]]:
    found: dict[int, list[Repetition]] = {}
    for one in segment.children:
        number = str(one.name or "").rpartition("_")[2]
        if number.isdigit():
            parts = [_plain(piece, marks) for piece in one.to_er7(marks).split(marks["COMPONENT"])]
            found.setdefault(int(number), []).append(parts)
    return found


def _plain(said: str, marks: Mapping[str, str]) -> str:
    """Return text without HL7's escapes; those that format a text become a space."""
    mark = re.escape(marks["ESCAPE"])
    said = re.sub(f"{mark}([FSTRE]){mark}", lambda found: marks[_ESCAPED[found[1]]], said)
    return re.sub(rf"{mark}\.\w+[+-]?\d*{mark}", " ", said)
