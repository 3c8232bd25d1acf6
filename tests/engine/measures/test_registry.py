"""Every measure says what it takes, gives, in which unit, and from where. Which there are, the grammar page says."""

import pytest

from layette.engine.measures import REGISTRY
from layette.engine.measures.input_kinds import OF_TABLE, SAME, VISIT, AgeAt, Of, Pair
from layette.engine.measures.registry import measure


@pytest.mark.parametrize("function", REGISTRY.values(), ids=lambda f: f.name)
def test_each_is_described(function):
    assert function.source
    assert function.says
    assert function.function.__doc__
    assert function.unit or function.gives == "category"
    assert all(one.unit for one in function.of_kind(Of))


def test_a_name_is_taken_once_and_parameters_must_be_the_functions():
    with pytest.raises(ValueError, match="name taken"):
        measure("age", inputs=[], unit="h", says="-", source="-")(lambda: None)
    with pytest.raises(ValueError, match="parameters differ"):
        measure("new", inputs=[Of("a")], unit="h", says="-", source="-")(lambda b: None)
    with pytest.raises(TypeError):
        REGISTRY["new"] = None


def test_an_amount_of_time_says_its_unit_in_the_parameters_name():
    assert Of("gestation", "d").arguments == ("gestation_days",)
    assert AgeAt(VISIT, "h").arguments == ("age_h",)
    assert Pair("of", "kg", "d", "too close").arguments == ("later", "earlier", "elapsed_days")
    assert Of("from").arguments == ("from_",)


@pytest.mark.parametrize(
    ("inputs", "unit"),
    [
        ([Of("a", SAME), Of("b", "kg")], "h"),
        ([Of("a", "kg"), Of("b", "kg")], SAME),
        ([Of("a"), Of("b", "kg")], "h"),
        ([Of("a"), Of("b")], SAME),
        ([Of("a"), Of("b", SAME)], OF_TABLE),
    ],
)
def test_a_unit_is_shared_with_one_thing(inputs, unit):
    with pytest.raises(ValueError, match="a unit is shared with"):
        measure("new", inputs=inputs, unit=unit, says="-", source="-")(lambda a, b: None)
    assert "new" not in REGISTRY


def test_two_inputs_may_look_at_one_key():
    threshold, zscore = REGISTRY["threshold"], REGISTRY["zscore"]
    assert threshold.subjects == ("of", "gestation", "risk")
    assert zscore.subjects == ("of",)
    assert [key.name for key in threshold.keys.values() if not key.required] == ["risk"]
