"""Long sweeps: what a run takes of them, and the cases that stand for all.

`pytest --whole-sweeps` takes all of each; a plain run takes what is named here, the same each time.
"""

from __future__ import annotations

from functools import cache

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

    Those in which most rules are so come first.
    """
    stand = [standing(case) for case in every_case()]
    chosen, shown = [], set[int]()
    for number in sorted(range(len(stand)), key=lambda number: -len(stand[number])):
        if not stand[number] <= shown:
            chosen.append(number)
            shown |= stand[number]
    return [every_case()[number] for number in sorted(chosen)]


def standing(case: Case) -> frozenset[int]:
    """Return the numbers of the rules that are fired or provisional in a case; none where it cannot be read."""
    pack = load_pack()
    try:
        return frozenset(pack.decide(pack.read_visit(case.shape.given), ["native"]).standing)
    except InputError:
        return frozenset()
