"""Variables, cells and masks: every number is compared once, exactly."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.seeds import fractions

from layette.engine.pack.written.views import VariableTable, View, cell, cell_names, run, show

numbers = fractions(-50, 50, 20)
cut_lists = st.sets(numbers, min_size=1, max_size=5).map(lambda s: tuple(sorted(s)))


@given(cuts=cut_lists, value=numbers)
def test_a_cell_is_a_cut_or_the_space_between_two(cuts: tuple[Fraction, ...], value: Fraction) -> None:
    k = cell(cuts, value)
    if k % 2:
        assert cuts[k // 2] == value
    else:
        assert k == 0 or cuts[k // 2 - 1] < value
        assert k == 2 * len(cuts) or value < cuts[k // 2]
    assert len(cell_names(cuts)) == 2 * len(cuts) + 1


@given(cuts=cut_lists, value=numbers, data=st.data())
def test_bounds_become_the_cells_that_satisfy_them(
    cuts: tuple[Fraction, ...], value: Fraction, data: st.DataObject
) -> None:
    low, high = data.draw(st.sampled_from((None, *cuts))), data.draw(st.sampled_from((None, *cuts)))
    low_in, high_in = data.draw(st.booleans()), data.draw(st.booleans())
    table = VariableTable()
    var = table.number(View("weight"))
    lo, hi = (None if low is None else (low, low_in)), (None if high is None else (high, high_in))
    for cut in cuts:
        assert table.cells_mask(var, (cut, True), None) == 0
    table.freeze()
    holds = (low is None or value > low or (low_in and value == low)) and (
        high is None or value < high or (high_in and value == high)
    )
    assert table.place(var, value.numerator, value.denominator) == cell(table.cuts(var), value)
    assert bool(table.cells_mask(var, lo, hi) >> (cell(cuts, value) + 1) & 1) == holds
    assert table.cells_mask(var, lo, hi) & 1 == 0, "does not apply is no number"


@given(first=st.integers(0, 20), last=st.integers(-1, 20))
def test_a_run_has_the_bits_from_first_to_last(first: int, last: int) -> None:
    assert run(first, last) == sum(1 << k for k in range(first, last + 1))


def test_a_view_that_looks_at_the_same_thing_is_one_variable() -> None:
    table = VariableTable()
    assert table.number(View("weight")) == table.number(View("weight", pick="latest"))
    assert table.number(View("weight")) != table.number(View("weight", pick="highest"))
    assert table.find(View("length")) is None


def test_no_two_views_have_one_key() -> None:
    views = [
        View("weight"), View("weight", side="left"), View("weight", attempt=1), View("weight", attempt=1, part="hand"),
        View("weight", pick="highest"), View("weight", pick="highest", over=3600), View("weight", what="age"),
        View("weight", what="recorded"), View("weight", qualifier="route"), View("weight", what="among", accept=("a",)),
        View("weight", what="among", accept=("a", "b")), View("weight", what="beyond", line="x"),
        View("weight", what="beyond", line="x", less=Fraction(2)), View("weight", pick="earlier", what="since"),
    ]  # fmt: skip
    assert len({view.key for view in views}) == len(views)


def test_the_first_atom_of_a_finding_is_that_it_does_not_apply_and_a_flag_has_none() -> None:
    table = VariableTable()
    category, flag = table.category(View("cry"), ("weak", "strong")), table.flag(View("unwell"))
    table.freeze()
    assert table.variables()[category].atoms == ("does not apply", "weak", "strong")
    assert table.variables()[flag].atoms == ("no", "yes")
    assert table.values_mask(category, ["weak"]) == 0b010
    assert table.values_mask(flag, ["yes"]) == 0b10
    with pytest.raises(KeyError):
        table.values_mask(category, ["loud"])


def test_cells_have_names_for_people() -> None:
    assert cell_names((Fraction(7), Fraction(10))) == ("below 7", "exactly 7", "7 to 10", "exactly 10", "over 10")
    assert cell_names(()) == ("any number",)
    assert show(Fraction(1, 2)) == "0.5"
