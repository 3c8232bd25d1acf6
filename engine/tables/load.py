"""Reading a pack's (or a site's) tables: one CSV each, described by a YAML header of the same name.

``kind: set``        treatment lines of one issuer (``ThresholdSet``)
``kind: reference``  growth tables (``LmsTable``, ``PercentileTable``), steps of age (``StepTable``), or numbers printed
                     for people (``PrintedTable``); which, says ``method``
``kind: sanity``     approximate points of published figures, only to check a set that a site supplies (``SanityTable``)

A CSV begins with ``#`` lines (source, status), then a row of column names. All mistakes are found at once.

**A site's own set.** Some guidelines' lines by hour of age are not ours to carry. A site that has the right to use
them supplies ``aap-2022.csv`` with five columns, in mg/dL, and a header::

    line,risk,gestation_weeks,age_hours,value
    phototherapy,none,35,0,<value>          line: phototherapy | exchange; risk: none | present
    exchange,present,>=40,336,<value>       gestation_weeks: 35 36 37 38 39 40, where 40 (or >=40) is 40 and later

    kind: set
    label: AAP 2022
    issuer: aap
    source: aap-2022-hyperbilirubinemia
    status: verified
    unit: mg/dL
    beyond: at_least
    gestations: [35, 36, 37, 38, 39, 40]
    lines: [phototherapy, exchange]
    risks: [none, present]
    covers: [0, 336]
    between: straight
    after_last: hold
    provenance: Which document, which edition, who copied it and how the copy was compared.
    signed_off:
      - {name: ..., role: ..., on: 2026-01-31}
      - {name: ..., role: ..., on: 2026-02-01}

Every line, risk and week needs a first row at 0 h; the last row holds to 336 h, or, under ``after_last: not_known``,
the set answers no later age. ``between`` is one word for all lines, or one for each that does not run straight
(``{exchange: step}``). A set without a risk split leaves ``risks`` and that column out. A set of a single gestation may
give each line a column of its own instead:
``axis: <column of hours>`` and ``lines: {phototherapy: <column>, exchange: <column>}``.

``one_way: above`` marks lines that rest on a formula or on memory: a value above one is beyond it, one below is never
answered. ``near: 50`` says how far below a line, in the set's unit, a value is still to be judged where no line covers
the newborn; ``younger: <set>`` names the set that says so for gestations below the lowest.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import PurePosixPath
from typing import Any, TypeAlias

from pydantic import TypeAdapter, ValidationError

from layette.engine.errors import PackProblem
from layette.engine.measures.birth_size import PercentileTable
from layette.engine.measures.growth import LmsTable
from layette.engine.measures.steps import StepTable
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.shape_words import mistakes
from layette.engine.tables import build, set_safety
from layette.engine.tables.build import PrintedTable
from layette.engine.tables.headers import (
    Header,
    LmsHeader,
    PercentilesHeader,
    PrintedHeader,
    SanityHeader,
    SetHeader,
    StepsHeader,
)
from layette.engine.tables.set_safety import Fault, SanityTable
from layette.engine.tables.sheet import Sheet

Table: TypeAlias = ThresholdSet | LmsTable | PercentileTable | StepTable | PrintedTable | SanityTable
"""What a table file becomes."""


HEADER: TypeAdapter[SetHeader | LmsHeader | PercentilesHeader | StepsHeader | PrintedHeader | SanityHeader] = (
    TypeAdapter(Header)
)


def load_table(
    header: Any, csv_text: str, csv_name: str, *, site_supplied: bool = False
) -> tuple[Table | None, list[PackProblem]]:
    """Return the table of a header and its CSV, and every problem; None where there is a problem.

    ``header`` is what the YAML file holds, a mapping where it is right. ``csv_name`` is the path that problems show;
    the table's name is its stem. Problems of the header carry the header's file and line 1. ``site_supplied``: a set
    then needs provenance and two sign-offs. ``kind: rows`` is not read here.
    """
    try:
        model = HEADER.validate_python(header)
    except ValidationError as error:
        return None, _header_problems(error, header, csv_name)
    sheet = Sheet.read(csv_text, csv_name)
    table = _build(model, sheet)
    problems = list(sheet.problems)
    if isinstance(model, SetHeader):
        problems += _signatures(model, csv_name, site_supplied)
    if isinstance(table, ThresholdSet):
        problems += _problems(set_safety.faults(table), csv_name)
    return (None if problems else table), problems


def _build(header: Header, sheet: Sheet) -> Table | None:
    match header:
        case SetHeader():
            return build.threshold_set(header, sheet)
        case LmsHeader():
            return build.lms_table(header, sheet)
        case PercentilesHeader():
            return build.percentile_table(header, sheet)
        case StepsHeader():
            return build.step_table(header, sheet)
        case PrintedHeader():
            return build.printed_table(header, sheet)
        case SanityHeader():
            return build.sanity_table(header, sheet)


def check_set(
    table: ThresholdSet, csv_name: str, figures: Iterable[SanityTable]
) -> tuple[list[PackProblem], list[PackProblem]]:
    """Return (problems, warnings) of a loaded set against what is known of its issuer's figures.

    A problem refuses the set; a warning asks for a second look.
    """
    refused, look = set_safety.against_figures(table, figures)
    return _problems(refused, csv_name), _problems(look + set_safety.second_looks(table), csv_name)


def check_younger(tables: Mapping[str, Table]) -> Iterator[PackProblem]:
    """Yield a set that takes the lines of younger newborns from a set that is not there, or has another unit."""
    for name, table in tables.items():
        if isinstance(table, ThresholdSet) and table.younger:
            younger = tables.get(table.younger)
            if not isinstance(younger, ThresholdSet) or younger.unit != table.unit:
                message = f"'younger' names '{table.younger}': name a set of lines of this pack, in {table.unit}"
                yield PackProblem(f"tables/{name}.yaml", 1, "younger", "threshold-set", message)


def _problems(faults: Iterable[Fault], csv_name: str) -> list[PackProblem]:
    return [PackProblem(csv_name, fault.row, fault.key, "threshold-set", fault.message) for fault in faults]


def _header_file(csv_name: str) -> str:
    return str(PurePosixPath(csv_name).with_suffix(".yaml"))


def _header_problems(error: ValidationError, header: object, csv_name: str) -> list[PackProblem]:
    file = _header_file(csv_name)
    found = mistakes(error, header, Header, {})
    return [
        PackProblem(file, 1, ".".join(map(str, place)) or "header", "shape", message) for place, message, _ in found
    ]


def _signatures(header: SetHeader, csv_name: str, site_supplied: bool) -> list[PackProblem]:
    messages: list[tuple[str, str]] = []
    if not header.provenance.strip():
        messages.append(("provenance", "say from which document the lines come and how the copy was compared"))
    if site_supplied and len({who.name.strip().casefold() for who in header.signed_off}) < 2:
        messages.append(("signed_off", "two people sign off a supplied set: name, role, on"))
    if header.unit not in ("mg/dL", "umol/L"):
        messages.append(("unit", "the lines are in mg/dL or umol/L"))
    if header.covers != (0, 336):
        messages.append(("covers", "a set covers the ages from 0 to 336 h"))
    if sorted(set(header.gestations)) != list(range(header.gestations[0], header.gestations[-1] + 1)):
        messages.append(("gestations", "completed weeks in rising order, none left out"))
    if not {"phototherapy", "exchange"} <= set(header.lines):
        messages.append(("lines", "a set needs the lines phototherapy and exchange"))
    return [PackProblem(_header_file(csv_name), 1, key, "threshold-set", message) for key, message in messages]
