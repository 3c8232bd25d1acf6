"""One part of a cohort: some thousand inputs, read by one worker and written as one file a table.

Every visit is read twice: by `native`, and with all others of the part by `planes`. They must agree.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from layette.engine.cohort.coded import KnownStates, concluded, read_known
from layette.engine.cohort.counted import differing, statuses_of
from layette.engine.cohort.many import DueOfMany
from layette.engine.errors import InputError, LayetteError, ReadersDisagree
from layette.engine.logic.planes import CohortReading
from layette.mapping.answering import answer
from layette.mapping.cohort import files
from layette.mapping.cohort.groups import Groups
from layette.mapping.cohort.one_visit import Audited, Auditor
from layette.mapping.cohort.pseudonyms import Pseudonyms, without_names
from layette.mapping.cohort.tables import (
    PARTS,
    VISITS,
    due_of_visits,
    due_table,
    lists,
    status_table,
    table,
    value_table,
)
from layette.mapping.many.sources import Item

MOST_PROBLEMS = 20
MOST_QUOTED = 65_536
"""Bytes of an input that is set aside."""


@dataclass(frozen=True)
class Part:
    """Inputs that go together: ``first`` is the number of the first one in the audit."""

    number: int
    first: int
    items: tuple[Item, ...]

    @property
    def name(self) -> str:
        """The name of its files, without ending."""
        return f"part-{self.number:06}"


@dataclass
class Totals:
    """What became of inputs; ``urgent``: refused ones whose usable rest decides an emergency."""

    visits: int = 0
    rejected: int = 0
    urgent: int = 0
    record_end: int = 0

    def add(self, other: Totals) -> None:
        """Add those of another part."""
        self.visits += other.visits
        self.rejected += other.rejected
        self.urgent += other.urgent
        self.record_end = max(self.record_end, other.record_end)


@dataclass
class _Rows:
    """Rows by table, and what is read twice."""

    known: KnownStates
    due: DueOfMany
    tables: dict[str, list[Sequence[Any]]] = field(default_factory=lambda: {name: [] for name in PARTS})
    rejected: list[dict[str, Any]] = field(default_factory=list)
    groups: list[Groups] = field(default_factory=list)
    columns: dict[str, pa.Array] = field(default_factory=dict)
    whole: list[bool] = field(default_factory=list)
    statuses: list[bytearray] = field(default_factory=list)
    totals: Totals = field(default_factory=Totals)


@dataclass(frozen=True)
class Made:
    """What was made of a part: its tables by folder, a line of JSON for each input that was set aside, its totals."""

    tables: Mapping[str, pa.Table]
    rejected: Sequence[str]
    totals: Totals


def keep(made: Made, out: Path, name: str) -> Totals:
    """Write the files of a part, the account last: a part without one is not done. Raises OSError."""
    for folder, rows in made.tables.items():
        files.write_table(rows, out / folder / f"{name}.parquet")
    lines = "".join(line + "\n" for line in made.rejected)
    files.write_bytes(lines.encode(), out / "parts" / f"{name}.rejected.ndjson")
    files.write_json(vars(made.totals), out / "parts" / f"{name}.json")
    return made.totals


class PartReader:
    """Reads parts; ``names``: the keyed hash, None where names stay."""

    def __init__(self, auditor: Auditor, names: Pseudonyms | None) -> None:
        """Read by ``auditor``."""
        self.auditor, self.names = auditor, names
        self.plan = auditor.pack.cohort

    def read(self, part: Part) -> Made:
        """Return what is to be written of a part. Raises `ReadersDisagree`."""
        rows = _Rows(KnownStates(self.auditor.pack.program.full), DueOfMany(self.auditor.laid, [self.auditor.native]))
        for k, item in enumerate(part.items):
            self._one(part.first + k, item, rows)
        visits = [row[0] for row in rows.tables["visits"]]
        made = {"statuses": self._statuses(rows, visits)}
        made["values"] = value_table(visits, rows.whole, rows.known, self.plan.meanings)
        due = rows.due.made()
        made["due"] = due_table(due, visits, rows.groups)
        made["visits"] = table(rows.tables["visits"], VISITS, rows.columns | due_of_visits(due))
        made |= {name: table(rows.tables[name], schema) for name, schema in PARTS.items() if name not in made}
        return Made(made, [json.dumps(one, ensure_ascii=False) for one in rows.rejected], rows.totals)

    def _one(self, number: int, item: Item, rows: _Rows) -> None:
        place = {"source": self._name(item.source), "line": item.line}
        try:
            found = self.auditor.read(item)
        except LayetteError as error:
            rows.rejected.append({**place, **self._told(error, item), **self._quoted(item)})
        except Exception as error:  # a fault of ours, told without a word of the visit
            rows.rejected.append({**place, "error": f"a fault of the program ({type(error).__name__})", "urgent": 0})
        else:
            rows.totals.visits += 1
            self._add(number, place, found, rows)
            return
        rows.totals.rejected += 1
        rows.totals.urgent += bool(rows.rejected[-1]["urgent"])

    def _told(self, error: LayetteError, item: Item) -> dict[str, Any]:
        """Return what is wrong with an input; where names are hashed, none stands in it."""
        told = _told(error, item, self.auditor)
        for one in told.get("problems", ()) if self.names else ():
            one["path"] = without_names(one["path"], self.auditor.pack)
        return told

    def _quoted(self, item: Item) -> dict[str, str]:
        """Quote an input that is set aside; not where names are hashed."""
        return {} if self.names else {"quoted": item.content[:MOST_QUOTED].decode("utf-8", "backslashreplace")}

    def _name(self, name: str | None) -> str | None:
        return self.names.of(name) if self.names and name else name

    def _add(self, number: int, place: dict[str, Any], found: Audited, rows: _Rows) -> None:
        visit, groups = found.visit, found.groups
        patient, tables = self._name(_patient(found)), rows.tables
        acts = list(self.auditor.acts(visit))
        end = max(visit.at.hi, visit.until.hi)
        rows.totals.record_end = max(rows.totals.record_end, end)
        tables["visits"].append((
            number, patient, self._name(visit.encounter), place["source"], place["line"], *groups, visit.at.lo,
            visit.born.lo, visit.age_days, visit.sex, end,
        ))  # fmt: skip
        tables["acts"] += [(number, patient, *act[:-2], self._name(act[-2]), self._reason(act[-1])) for act in acts]
        flat = self.names.visit(found.flat) if self.names else found.flat
        tables["flat"].append((number, place["source"], place["line"], groups.clinic, _bytes(flat)))
        rows.known.add(found.valued.given, found.valued.known, found.valued.values)
        rows.groups.append(groups)
        rows.due.add(visit, found.statuses, found.due)
        rows.whole.append(found.valued.whole)
        rows.statuses.append(found.statuses)

    def _reason(self, words: str | None) -> str | None:
        """Return why something was declined; free text may name somebody, so it stays out where names do."""
        return "given" if self.names and words else words

    def _statuses(self, rows: _Rows, visits: Sequence[int]) -> pa.Table:
        program = self.auditor.pack.program
        reading = read_known(self.plan.codes.reader, rows.known)
        statuses = statuses_of(reading)
        differ = differing(statuses, rows.statuses)
        if differ:
            rules = {program.rules[rule].id for _, rule in differ[:MOST_PROBLEMS]}
            raise ReadersDisagree(
                {name: dict.fromkeys(sorted(rules), "differs") for name in ("native", "planes")}, None
            )
        self._wait(rows, reading, statuses)
        return status_table(visits, self.plan.codes.rules, self.plan.codes.of(reading))

    def _wait(self, rows: _Rows, reading: CohortReading, statuses: NDArray[np.uint8]) -> None:
        """Tell what each visit waits for, and how many visits of each clinic wait with which rule for which finding."""
        drawn = frozenset(self.auditor.pack.program.conclusions)
        clinics = {name: k for k, name in enumerate(dict.fromkeys(one.clinic for one in rows.groups))}
        groups = np.array([clinics[one.clinic] for one in rows.groups], np.int64)
        waiting = self.plan.waits.of(
            statuses,
            lambda var: concluded(reading, var) if var in drawn else rows.known.coded(var),
            groups,
            len(clinics),
        )
        rows.columns |= {
            "outstanding": lists(waiting.pressing, len(groups)),
            "outstanding_all": pa.array(waiting.findings, pa.int32()),
        }
        rows.tables["open_parts"] += sorted(
            ((rule, finding, clinic, int(visits[k])) for rule, finding, visits in waiting.pairs
             for clinic, k in clinics.items() if visits[k]), key=repr,
        )  # fmt: skip


class PartWriter(PartReader):
    """Reads parts and writes their files below ``out``."""

    def __init__(self, auditor: Auditor, out: Path, names: Pseudonyms | None) -> None:
        """Write below ``out``."""
        super().__init__(auditor, names)
        self.out = out

    def write(self, part: Part) -> Totals:
        """Read a part and write its files. Raises OSError."""
        return keep(self.read(part), self.out, part.name)


def _patient(found: Audited) -> str | None:
    visit = found.visit
    return visit.patient or next((f"{system}|{value}" for system, value in visit.identifiers), None)


_ENCODER = json.JSONEncoder(ensure_ascii=False, default=str, separators=(",", ":"))


def _bytes(flat: Any) -> bytes:
    return _ENCODER.encode(flat).encode()


def _told(error: LayetteError, item: Item, auditor: Auditor) -> dict[str, Any]:
    """Return what is wrong with an input, and how many emergencies its usable rest decides."""
    try:
        answer(item.content, auditor.pack, readers=[auditor.native.name], encounter=item.encounter)
    except LayetteError as again:
        error = again if again.urgent else error
    if not isinstance(error, InputError):
        return {"error": str(error), "urgent": len(error.urgent)}
    parts = ("path", "code", "message", "expected")
    told = [{part: getattr(one, part) for part in parts if getattr(one, part)} for one in error.problems]
    return {"problems": told[:MOST_PROBLEMS], "more": max(0, len(told) - MOST_PROBLEMS), "urgent": len(error.urgent)}
