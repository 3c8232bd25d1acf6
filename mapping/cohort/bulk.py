"""FHIR Bulk Data: files of one type of resource each, joined to visits out of core.

A visit is an Encounter that took place and was no stay in hospital, with the whole record of its newborn: what is later
than the visit is not used for it, and says what was done. Whoever is too old for the pack is left out, and counted.
"""

from __future__ import annotations

import gzip
import json
import re
import zlib
from collections.abc import Iterator, Sequence
from datetime import date
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import Any

import duckdb

from layette.engine.errors import InputError, InputProblem
from layette.mapping.many.sources import Item

KINDS = (
    "Patient", "RelatedPerson", "Encounter", "Observation", "Condition", "ServiceRequest", "Communication",
    "Immunization", "QuestionnaireResponse", "DiagnosticReport", "Procedure", "FamilyMemberHistory",
)  # fmt: skip
"""The types that are joined; files of others are left out."""
_FILE = re.compile(rf"(?:^|[._-])({'|'.join(KINDS)})(?:[._-].*)?\.ndjson(?:\.gz)?$")
_IN_HOSPITAL = ("IMP", "ACUTE", "NONAC", "EMER", "OBSENC", "PRENC")
_NOT_MET = ("planned", "cancelled", "entered-in-error")
_MEMORY = "1GB"
_LONGEST_LINE = 8 * 1024 * 1024
_FETCHED = 2_000

_LINES = """
CREATE TEMP VIEW lines AS
SELECT line, filename FROM read_csv(
  {files}, columns = {{'line': 'VARCHAR'}}, delim = '\\x01', quote = '', escape = '', header = false, filename = true,
  auto_detect = false, strict_mode = false, max_line_size = {longest}, buffer_size = {buffer});
CREATE TEMP VIEW sound AS
SELECT CASE WHEN json_valid(line) THEN line END AS line,
       CASE WHEN json_valid(line) THEN line->>'$.resourceType' END AS kind
FROM lines WHERE kind IS NOT NULL;
CREATE TEMP TABLE relatives AS
SELECT line->>'$.id' AS id, regexp_extract(line->>'$.patient.reference', 'Patient/([^/#?]+)', 1) AS baby
FROM sound WHERE kind = 'RelatedPerson';
"""
_TOLD = """
WITH told AS (
  SELECT kind, line, CASE kind WHEN 'Patient' THEN 'Patient/' || (line->>'$.id')
    ELSE coalesce(line->>'$.focus[0].reference', line->>'$.subject.reference', line->>'$.patient.reference', '') END
    AS about
  FROM sound
), named AS (
  SELECT coalesce(baby, regexp_extract(about, 'Patient/([^/#?]+)', 1)) AS who, kind, line, about
  FROM told LEFT JOIN relatives ON relatives.id = regexp_extract(about, 'RelatedPerson/([^/#?]+)', 1)
)
"""
_RECORDS = (
    _TOLD + "SELECT who, kind, line FROM named WHERE who <> '' ORDER BY who, kind = 'Patient' DESC, kind, "
    "line->>'$.id', line"
)
_OF_NOBODY = (
    _TOLD + "SELECT kind, line FROM named WHERE who = '' AND (about = '' OR about LIKE 'urn:%') "
    "ORDER BY kind, line->>'$.id', line"
)
_BROKEN = """
SELECT filename, line FROM lines
WHERE trim(coalesce(line, '')) <> '' AND CASE WHEN json_valid(line) THEN line->>'$.resourceType' END IS NULL
"""


def bulk_files(folder: Path) -> list[Path]:
    """Return the files of a Bulk Data export in a folder; none where it holds none.

    Raises `InputError` where it is one of Patients without Encounters: then it tells of no visit.
    """
    found = sorted(place for place in folder.iterdir() if place.is_file() and _FILE.search(place.name))
    kinds = {_kind(place) for place in found}
    if "Encounter" in kinds:
        return found
    if {"Patient"} < kinds:
        message = "this is Bulk Data without Encounters, and a visit is an Encounter"
        right = "Encounter.ndjson beside the others: ask the server for that type too"
        raise InputError([InputProblem("INPUT", "structure", message, str(folder), right)])
    return []


def _kind(place: Path) -> str:
    match = _FILE.search(place.name)
    return match[1] if match else ""


def visits(files: Sequence[Path], oldest_days: int, scratch: Path) -> Iterator[Item]:
    """Yield each visit as a Bundle of the record of its newborn, by patient; at the end, each resource that names no
    Patient, and each line that is no resource.

    ``scratch``: a folder for what does not fit into memory. Raises OSError; `InputError` with every file that is packed
    and cannot be unpacked.
    """
    try:
        yield from _joined([place for place in files if place.stat().st_size], oldest_days, scratch)
    except duckdb.Error:
        broken = [place for place in files if place.suffix == ".gz" and not _unpacks(place)]
        if not broken:
            raise
        right = "a whole file; fetch it once more"
        message = "this cannot be unpacked: it is no gzip, or its end is missing"
        raise InputError([InputProblem(str(place), "not-json", message, expected=right) for place in broken]) from None


def _unpacks(place: Path) -> bool:
    try:
        with gzip.open(place) as stream:
            while stream.read(1 << 20):
                pass
    except (OSError, EOFError, zlib.error):
        return place.stat().st_size == 0
    return True


def _joined(files: Sequence[Path], oldest_days: int, scratch: Path) -> Iterator[Item]:
    if not files:
        return
    with duckdb.connect(config={"memory_limit": _MEMORY, "temp_directory": str(scratch)}) as db:
        names = ", ".join("'" + str(place).replace("'", "''") + "'" for place in files)
        db.execute("SET threads = 2")
        db.execute("SET preserve_insertion_order = false")
        db.execute(_LINES.format(files=f"[{names}]", longest=_LONGEST_LINE, buffer=2 * _LONGEST_LINE))
        reader = db.execute(_RECORDS)
        rows = iter(lambda: reader.fetchmany(_FETCHED), [])
        for who, record in groupby((row for some in rows for row in some), key=itemgetter(0)):
            yield from _of_one(who, [(kind, line) for _, kind, line in record], oldest_days)
        nobodys = db.execute(_OF_NOBODY).fetchall()
        broken = db.execute(_BROKEN).fetchall()
    yield from (_of_nobody(kind, line) for kind, line in nobodys)
    yield from _quoted(broken)


def _of_nobody(kind: str, line: str) -> Item:
    """Return a resource that names no Patient by a reference: alone, so that it is set aside with that reason."""
    content = f'{{"resourceType":"Bundle","type":"collection","entry":[{{"resource":{line}}}]}}'.encode()
    return Item(content, f"{kind}/{json.loads(line).get('id')}")


def _of_one(who: str, record: Sequence[tuple[str, str]], oldest_days: int) -> Iterator[Item]:
    """Yield the visits of one newborn."""
    encounters = [json.loads(line) for kind, line in record if kind == "Encounter"]
    patient: dict[str, Any] = next((json.loads(line) for kind, line in record if kind == "Patient"), {})
    met = [one for one in encounters if _is_visit(one)]
    entries = ",".join(f'{{"resource":{line}}}' for _, line in record)
    content = f'{{"resourceType":"Bundle","type":"collection","entry":[{entries}]}}'.encode()
    for one in sorted(met, key=lambda one: (str(_start(one)), str(one.get("id")))):
        source = f"Encounter/{one.get('id')}"
        old = _days(patient.get("birthDate"), _start(one)) > oldest_days
        skipped = f"{who} is older than the pack covers" if old else ""
        yield Item(b"" if skipped else content, source, None, None, skipped, source)


def _is_visit(encounter: dict[str, Any]) -> bool:
    kind = encounter.get("class")
    code = kind.get("code") if isinstance(kind, dict) else None
    return encounter.get("status") not in _NOT_MET and code not in _IN_HOSPITAL


def _start(encounter: dict[str, Any]) -> Any:
    period = encounter.get("period")
    return period.get("start") if isinstance(period, dict) else None


def _days(born: Any, start: Any) -> int:
    """Return the age in days, as far as can be told; 0 where it cannot: reading will say what is wrong."""
    try:
        return (date.fromisoformat(str(start)[:10]) - date.fromisoformat(str(born)[:10])).days
    except ValueError:
        return 0


def _quoted(broken: Sequence[tuple[str, str]]) -> Iterator[Item]:
    """Yield lines that are no resource with their numbers, for which their files are read once more."""
    wanted: dict[str, set[str]] = {}
    for name, line in broken:
        wanted.setdefault(name, set()).add(line.strip())
    for name, lines in sorted(wanted.items()):
        with gzip.open(name) if name.endswith(".gz") else Path(name).open("rb") as stream:
            for number, content in enumerate(stream, 1):
                if content.decode("utf-8", "replace").strip() in lines:
                    yield Item(b"[" + content.strip(), name, number)
