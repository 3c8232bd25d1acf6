"""A file that is opened on the page, read as every input is: as this visit, or as an earlier one beside it.

The page gets each recording by finding and side, as it was read; what it does not show goes out again as it came in.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
from layette.mapping.codes import OWN_BASE
from layette.mapping.intake import CallerSays, Intake, take
from layette.mapping.pages.exam.told import told, visit_of

_HEAD = ("born", "at", "sex_at_birth", "findings", "history", "layette_visit")
_NEVER_BACK = ("path",)
"""Where something stood in the file that was opened: of no use in what the page sends later."""
_OF_ONE_VALUE = ("implausible", "value", "time")
_RECORDING = re.compile(r"findings\.(\w+)")
_TIME = re.compile(r"(\d{4}-\d\d-\d\d(T\d\d:\d\d(:\d\d)?(\.\d+)?(Z|[+-]\d\d:\d\d)?)?)?")
_A_DATE = 10
_OF_A_DAY = 999_999
"""The microsecond of the last moment of a day."""
_APART = timedelta(hours=1)
"""How far the hours of birth in two records of one baby may lie apart."""
_LISTS = ("orders", "guidance", "immunizations", "judged")


def opened(content: bytes, pack: Pack, *, earlier: bool = False, born: str | None = None) -> dict[str, Any]:
    """Return what a file holds, for the page: its head, `records` of this visit, `earlier` ones with their times.

    ``content`` is FHIR, HL7 v2 or a flat visit; or the answers of a family before the visit, which come as `records` of
    what was `told` and are put beside what is on the page. ``earlier``: the file is another
    visit of the baby on the page, who was ``born`` then (a date or a time); its findings come as `earlier`, its orders
    and doses as `past`.
    Raises `InputError` with all that is wrong, and where the file is of another baby.
    """
    answers = told(content)
    if answers is not None:
        part = visit_of(answers, pack, born)
        pack.read_visit(part)
        records = _on_page(_records(part["findings"], pack), pack)
        return {"born": answers.get("born"), "told": True, "notices": [], "records": records}
    intake = take(content, pack, pack.site.canonical or OWN_BASE, CallerSays(None, None, None))
    if intake.problems:
        raise InputError(intake.problems)
    visit = intake.visit
    clock = _clock(visit, pack, strict=earlier)
    head = {"born": visit.get("born"), "at": visit.get("at"), "sex": visit.get("sex_at_birth"), "clock": clock}
    found, history = list(_records(visit.get("findings"), pack)), dict(visit.get("history") or {})
    past = list(_records(history.pop("findings", None), pack))
    notices = {"notices": list(intake.notices)}
    if earlier:
        _same_baby(str(visit.get("born") or ""), born)
        before = [*past, *(_at(one, str(visit["at"])) for one in found)]
        return head | notices | {"earlier": _by_time(before), "past": {k: v for k, v in history.items() if k in _LISTS}}
    rest = {name: part for name, part in visit.items() if name not in _HEAD} | _ended(intake)
    others = {name: part for name, part in (visit.get("findings") or {}).items() if not _is_shown(name, part, pack)}
    rest |= {"history": history} if history else {}
    rest |= {"others": others} if others else {}
    return head | notices | {"records": _on_page(found, pack), "earlier": _by_time(past), "rest": rest}


def _ended(intake: Intake) -> dict[str, str]:
    """Return the end of the visit as its Encounter states it; of one without, what was found last ends the visit.

    Reading takes the end of a day where no hour is stated: that is no end to be written into a file.
    """
    end = datetime.fromisoformat(intake.result.until) if intake.result and intake.result.until else None
    began = intake.visit.get("at")
    stated = end is not None and end.microsecond != _OF_A_DAY and began and end > datetime.fromisoformat(str(began))
    return {"until": end.isoformat()} if end is not None and stated else {}


def _clock(visit: Mapping[str, Any], pack: Pack, *, strict: bool) -> Any:
    """Return the moment of a visit in the zone of its answer.

    Raises `InputError` with what is wrong, unless the page can show it beside its field and keep it aside, as it did
    when the visit was saved.
    """
    try:
        return pack.read_visit(visit).at.text
    except InputError as error:
        if strict or not all(_is_mended_there(one, visit, pack) for one in error.problems):
            raise
        return visit.get("at")


def _is_mended_there(problem: InputProblem, visit: Mapping[str, Any], pack: Pack) -> bool:
    """Whether a problem is of one recording, or of the times of birth and visit, and the page has a field for it."""
    if problem.path in ("born", "at"):
        return _TIME.fullmatch(str(visit.get(problem.path) or "")) is not None
    found = _RECORDING.match(problem.path)
    return found is not None and found[1] in pack.findings and problem.code in _OF_ONE_VALUE


def _on_page(found: Iterable[dict[str, Any]], pack: Pack) -> list[dict[str, Any]]:
    """Return recordings of this visit in the parts in which the page holds them."""
    return [{"finding": one["finding"], "side": one["side"], "what": _what(one["item"], pack, one)} for one in found]


def _same_baby(born: str, here: str | None) -> None:
    if not here or not born:
        return
    if here[:10] != born[:10]:
        problem = InputProblem("born", "patient", "the file is of a baby born on another day", born[:10], here[:10])
        raise InputError([problem])
    if len(here) > _A_DATE < len(born) and abs(datetime.fromisoformat(born) - datetime.fromisoformat(here)) > _APART:
        raise InputError([InputProblem("born", "patient", "the file is of a baby born at another hour", born, here)])


def _is_shown(name: str, part: Any, pack: Pack) -> bool:
    """Whether the page shows a part of `findings`; a system charted as anything but normal goes out as it came."""
    finding = str(name).partition(".")[0]
    if finding in pack.findings:
        return True
    items = part if isinstance(part, list) else [part]
    return finding in pack.normals and all(_fields(item).get("value") == "normal" for item in items)


def _fields(item: Any) -> dict[str, Any]:
    """Return one recording as a mapping; bounds alone are its value."""
    if isinstance(item, Mapping) and not ({*item} <= {"more_than", "at_least", "at_most", "below", "between"}):
        return {key: _plain(value) for key, value in item.items() if key not in _NEVER_BACK}
    return {"value": _plain(item)}


def _plain(value: Any) -> Any:
    """Return a number as text, in the digits in which it was written."""
    if isinstance(value, Mapping):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    return str(value) if isinstance(value, (int, float, Decimal)) and not isinstance(value, bool) else value


def _records(findings: Any, pack: Pack) -> Iterator[dict[str, Any]]:
    """Yield each recording as ``{finding, side, item}``: both sides apart, a normal of a system spread."""
    for key, written in (findings or {}).items():
        name, _, side = str(key).partition(".")
        for item in written if isinstance(written, list) else [written]:
            fields = _fields(item)
            if name in pack.normals:
                if fields.get("value") == "normal":
                    yield from _spread(name, fields, pack)
                continue
            yield from _sides(name, str(fields.pop("side", "") or side), fields, pack)


def _spread(system: str, fields: dict[str, Any], pack: Pack) -> Iterator[dict[str, Any]]:
    for name, value in pack.normals[system].spreads.items():
        item = {**fields, "value": value, "charted_by": system}
        yield from _sides(name, "both" if pack.findings[name].sides else "", item, pack)


def _sides(name: str, side: str, fields: dict[str, Any], pack: Pack) -> Iterator[dict[str, Any]]:
    sides = list(pack.findings[name].sides or ()) if side == "both" else [side]
    for one in sides:
        yield {"finding": name, "side": one, "item": dict(fields)}


def _what(item: dict[str, Any], pack: Pack, one: Mapping[str, Any]) -> dict[str, Any]:
    """Return a recording in the parts in which the page holds it: its value, its unit, who filled it, all else."""
    readings = pack.findings[one["finding"]].readings
    fields = dict(item)
    parts = {part: str(fields.pop(part)) for part in (readings.parts if readings else ()) if part in fields}
    what: dict[str, Any] = {"parts": parts} if parts else {}
    for name, own in (("value", "value"), ("unit", "unit"), ("absent", "absent"), ("charted_by", "by")):
        if fields.get(name) is not None:
            what[own] = fields.pop(name)
    return what | {"fields": fields}


def _at(one: dict[str, Any], at: str) -> dict[str, Any]:
    """Return a recording with the time of the visit at which it was made, where it says none of its own."""
    item = one["item"]
    return one if "time" in item or "age" in item else one | {"item": item | {"time": at}}


def _by_time(records: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return sorted(records, key=lambda one: str(one["item"].get("time") or ""))
