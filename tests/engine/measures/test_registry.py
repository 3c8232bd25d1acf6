"""Every measure says what it takes, gives, in which unit, and from where."""

import pytest

from layette.engine.measures import REGISTRY
from layette.engine.measures.registry import Parameter, measure

NAMES = {
    "absolute_difference",
    "age",
    "age_days",
    "centile",
    "change_per_hour",
    "change_per_week",
    "corrected_age",
    "difference",
    "elapsed_days",
    "elapsed_hours",
    "expected_count",
    "feed_volume_per_day",
    "feed_volume_per_feed",
    "gain_per_day",
    "margin",
    "percent_lost",
    "postmenstrual_age",
    "size_for_gestation",
    "threshold",
    "zscore",
}


def test_the_measures_are_these():
    assert set(REGISTRY) == NAMES


@pytest.mark.parametrize("function", REGISTRY.values(), ids=lambda f: f.name)
def test_each_is_described(function):
    assert function.source
    assert function.function.__doc__
    assert function.unit or function.gives == "category"
    assert all(p.unit for p in function.takes if p.kind == "value")


def test_a_name_is_taken_once_and_parameters_must_be_the_functions():
    with pytest.raises(ValueError, match="name taken"):
        measure("age", takes=(), unit="h", source="-")(lambda: None)
    with pytest.raises(ValueError, match="parameters differ"):
        measure("new", takes=(Parameter("a", "value"),), unit="h", source="-")(lambda b: None)
    with pytest.raises(TypeError):
        REGISTRY["new"] = None
