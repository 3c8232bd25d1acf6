"""The input of a command: FHIR as JSON or XML, HL7 v2, or a flat visit as JSON or YAML, told apart by its content."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import yaml

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
from layette.engine.pack.written.yaml_nodes import parse as parse_yaml
from layette.mapping.account import counted_entries, counted_flat
from layette.mapping.door import input_problems, profile_notices
from layette.mapping.fhir.json import SIZE_LIMIT, loads
from layette.mapping.fhir.xml import from_xml
from layette.mapping.read import SiteCode, read
from layette.mapping.read.hl7v2.message import is_message, read_message

_YAML_LIMIT = 1024 * 1024
_SPACE = b" \t\r\n\xef\xbb\xbf"


@dataclass(frozen=True)
class Given:
    """A visit as it was given: its flat form, the FHIR it came from (None: it came flat), and the account.

    ``problems`` are what stops the run; ``visit`` is then the usable rest. ``counted`` says what became of every
    entry, those refused for the given problems among them.
    """

    visit: Mapping[str, Any]
    source: dict[str, Any] | list[Any] | None
    counted: Callable[[Iterable[InputProblem]], str]
    problems: tuple[InputProblem, ...] = ()
    notices: tuple[str, ...] = ()

    @property
    def counts(self) -> str:
        """The account, in one line."""
        return self.counted(self.problems)


@dataclass(frozen=True)
class Asked:
    """What the caller says about the input: the moment, the newborn, the Encounter; None leaves it to the input."""

    at: str | None = None
    subject: str | None = None
    encounter: str | None = None


def take(name: str, pack: Pack, base: str, asked: Asked) -> Given:
    """Read a file, or stdin for ``-``. Raises `InputError` where there is nothing that could be read at all."""
    data = _bytes(name)
    if is_message(data):
        return _message(data, pack, base, asked)
    content = parse(data)
    if isinstance(content, dict) and "resourceType" not in content:
        return Given(content, None, partial(counted_flat, content))
    if not isinstance(content, (dict, list)) or not content:
        raise _refused("$", "structure", "neither a FHIR resource nor a flat visit", "a mapping")
    result = read(
        content, pack, at=asked.at, base=base, subject=asked.subject, encounter=asked.encounter, site_codes=_codes(pack)
    )
    notices = (*result.notices, *profile_notices(content))
    problems = _once(input_problems(content), result.problems)
    return Given(result.visit, content, partial(counted_entries, result, "entries"), problems, notices)


def _once(invalid: tuple[InputProblem, ...], unread: tuple[InputProblem, ...]) -> tuple[InputProblem, ...]:
    """Return all problems; that an element is not R4 is said once, by the check that names the rule."""
    said = {problem.path for problem in invalid}
    return (*invalid, *(one for one in unread if one.code != "structure" or one.path not in said))


def _codes(pack: Pack) -> list[SiteCode]:
    return [SiteCode(one.system, one.code, one.finding, one.value, one.unit) for one in pack.site.codes]


def _message(data: bytes, pack: Pack, base: str, asked: Asked) -> Given:
    """Read HL7 v2: what goes out is made from the flat visit, since the message holds no resources to refer to."""
    if len(data) > SIZE_LIMIT:
        raise _refused("$", "too-large", f"the message has more than {SIZE_LIMIT} bytes")
    result = read_message(
        data, pack, zone=pack.site.timezone, at=asked.at, base=base, subject=asked.subject,
        encounter=asked.encounter, site_codes=_codes(pack),
    )  # fmt: skip
    return Given(result.visit, None, partial(counted_entries, result, "segments"), result.problems, result.notices)


def _bytes(name: str) -> bytes:
    if name == "-":
        return sys.stdin.buffer.read(SIZE_LIMIT + 1)
    try:
        with Path(name).open("rb") as stream:
            return stream.read(SIZE_LIMIT + 1)
    except OSError as error:
        message = f"the input cannot be read: {error.strerror or type(error).__name__}"
        raise _refused(name, "structure", message) from None


def parse(data: bytes) -> Any:
    """Return the content of FHIR XML, JSON or YAML bytes. Raises `InputError`."""
    start = data.lstrip(_SPACE)[:1]
    if not start:
        raise _refused("$", "not-json", "the input is empty", "FHIR JSON or XML, or a flat visit as JSON or YAML")
    if start == b"<":
        return from_xml(data)
    return loads(data) if start in (b"{", b"[") else _yaml(data)


def _yaml(data: bytes) -> Any:
    if len(data) > _YAML_LIMIT:
        raise _refused("$", "too-large", f"the YAML has more than {_YAML_LIMIT} bytes")
    try:
        text = data.decode("utf-8-sig")
        _no_aliases(text)
        document = parse_yaml(text, "input")
    except UnicodeDecodeError as error:
        raise _refused(f"byte {error.start}", "not-json", "the bytes are not UTF-8") from None
    except RecursionError:
        raise _refused("$", "not-json", "the input is nested too deeply") from None
    except yaml.YAMLError:
        raise _refused("$", "not-json", "the input is neither JSON nor XML nor YAML") from None
    if document.problems:
        problems = [InputProblem(f"line {p.line} {p.key}", "not-json", p.message) for p in document.problems]
        raise InputError(problems)
    return document.data


def _no_aliases(text: str) -> None:
    """Refuse YAML aliases: a small file could unfold without end."""
    for event in yaml.parse(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader)):
        if isinstance(event, yaml.AliasEvent):
            place = f"line {event.start_mark.line + 1}" if event.start_mark else "$"
            raise _refused(place, "not-json", "YAML aliases are not read in a visit", "the value written out")


def _refused(path: str, code: str, message: str, expected: str = "") -> InputError:
    return InputError([InputProblem(path, code, message, expected=expected)])
