"""What was due at visits read together is what is due at each by itself; months are those of the calendar."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from datetime import timedelta, timezone
from itertools import cycle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.asked_again import again, timed
from support.feeds.flat import Flat
from support.sweeps import cases_that_show_each_rule

from layette.engine.api import load_pack
from layette.engine.cohort import many
from layette.engine.cohort.due import DueAt, due_at
from layette.engine.cohort.many import DueOfMany
from layette.engine.cohort.spans import months_later
from layette.engine.errors import InputError
from layette.engine.exact.times import plus_months
from layette.engine.logic.native import NativeReader
from layette.engine.terms import ASKED
from layette.engine.visit.visit import Visit

_SECONDS = st.integers(-2_000_000_000, 7_000_000_000)


@given(st.lists(st.tuples(_SECONDS, st.integers(-14 * 60, 14 * 60)), max_size=20), st.integers(0, 40))
def test_months_in_columns_are_those_of_the_calendar(moments: list[tuple[int, int]], months: int) -> None:
    seconds, minutes = (np.array([one[k] for one in moments], np.int64) for k in (0, 1))
    found = months_later(seconds, months, minutes * 60)
    zones = [timezone(timedelta(minutes=one)) for _, one in moments]
    assert found.tolist() == [plus_months(at, months, zone) for (at, _), zone in zip(moments, zones, strict=True)]


@pytest.fixture(scope="module")
def visits() -> list[Visit]:
    """Worked cases, and every third of them asked again when what it proposed was ordered."""
    found = []
    for k, case in enumerate(cases_that_show_each_rule()[::9]):
        for flat in (case.shape.given, *(_ordered(case.shape.given) if k % 3 == 0 else ())):
            with suppress(InputError):
                found.append(load_pack().read_visit(flat))
    return found


def _ordered(flat: Flat) -> Iterator[Flat]:
    """Yield a visit some time later, with orders of every status for what it proposed."""
    try:
        found = load_pack().assess(timed(flat), readers=["native"])
    except InputError:
        return
    statuses = cycle(("active", "completed", "revoked", "on-hold"))
    orders = [
        {"target": one.target, "side": one.side or "", "status": next(statuses), "priority": one.priority,
         "time": found.at, "reference": f"ServiceRequest/{k}"}
        for k, one in enumerate(found.recommendations) if one.kind in ASKED
    ]  # fmt: skip
    for later in ({"minutes": 10}, {"days": 2}, {"days": 9}):
        yield again(timed(flat), orders, **later)


def _due(visits: list[Visit], *, apart: bool) -> list[DueAt]:
    """Return what was due, plain visits told in columns, or each visit by the code of one visit."""
    pack = load_pack()
    [reader] = pack.readers(["native"])
    assert isinstance(reader, NativeReader)
    made = DueOfMany(pack.cohort.laid, [reader])
    for visit in visits:
        context, facts = pack.decide(visit, ["native"]), pack.cohort.values.read(visit).facts
        coded = reader.read_codes(facts.states)
        plain = None if apart else pack.cohort.plain.of(facts, coded, lambda context=context: context)
        made.add(visit, coded.statuses, due_at(context, [reader]) if plain is None else plain)
    due = made.made()
    assert due.visits == len(visits)
    return [due.at(k) for k in range(len(visits))]


def test_visits_together_are_due_what_the_code_of_one_visit_says(visits: list[Visit]) -> None:
    together, alone = _due(visits, apart=False), _due(visits, apart=True)
    assert sum(not one.added_worlds for one in alone) > len(visits) // 2
    assert sum(any(row.stood for row in one.rows) for one in alone) > 5
    assert sum(bool(one.to_chase) for one in alone) > 5
    for one, other in zip(together, alone, strict=True):
        assert one == other


def test_visits_are_due_the_same_in_any_company(visits: list[Visit], monkeypatch: pytest.MonkeyPatch) -> None:
    together = _due(visits, apart=False)
    monkeypatch.setattr(many, "_MOST_WEIGHING", 2)
    assert [_due([visit], apart=False)[0] for visit in visits[::7]] == together[::7]
    assert _due(visits[::-1], apart=False)[::-1] == together


def test_no_visit_is_due_nothing() -> None:
    assert _due([], apart=False) == []
