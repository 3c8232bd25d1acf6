"""Every visit is read twice, on every Python; a reader that is not there is refused."""

from __future__ import annotations

import pytest
from support.small_pack import small, visit

from layette.engine.logic import readers
from layette.engine.logic.readers import build, usual
from layette.engine.logic.rete import rete_available

TWICE = "conditions read twice; measures and resolution once"
RUN_HERE = ["native", "closures", "reference", *(["rete"] if rete_available() else [])]
EMERGENCY = visit({"red_reflex.left": "white", "temperature": {"value": 38.5, "unit": "Cel"}})


@pytest.fixture
def no_rete(monkeypatch: pytest.MonkeyPatch) -> None:
    """A Python on which durable-rules is not installed."""
    monkeypatch.setattr(readers, "rete_available", lambda: False)


def test_rete_is_the_second_reader_where_it_runs() -> None:
    assert usual() == ("native", "rete" if rete_available() else "closures")


@pytest.mark.usefixtures("no_rete")
def test_without_it_closures_are_and_the_answer_says_so() -> None:
    assert usual() == ("native", "closures")
    found = small().assess(EMERGENCY)
    assert (found.readers, found.read) == (("native", "closures"), TWICE)
    assert found.recommendations[0].priority == "stat"


@pytest.mark.usefixtures("no_rete")
def test_a_reader_that_cannot_run_here_is_refused() -> None:
    with pytest.raises(ValueError, match=r"no reader 'rete' here; 'rete' needs durable-rules \(Python below 3.13\)"):
        build("rete", small().program)


@pytest.mark.parametrize("name", RUN_HERE)
def test_a_reader_has_the_name_by_which_it_is_asked_for_and_is_kept(name: str) -> None:
    (reader,) = small().readers([name])
    assert reader.name == name
    assert small().readers([name])[0] is reader


@pytest.mark.parametrize("name", RUN_HERE)
def test_each_reader_gives_the_same_answer_as_the_usual_two(name: str) -> None:
    both, alone = small().assess(EMERGENCY), small().assess(EMERGENCY, readers=[name])
    assert (both.read, alone.read, alone.readers) == (TWICE, "read once", (name,))
    assert alone.model_copy(update={"readers": both.readers, "read": both.read}) == both
