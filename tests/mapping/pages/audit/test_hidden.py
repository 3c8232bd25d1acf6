"""No count that is hidden can be computed from what is shown, whatever the table."""

from __future__ import annotations

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from layette.mapping.pages.audit.counted import ALL, BECAME, COLUMNS, Counts
from layette.mapping.pages.audit.hidden import Key, Sum, determined, hidden

LEAST = 11
number = st.one_of(st.integers(0, 12), st.integers(0, 400))
cell = st.lists(number, min_size=5, max_size=5)
tables = st.dictionaries(
    st.tuples(st.sampled_from("ABCD"), st.sampled_from(["2026-01", "2026-02", "2026-03"]), st.sampled_from("xy")),
    cell, min_size=1, max_size=12,
)  # fmt: skip


def made(cells: dict[tuple[str, str, str], list[int]], more: list[int]) -> Counts:
    one = Counts("rule")
    for (clinic, month, birth), (open_still, *became) in cells.items():
        judged = sum(became)
        numbers = (open_still + judged, open_still, judged, *became)
        one.add({"clinic": clinic, "month": month, "birth_group": birth}, numbers)
    one.close()
    fired = one.counts[(*ALL, "due")] + more[0]
    applies = fired + more[1] + more[2]
    one.answered(applies + more[3], applies, (fired, more[1], more[2]))
    return one


@settings(max_examples=150, deadline=None)
@given(tables, st.lists(number, min_size=4, max_size=4))
def test_no_hidden_count_is_determined_by_what_is_shown(
    cells: dict[tuple[str, str, str], list[int]], more: list[int]
) -> None:
    one = made(cells, more)
    held = hidden(one.counts, one.sums, LEAST, known=[("visits",)])
    small = {key for key, count in one.counts.items() if 0 < count < LEAST} - {("visits",)}
    assert small <= held
    assert all(one.counts[key] for key in held)
    if held != {key for key, count in one.counts.items() if count} - {("visits",)}:
        assert determined(one.sums, held) == []
        for total, parts in one.sums:
            gone = [one.counts[key] for key in parts if key in held]
            assert total in held or not gone or (len(gone) > 1 and sum(gone) >= LEAST)


def worlds(counts: dict[Key, int], sums: list[Sum], held: frozenset[Key], parts: list[Key]) -> list[dict[Key, int]]:
    """Return all tables of counts that agree with what is shown, by trying: without the equations of the code."""
    top = max(counts.values())
    free = [key for key in parts if key in held]
    found = []
    for tried in product(range(top + 1), repeat=len(free)):
        world = {**counts, **dict(zip(free, tried, strict=True))}
        for total, of in reversed(sums):
            if total in held:
                world[total] = sum(world[key] for key in of)
        if all(world[total] == sum(world[key] for key in of) for total, of in sums):
            found.append(world)
    return found


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 5), min_size=4, max_size=4))
def test_two_worlds_at_least_agree_with_what_is_shown(given_cells: list[int]) -> None:
    """Two clinics, two outcomes, all margins; counts below 3 are hidden."""
    inner = [("A", "x"), ("A", "y"), ("B", "x"), ("B", "y")]
    counts: dict[Key, int] = dict(zip(inner, given_cells, strict=True))
    sums: list[Sum] = [(("all",), (("A",), ("B",))), (("all",), (("x",), ("y",)))]
    sums += [((c,), ((c, "x"), (c, "y"))) for c in "AB"] + [((o,), (("A", o), ("B", o))) for o in "xy"]
    for total, parts in reversed(sums):
        counts[total] = sum(counts[key] for key in parts)
    held = hidden(counts, sums, 3)
    possible = worlds(counts, sums, held, inner)
    for key in held:
        assert len({world[key] for world in possible}) > 1, (key, counts, held)


def test_a_bridge_between_two_loops_gives_nothing_away() -> None:
    """Each sum has two hidden parts or more, and still one of them is determined: elimination sees it."""
    rows = {"a": "pq", "b": "pqr", "c": "rst", "d": "st"}
    sums: list[Sum] = [((row,), tuple((row, column) for column in columns)) for row, columns in rows.items()]
    sums += [((col,), tuple((row, col) for row, of in rows.items() if col in of)) for col in "pqrst"]
    held = {key for _, parts in sums for key in parts}
    assert min(len(parts) for _, parts in sums) > 1
    assert determined(sums, held) == [("b", "r"), ("c", "r")]


def test_nothing_is_hidden_where_every_count_may_be_shown() -> None:
    one = made({("A", "2026-01", "x"): [1, 2, 0, 3, 1]}, [1, 1, 1, 1])
    assert hidden(one.counts, one.sums, 1) == frozenset()
    assert len(COLUMNS) == len(BECAME) + 3
