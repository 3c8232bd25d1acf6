"""How many diapers to expect on each of the next days, as the table that the site uses prints it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack
from layette.engine.measures.steps import StepTable

DAYS = 7


@dataclass(frozen=True)
class Expected:
    """One day: its date, and the fewest wet and soiled diapers in 24 hours."""

    day: datetime
    wet: int
    stool: int


def expected_diapers(pack: Pack, assessment: Assessment) -> Iterator[Expected]:
    """Yield the next days, this one first; nothing where the pack has no such table for the site's choice.

    A day of life counts from birth by 24 hours, as the tables do; what is expected of a date is what its last hour has.
    """
    table = _in_use(pack, assessment)
    if table is None:
        return
    born, today = datetime.fromisoformat(assessment.born), datetime.fromisoformat(assessment.at)
    if born.tzinfo is None:
        born = born.replace(tzinfo=today.tzinfo)
    midnight = today.replace(hour=0, minute=0, second=0, microsecond=0)
    for number in range(DAYS):
        day = midnight + timedelta(days=number)
        hours = (day + timedelta(days=1) - born).total_seconds() / 3600 - 1
        places = [place for place, start in enumerate(table.starts) if start <= hours]
        if places and hours < table.end:
            wet, stool = (table.columns[name][0][places[-1]] // table.scale for name in ("wet", "stool"))
            yield Expected(day, wet, stool)


def _in_use(pack: Pack, assessment: Assessment) -> StepTable | None:
    choices = {one.choice for one in assessment.settings}
    for name, table in pack.tables.items():
        counts = isinstance(table, StepTable) and {"wet", "stool"} <= table.columns.keys()
        if isinstance(table, StepTable) and counts and any(name.endswith(f"-{choice}") for choice in choices):
            return table
    return None
