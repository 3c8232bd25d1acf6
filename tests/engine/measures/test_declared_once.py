"""A measure that is declared is known to the checker of packs, the binder of visits and the grammar page at once."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from support.small_pack import Edit, copied, rule, visit

from layette.engine import PackError, load_pack
from layette.engine.exact.arithmetic import divide, multiply
from layette.engine.exact.interval import Interval
from layette.engine.measures import REGISTRY, registry
from layette.engine.measures.input_kinds import VISIT, AgeAt, AmountOfTime, Of

NAME = "weight_by_age"
MORE = "more: {compute: weight_by_age, label: More, of: weight, over: 2 d}\n"


@pytest.fixture(autouse=True)
def declared() -> Iterator[None]:
    """Declare a measure that nobody needs, for the time of one test."""

    @registry.measure(
        NAME,
        inputs=[Of("of", "g"), AgeAt(VISIT, "h"), AmountOfTime("over", "h")],
        unit="g",
        says="weight that came in so many hours, were it even",
        source="nobody",
        basis="{of} over {over}",
    )
    def weight_by_age(of: Interval, age_h: Interval, over_h: Interval) -> Interval:
        """Return a number that means nothing."""
        return multiply(divide(of, age_h), over_h)

    yield
    del registry._FUNCTIONS[NAME]


def pack_with(place: Path, entry: str, *more: Edit) -> Path:
    return copied(place, ("measures.yaml", "", entry), *more)


def test_the_binder_computes_it_and_rules_test_it(tmp_path: Path) -> None:
    bound = rule("- id: exam.more\n  when: {more: {at_least: 1.4 kg}}")
    pack = load_pack(pack_with(tmp_path, MORE, bound))
    found = pack.assess(visit({"weight": {"value": 3, "unit": "kg"}}), readers=["native"])
    (measured,) = [one for one in found.measures if one.id == "more"]
    assert Fraction(measured.low or "") == Fraction(measured.high or "") == Fraction("1469.4")
    assert (measured.unit, measured.basis, measured.time) == ("g", "weight over 2 d", None)
    assert [used.subject for used in measured.derived_from] == ["weight"]
    assert next(one.status for one in found.trace if one.rule == "exam.more") == "fired"
    nothing = pack.assess(visit(), readers=["native"])
    assert next(one.status for one in nothing.trace if one.rule == "exam.more") == "undecided"
    assert [one for one in nothing.measures if one.id == "more"] == []


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (MORE.replace(", over: 2 d", ""), "'weight_by_age' needs 'over'"),
        (MORE.replace("over: 2 d", "over: 2 d, under: 3"), "'weight_by_age' takes no 'under'"),
        (MORE.replace("of: weight", "of: wight"), "no finding or measure 'wight'"),
        (
            MORE.replace("of: weight", "of: serum_bilirubin"),
            "'mg/dL' (mass in a volume) cannot be turned into 'g' (mass)",
        ),
        (MORE.replace("2 d", "2 mo"), "'2 mo' is not an amount of elapsed time such as '24 h' (s, min, h, d, wk)"),
        (MORE.replace("of: weight", "of: more"), "the measure 'more' depends on itself"),
    ],
)
def test_the_checker_reads_its_keys(entry: str, says: str, tmp_path: Path) -> None:
    with pytest.raises(PackError) as caught:
        load_pack(pack_with(tmp_path, entry))
    assert [problem.message for problem in caught.value.problems] == [says]


def test_the_page_has_to_show_it() -> None:
    told = "weight that came in so many hours, were it even"
    assert REGISTRY[NAME].grammar_row == f"| `{NAME}` | `of`, `over` | {told} | `g` |"
