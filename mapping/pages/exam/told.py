"""The answers of a family to the form before the visit: a part of a visit, all of it told and nothing examined.

`{"layette_told": 1, "at": TIME, "born": DAY, "findings": {...}}`: no name of the child, and the day of birth only if
the family gave it. What the family cannot report is refused here, so that no such file can stand for a look.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem

VERSION = 1
_MARK = "layette_told"
_PARTS = ("value", "unit", "absent", "text")


def told(content: bytes) -> Mapping[str, Any] | None:
    """Return the answers in a file; None where it is another kind of file."""
    if _MARK.encode() not in content:
        return None
    try:
        read = json.loads(content, parse_float=str, parse_int=str)
    except (ValueError, RecursionError):
        return None
    return read if isinstance(read, dict) and _MARK in read else None


def visit_of(answers: Mapping[str, Any], pack: Pack, born: str | None) -> dict[str, Any]:
    """Return the answers as a flat visit at the moment at which they were given.

    ``born``: of the baby on the page, a date or a time. Where neither page nor file says it, the day of the answers
    stands in, for reading alone. Raises `InputError` for what is no such file, or cannot be reported by a family.
    """
    problems = list(_problems(answers, pack))
    if problems:
        raise InputError(problems)
    at = str(answers["at"])
    own = answers.get("born")
    if own and born and own[:10] != born[:10]:
        problem = InputProblem("born", "patient", "the answers are for a baby born on another day", own, born[:10])
        raise InputError([problem])
    findings = {name: _item(item, at) for name, item in answers["findings"].items()}
    return {"born": own or born or at[:10], "at": at, "findings": findings}


def _item(item: Mapping[str, Any], at: str) -> dict[str, Any]:
    """Return one answer: whatever the file says, it was told, and at that time."""
    return {key: item[key] for key in _PARTS if key in item} | {"reported": True, "time": at}


def _problems(answers: Mapping[str, Any], pack: Pack) -> Iterator[InputProblem]:
    if str(answers[_MARK]) != str(VERSION):
        yield InputProblem(_MARK, "structure", "not a version of the form that is read", str(answers[_MARK]), "1")
    if not _is_time(answers.get("at")):
        yield InputProblem("at", "time", "when the answers were given", str(answers.get("at")), "a time with offset")
    if not isinstance(answers.get("born"), str | None):
        yield InputProblem("born", "time", "the day of birth is a text", expected="such as 2026-11-24")
    findings = answers.get("findings")
    if not isinstance(findings, dict):
        yield InputProblem("findings", "structure", "answers are told by finding", expected="an object")
        return
    for name, item in findings.items():
        path, shape = f"findings.{name}", pack.findings.get(name)
        if shape is None:
            yield InputProblem(path, "unknown-finding", "the pack has no such finding", name)
        elif not shape.reported:
            yield InputProblem(path, "value", "this is examined, and no family reports it", expected="nothing")
        elif not isinstance(item, dict):
            yield InputProblem(path, "structure", "an answer is an object", expected='such as {"value": "none"}')


def _is_time(text: Any) -> bool:
    try:
        return isinstance(text, str) and datetime.fromisoformat(text).tzinfo is not None
    except ValueError:
        return False
