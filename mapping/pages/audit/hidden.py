"""Which counts are not shown, so that no small one can be read off or computed from the others.

A small count is hidden, and then others with it, until no sum gives a hidden one away: the sums of a table are
equations, the hidden counts their unknowns, and none of these may be determined. No hidden count is 0, so that an
unknown which the equations leave open is open among counts as well. Where the hidden parts of a shown sum would
together be small, one more is hidden.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from fractions import Fraction

Key = tuple[str, ...]
Sum = tuple[Key, tuple[Key, ...]]
"""A count, and those that it is the sum of."""


def hidden(counts: Mapping[Key, int], sums: Sequence[Sum], least: int, known: Collection[Key] = ()) -> frozenset[Key]:
    """Return the keys of the counts that are not to be shown.

    ``counts`` has every count of ``sums``, also those that nobody prints but that follow from what is printed.
    ``least``: the smallest count that may be shown, but for 0. ``known``: counts that are shown elsewhere.
    """
    held = {key for key, count in counts.items() if 0 < count < least and key not in known}
    free = {key for key, count in counts.items() if count and key not in known}
    touching: dict[Key, list[Sum]] = {}
    for one in sums:
        for key in (one[0], *one[1]):
            touching.setdefault(key, []).append(one)
    while True:
        wanting = list(_wanting(counts, sums, held, least)) or [(key,) for key in determined(sums, held)]
        more = {_next(counts, keys, touching, free - held) for keys in wanting} - {None}
        if not wanting:
            return frozenset(held)
        if not more:  # Nothing is left to hide it behind: nothing of this table is shown.
            return frozenset(free)
        held |= {key for key in more if key is not None}


def _wanting(counts: Mapping[Key, int], sums: Sequence[Sum], held: set[Key], least: int) -> Iterator[tuple[Key, ...]]:
    """Yield the members of each sum that by itself gives a hidden count away, or nearly."""
    for total, parts in sums:
        of_parts = [key for key in parts if key in held]
        alone = len(of_parts) + (total in held) == 1
        if alone or (of_parts and total not in held and sum(counts[key] for key in of_parts) < least):
            yield (total, *parts) if total in held else parts


def _next(
    counts: Mapping[Key, int], keys: Sequence[Key], touching: Mapping[Key, Sequence[Sum]], free: set[Key]
) -> Key | None:
    """Return the smallest count that can be hidden: of these, else of the sums that touch them, else of all."""
    near = [key for key in keys if key in free]
    if not near:
        around = (one for key in keys for one in touching.get(key, ()))
        near = [key for total, parts in around for key in (total, *parts) if key in free]
    return min(near or free, key=lambda key: (counts[key], key), default=None)


def determined(sums: Sequence[Sum], held: Collection[Key]) -> list[Key]:
    """Return the hidden counts that the sums and what is shown determine: by elimination, exactly."""
    solved: dict[Key, dict[Key, Fraction]] = {}
    for total, parts in sums:
        row = {key: Fraction(1) for key in parts if key in held}
        if total in held:
            row[total] = Fraction(-1)
        for pivot in [key for key in row if key in solved]:
            _take(row, pivot, solved[pivot])
        if row:
            pivot = min(row)
            scale = row[pivot]
            row = {key: value / scale for key, value in row.items()}
            for other in solved.values():
                _take(other, pivot, row)
            solved[pivot] = row
    return sorted(pivot for pivot, row in solved.items() if len(row) == 1)


def _take(row: dict[Key, Fraction], pivot: Key, other: Mapping[Key, Fraction]) -> None:
    """Take from a row as much of another one as clears it of that one's pivot."""
    factor = row.get(pivot)
    if factor is None:
        return
    for key, value in other.items():
        left = row.get(key, Fraction(0)) - factor * value
        if left:
            row[key] = left
        else:
            row.pop(key, None)
