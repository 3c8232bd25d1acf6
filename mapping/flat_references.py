"""References and identifiers of a flat visit that no FHIR output could hold: refused before anything is decided."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from layette.engine.errors import InputProblem
from layette.engine.visit.values import shown

_LITERAL = re.compile(
    r"(?:https?://[^\s<>\"]*/)?([A-Z][A-Za-z]+)/[A-Za-z0-9.-]{1,64}(?:/_history/[A-Za-z0-9.-]{1,64})?(?:#\S*)?",
    re.ASCII,
)
_OTHER = re.compile(r"(?:https?://|urn:)[^\s<>\"]+|#\S*|([A-Z][A-Za-z]+)\?\S+=\S*", re.ASCII)
_IDENTIFIER = {
    "system": (re.compile(r"\S+"), "an address without spaces, such as urn:x"),
    "value": (re.compile(r"(?=[\s\S]*\S)[ \r\n\t\S]+"), "a text in quotes"),
}
_NAMED = {"patient": "Patient", "encounter": "Encounter"}


def reference_problems(flat: Mapping[str, Any]) -> Iterator[InputProblem]:
    """Yield what is wrong with ``patient``, ``encounter``, ``identifiers`` and each ``origin`` of a flat visit."""
    for part, kind in _NAMED.items():
        yield from _problem(flat.get(part), part, kind)
    yield from _identifiers(flat.get("identifiers"))
    history = flat.get("history")
    yield from _origins(flat.get("findings"), "findings")
    yield from _origins(history.get("findings") if isinstance(history, Mapping) else None, "history.findings")


def _identifiers(written: Any) -> Iterator[InputProblem]:
    """Yield what could not be written of an identifier; a number has lost its leading zeros already."""
    for k, one in enumerate(written if isinstance(written, list) else ()):
        for part, (form, right) in _IDENTIFIER.items() if isinstance(one, Mapping) else ():
            text = one.get(part)
            if text is not None and not (isinstance(text, str) and form.fullmatch(text)):
                yield InputProblem(f"identifiers[{k}].{part}", "structure", "no such identifier", shown(text), right)


def _origins(findings: Any, path: str) -> Iterator[InputProblem]:
    for name, written in findings.items() if isinstance(findings, Mapping) else ():
        if type(written) is str:  # as most are
            continue
        several = isinstance(written, list | tuple)
        for k, item in enumerate(written if several else [written]):
            if isinstance(item, Mapping) and item.get("origin") is not None:
                place = f"{path}.{name}[{k}]" if several else f"{path}.{name}"
                yield from _problem(item["origin"], f"{item.get('path') or place}.origin", "")


def _problem(written: Any, path: str, kind: str) -> Iterator[InputProblem]:
    if written is None or (isinstance(written, str) and _can_be_written(written, kind)):
        return
    what = f"no reference to a FHIR {kind}" if kind else "no reference to a FHIR resource"
    right = f"{kind or 'Type'}/id, such as {kind or 'Observation'}/1, or an absolute URL"
    yield InputProblem(path, "structure", what, shown(written), right)


def _can_be_written(text: str, kind: str) -> bool:
    match = _LITERAL.fullmatch(text) or _OTHER.fullmatch(text)
    if match is None:
        return False
    named = match[1]
    if named is None or text.startswith("http"):
        return True
    return named == kind if kind else _is_type(named)


def _is_type(name: str) -> bool:
    from layette.mapping.fhir.types import resource_types  # the table is read only where an origin is to be checked

    return name in resource_types()
