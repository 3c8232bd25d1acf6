"""Measures of a cohort in arrays, beside the same measures of one visit after another.

Every function is the one that a pack binds: given arrays, it answers for all visits at once. A fifth of the newborns
have a sex that is not known, a tenth a weight between two numbers. Figures are seconds of CPU of this process.

    .venv/bin/python tests/benchmarks/bench_measures.py --visits 200000
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from layette.engine.api import load_pack
from layette.engine.exact.interval import Interval
from layette.engine.measures.ages import age
from layette.engine.measures.change import change_per_hour, percent_lost
from layette.engine.measures.growth import centile, zscore

ALONE = 2_000
"""Visits that are measured one by one, for comparison."""


class Line(NamedTuple):
    """A measure, and what it is given: intervals, flags, and what all visits share."""

    says: str
    function: Callable[..., Interval]
    columns: Sequence[Any]
    shared: Sequence[Any] = ()


def lines(visits: int) -> list[Line]:
    """Return the measures with a cohort of invented numbers each."""
    many = Interval.from_integers
    rng, tables = np.random.default_rng(1), load_pack().tables
    grams = rng.integers(2200, 4600, visits)
    wide = np.where(rng.random(visits) < 0.1, rng.integers(1, 200, visits), 0)
    days, sex = rng.integers(0, 90, visits), rng.integers(0, 2, visits)
    unknown = np.where(rng.random(visits) < 0.2, -1, sex)
    weight, loose = many(grams, scale=1000), many(grams, grams + wide, scale=1000)
    table = tables["who-2006-weight"]
    later, earlier = (many(rng.integers(10, 200, visits), scale=10) for _ in range(2))
    born = rng.integers(10**9, 2 * 10**9, visits)
    visit = born + rng.integers(3600, 90 * 86400, visits)
    return [
        Line("z-score", zscore, (weight, sex, many(days)), (table,)),
        Line("z-score, 20 % of unknown sex", zscore, (weight, unknown, many(days)), (table,)),
        Line("z-score, both wide and unknown", zscore, (loose, unknown, many(days)), (table,)),
        Line("centile, 20 % of unknown sex", centile, (weight, unknown, many(days)), (table,)),
        Line("loss of birth weight", percent_lost, (loose, many(grams + 200, scale=1000))),
        Line("rise of bilirubin an hour", change_per_hour, (later, earlier, many(days + 6))),
        Line("age in hours", age, (many(visit), many(born))),
    ]


def timed(act: Callable[[], Any], times: int = 1) -> tuple[float, Any]:
    """Return the seconds of CPU of the quickest of some runs, and what it gave."""
    best, found = float("inf"), None
    for _ in range(times):
        begun = time.process_time()
        found = act()
        best = min(best, time.process_time() - begun)
    return best, found


def one_by_one(line: Line, visits: int) -> list[list[Any]]:
    """Return the arguments of the first visits, each alone."""
    columns = [
        column[:visits].tolist()
        if isinstance(column, np.ndarray)
        else [Interval.one(*span) for span in column.spans()[:visits]]
        for column in line.columns
    ]
    return [[*row, *line.shared] for row in zip(*columns, strict=True)]


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--visits", type=int, default=200_000)
    visits = parser.parse_args().visits
    for line in lines(visits):
        took, found = timed(lambda line=line: line.function(*line.columns, *line.shared), 3)
        rows = one_by_one(line, ALONE)
        alone, told = timed(lambda line=line, rows=rows: [line.function(*row) for row in rows])
        differ = sum(a.span() != b for a, b in zip(told, found.spans()[:ALONE], strict=True))
        each, slow = took / visits * 1e6, alone / ALONE * 1e6
        print(
            f"{line.says:<32}{each:7.3f} us a visit; one by one {slow:7.2f}: {slow / each:5.0f} times; {differ} differ"
        )


if __name__ == "__main__":
    main()
