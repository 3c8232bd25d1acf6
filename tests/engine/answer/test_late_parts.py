"""What is made late is the same as what is made at once, however somebody looks at it."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable

import pytest
from pydantic import ValidationError

from layette.engine.answer.shapes.part import known, later
from layette.engine.answer.shapes.proposed import Citation, Reason, Recommendation, Used, Window

USED = Used(subject="temperature", label="Temperature", value="38.4 Cel", time="2026-11-28T09:00:00+00:00")
CITED = Citation(id="somewhere", text="A text", kind="from-memory")


def at_once() -> Reason:
    return Reason(rule="a.rule", title="A", because="So.", status="fired", values=(USED,), sources=(CITED,))


def made_late(made: list[str]) -> Reason:
    def values() -> tuple[Used, ...]:
        made.append("values")
        return (USED,)

    return known(Reason)(
        rule="a.rule", title="A", because="So.", status="fired", values=later(values), sources=(CITED,)
    )


LOOKS: dict[str, Callable[[Reason], object]] = {
    "by name": lambda reason: reason.values,
    "as JSON": lambda reason: reason.model_dump_json(),
    "as a dict": lambda reason: reason.model_dump(),
    "printed": repr,
    "hashed": hash,
    "its fields in order": lambda reason: dict(reason),
    "copied with another title": lambda reason: reason.model_copy(update={"title": "B"}).model_dump(),
    "copied": lambda reason: copy.copy(reason).model_dump(),
    "deeply copied": lambda reason: copy.deepcopy(reason).model_dump(),
    "pickled": lambda reason: pickle.loads(pickle.dumps(reason)).model_dump(),
    "inside another part": lambda reason: holding(reason).model_dump_json(),
}


def holding(reason: Reason) -> Recommendation:
    return Recommendation(
        target="a_target", kind="order", label="A", priority="stat", certain="stat", possible="stat",
        window=Window(text="now"), reasons=(reason,), episode="once", request_key="r", answer_key="a",
    )  # fmt: skip


@pytest.mark.parametrize("look", LOOKS)
def test_however_somebody_looks_it_is_the_same(look: str) -> None:
    assert LOOKS[look](made_late([])) == LOOKS[look](at_once())


def test_equal_whoever_made_it() -> None:
    assert made_late([]) == at_once()
    assert at_once() == made_late([])
    assert made_late([]) != at_once().model_copy(update={"values": ()})


def test_it_is_made_once_and_only_when_somebody_looks() -> None:
    made: list[str] = []
    reason = made_late(made)
    assert (reason.rule, made) == ("a.rule", [])
    assert reason.values == reason.values == (USED,)
    assert reason.model_dump()["values"]
    assert made == ["values"]


def test_it_is_as_frozen_as_any_part() -> None:
    reason = made_late([])
    with pytest.raises(ValidationError, match="frozen"):
        reason.values = ()  # type: ignore[misc]
    with pytest.raises(ValidationError, match="frozen"):
        reason.title = "B"  # type: ignore[misc]


def test_what_comes_from_outside_is_still_checked() -> None:
    read = Reason.model_validate_json(at_once().model_dump_json())
    assert read == at_once()
    with pytest.raises(ValidationError, match="values"):
        Reason.model_validate({**at_once().model_dump(), "values": "38.4"})


def test_defaults_stand_in_the_order_of_the_class() -> None:
    told = known(Recommendation)(
        answer_key="a", request_key="r", episode="once", reasons=(), window=Window(text="now"), possible="stat",
        certain=None, priority="stat", label="A", kind="order", target="a_target",
    )  # fmt: skip
    assert list(told.model_dump()) == list(Recommendation.model_fields)
    assert told.plain == {}
    assert told.plain is not known(Recommendation)(**dict(told) | {"plain": {}}).plain
