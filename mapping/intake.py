"""What was given, told apart by its content: FHIR as JSON or XML, HL7 v2, or a flat visit as JSON or YAML."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import yaml

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
from layette.engine.pack.written.yaml_nodes import parse as parse_yaml
from layette.engine.visit import carried
from layette.engine.visit.sound import sound
from layette.mapping.account import Account, Form, account_of, account_of_flat
from layette.mapping.fhir.json import SIZE_LIMIT, loads
from layette.mapping.flat_references import reference_problems
from layette.mapping.read import ReadResult, SiteCode, read
from layette.mapping.read.hl7v2.message import is_message, read_message
from layette.mapping.read.needed import sorted_out

Fhir = dict[str, Any] | list[Any]
"""A FHIR resource or Bundle as it was parsed, or a list of these."""

_YAML_LIMIT = 1024 * 1024
_SPACE = b" \t\r\n\xef\xbb\xbf"


@dataclass(frozen=True)
class CallerSays:
    """What the caller says of the input: the moment, the newborn, the Encounter; None leaves it to the input."""

    at: str | None = None
    subject: str | None = None
    encounter: str | None = None


@dataclass(frozen=True)
class Intake:
    """An input that was read: the flat visit, and the FHIR that it came from (None: it came in another form).

    ``problems`` are what reading and the check of FHIR refused; ``visit`` is then the usable rest, and carries them.
    ``result`` is what reading gave, None for what came flat.
    """

    visit: Mapping[str, Any]
    form: Form
    source: Fhir | None = None
    result: ReadResult | None = None
    problems: tuple[InputProblem, ...] = ()
    notices: tuple[str, ...] = ()

    def account(self, problems: Iterable[InputProblem] = ()) -> Account:
        """Say what became of every entry; ``problems`` are what was found wrong after reading."""
        found = (*self.problems, *problems)
        if self.result is None:
            return account_of_flat(self.visit, found)
        return account_of(self.result, self.form, self.notices, found)


def take(content: bytes | Mapping[str, Any] | list[Any], pack: Pack, base: str, says: CallerSays) -> Intake:
    """Read bytes, or what was parsed already. Raises `InputError` where there is nothing that could be read at all."""
    if isinstance(content, bytes) and is_message(content):
        return _message(content, pack, base, says)
    unsound: list[InputProblem] = []

    def tell(path: str, message: str, expected: str) -> None:
        unsound.append(InputProblem(path, "structure", message, expected=expected))

    parsed = parse(content) if isinstance(content, bytes) else sound(content, tell)
    if isinstance(parsed, Mapping) and "resourceType" not in parsed:
        return Intake(parsed, "readings", problems=(*unsound, *reference_problems(parsed)))
    if unsound:
        raise InputError(unsound)
    if not isinstance(parsed, (dict, list)) or not parsed:
        raise _refused("$", "structure", "neither a FHIR resource nor a flat visit", "a mapping")
    return _fhir(parsed, pack, base, says)


def _fhir(content: Fhir, pack: Pack, base: str, says: CallerSays) -> Intake:
    # The validator is imported when there is FHIR to check: a flat visit needs none of it.
    from layette.mapping.door import check_input

    result = read(
        content, pack, at=says.at, base=base, subject=says.subject, encounter=says.encounter, site_codes=_codes(pack),
        zone=pack.site.timezone,
    )  # fmt: skip
    check = check_input(content)
    invalid = sorted_out(check.problems, result)
    problems = _once(invalid.fatal, result.problems)
    visit = result.visit | ({carried.PART: carried.written(problems)} if problems else {})
    return Intake(visit, "entries", content, result, problems, (*result.notices, *check.notices, *invalid.notices))


def _once(invalid: tuple[InputProblem, ...], unread: tuple[InputProblem, ...]) -> tuple[InputProblem, ...]:
    """Return all problems; that an element is not R4 is said once, by the check that names the rule."""
    said = {problem.path for problem in invalid}
    return (*invalid, *(problem for problem in unread if problem.code != "structure" or problem.path not in said))


def _codes(pack: Pack) -> list[SiteCode]:
    return [SiteCode(row.system, row.code, row.finding, row.value, row.unit) for row in pack.site.codes]


def _message(data: bytes, pack: Pack, base: str, says: CallerSays) -> Intake:
    """Read HL7 v2: what goes out is made from the flat visit, since the message holds no resources to refer to."""
    if len(data) > SIZE_LIMIT:
        raise _refused("$", "too-large", f"the message has more than {SIZE_LIMIT} bytes")
    result = read_message(
        data, pack, zone=pack.site.timezone, at=says.at, base=base, subject=says.subject,
        encounter=says.encounter, site_codes=_codes(pack),
    )  # fmt: skip
    return Intake(result.visit, "segments", None, result, result.problems, result.notices)


def parse(data: bytes) -> Any:
    """Return the content of FHIR XML, JSON or YAML bytes. Raises `InputError`."""
    start = data.lstrip(_SPACE)[:1]
    if not start:
        raise _refused("$", "not-json", "the input is empty", "FHIR JSON or XML, or a flat visit as JSON or YAML")
    if start == b"<":
        from layette.mapping.fhir.xml import from_xml

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
