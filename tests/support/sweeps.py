"""Long sweeps: what a run takes of them, and the cases that stand for all.

`pytest --whole-sweeps` takes all of each; a plain run takes what is named here, the same each time.
"""

from __future__ import annotations

from functools import cache
from heapq import heapify, heappop, heappush

import pytest

from layette.engine.api import load_pack
from layette.engine.cases.cases import Case, read_cases
from layette.engine.errors import InputError

WHOLE = "--whole-sweeps"


def whole(request: pytest.FixtureRequest) -> bool:
    """Whether this run takes all of each sweep."""
    return bool(request.config.getoption(WHOLE))


@cache
def every_case() -> list[Case]:
    """Return every worked case of the shipped pack."""
    cases, problems = read_cases(load_pack())
    assert not problems
    return cases


@cache
def cases_that_show_each_rule() -> list[Case]:
    """Return so many cases that every rule which some case shows fired or provisional is so in one of these.

    The next one is always that which shows most rules that none before it shows.
    """
    stand = standing()
    awaited = set[int]().union(*stand)
    chosen = list[int]()
    heap = [(-len(rules), number) for number, rules in enumerate(stand)]
    heapify(heap)
    while awaited:
        before, number = heappop(heap)
        new = len(stand[number] & awaited)
        if new < -before:  # others have shown some of its rules since; another case may show more by now
            heappush(heap, (-new, number))
        else:
            chosen.append(number)
            awaited -= stand[number]
    return [every_case()[number] for number in sorted(chosen)]


@cache
def standing() -> list[frozenset[int]]:
    """Return for each case the numbers of the rules that are fired or provisional; none where it cannot be read."""
    return [_standing(case) for case in every_case()]


def _standing(case: Case) -> frozenset[int]:
    pack = load_pack()
    try:
        return frozenset(pack.decide(pack.read_visit(case.shape.given), ["native"]).standing)
    except InputError:
        return frozenset()
