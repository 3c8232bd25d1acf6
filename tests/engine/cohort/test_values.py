"""The value of a view says all that is known of it, in words that any pack can cut into its own cells."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.seeds import fractions
from support.sweeps import every_case

from layette.engine.api import load_pack
from layette.engine.cohort.meaning import Meanings
from layette.engine.cohort.values import ValueReader, number, state_of, written
from layette.engine.exact.ranges import Range
from layette.engine.states.facts import Facts
from layette.engine.states.plan import StatesPlan

FRACTIONS = fractions(-1000, 1000, 400)


@given(FRACTIONS | st.none(), FRACTIONS | st.none(), st.booleans(), st.booleans())
def test_a_range_that_is_written_is_read_again(
    low: Fraction | None, high: Fraction | None, low_open: bool, high_open: bool
) -> None:
    if low is not None and high is not None and low > high:
        low, high = high, low
    if low is not None and low == high:
        low_open = high_open = False
    found = Range(low, high, low_open and low is not None, high_open and high is not None)
    assert number(written(found)) == found


def test_values_of_the_worked_cases_give_the_states_that_they_were_made_of() -> None:
    pack = load_pack()
    reader, plan = ValueReader(pack), StatesPlan(pack, everything=True)
    told = 0
    for case in every_case():
        visit = pack.visit_reader().attempt(case.shape.given)
        if visit is None:
            continue
        found = reader.read(visit)
        assert found.given == tuple(Facts(plan, visit, {**plan.choices, **visit.settings}).states)
        assert found.whole is bool(visit.settings), case.label
        values = dict(zip(found.known, found.values, strict=True))
        for var, state in enumerate(found.given):
            assert state == (state_of(values[var], var, pack) if var in values else pack.program.full[var])
        told += len(values)
    assert told > 10_000


@pytest.mark.parametrize(
    ("temperature", "value", "highest"),
    [
        ({"value": 38.4, "unit": "Cel"}, "192/5", "192/5"),
        ({"value": {"more_than": 38}, "unit": "Cel"}, "(38;)", "(38;)"),
        ({"value": {"between": [37, 39]}, "unit": "Cel"}, "[37;39]", "[37;39]"),
        ([{"value": 39, "unit": "Cel", "age": "90 h"}, {"value": 37, "unit": "Cel", "age": "91 h"}], "37", "39"),
        ([{"value": {"at_most": 39}, "unit": "Cel", "age": "90 h"}, {"value": 37, "unit": "Cel", "age": "91 h"}],
         "37", "[37;39]"),
        ({"absent": "not-performed"}, None, None),
    ],
)  # fmt: skip
def test_numbers_are_written_exactly(temperature: object, value: str | None, highest: str | None) -> None:
    pack = load_pack()
    flat = {"born": "2026-05-01T08:00:00+00:00", "at": "2026-05-05T06:00:00+00:00", "findings": {}}
    visit = pack.read_visit(flat | {"findings": {"temperature": temperature}})
    read = ValueReader(pack).read(visit)
    values = dict(zip(read.known, read.values, strict=True))
    found = {entry.view.key: values.get(var) for var, entry in enumerate(pack.table.entries)}
    assert found["temperature"] == value
    over_a_day = [key for key in found if key.startswith("temperature.highest") and "value" not in key]
    assert {found[key] for key in over_a_day} == {highest}


def test_a_pack_means_the_same_as_itself_and_other_choices_change_what_hangs_on_them() -> None:
    pack = load_pack()
    own = Meanings(StatesPlan(pack)).all()
    assert own == Meanings(StatesPlan(pack, everything=True)).all()
    assert len({*own}) == len(pack.table.entries)
    plan = StatesPlan(pack)
    plan.__dict__["choices"] = {**plan.choices, "bilirubin_set": "another"}
    changed = {key for key, digest in Meanings(plan).all().items() if own[key] != digest}
    assert "temperature" not in changed
    assert any(key.startswith("serum_bilirubin") for key in changed)
