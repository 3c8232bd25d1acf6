"""Two readings that differ are refused, with both answers and the highest priority of either."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from support.program_strategies import NOTHING, flag, rule

from layette.engine.errors import ReadersDisagree
from layette.engine.logic.agree import read_twice
from layette.engine.logic.conditions import Among, Status
from layette.engine.logic.native import NativeReader
from layette.engine.logic.program import NO, YES, Program, Reader, Reading
from layette.engine.logic.reference import ReferenceReader
from layette.engine.logic.rete import ReteReader, rete_available

VARIABLES = (flag("jaundice"), flag("fever"), flag("unwell"))
FULL = [v.full for v in VARIABLES]
PROGRAM = Program(
    VARIABLES,
    (
        rule(0, NOTHING, Among(0, YES), FULL, concludes=(2,)),
        rule(1, NOTHING, Among(1, YES), FULL),
        rule(2, NOTHING, Among(2, YES), FULL),
    ),
    conclusions=(2,),
)
PRIORITIES = ("routine", "stat", None)
VISIT = [YES, NO, YES | NO]


class Faulty(NativeReader):
    """A reader that answers one rule wrongly."""

    name = "faulty"

    def __init__(self, program: Program, wrong: int, status: Status) -> None:
        super().__init__(program)
        self._wrong, self._status = wrong, status

    def read(self, states: Sequence[int]) -> Reading:
        right = super().read(states)
        statuses = list(right.statuses)
        statuses[self._wrong] = self._status
        return Reading(tuple(statuses), right.states)


class Forgetful(NativeReader):
    """A reader that loses a conclusion."""

    name = "forgetful"

    def read(self, states: Sequence[int]) -> Reading:
        right = super().read(states)
        return Reading(right.statuses, (*right.states[:2], NO))


def test_readers_that_agree_give_the_first_ones_reading() -> None:
    readers: list[Reader] = [NativeReader(PROGRAM), ReferenceReader(PROGRAM)]
    if rete_available():
        readers.append(ReteReader(PROGRAM))
    reading = read_twice(readers, PROGRAM, VISIT, PRIORITIES)
    assert reading.statuses == (Status.FIRED, Status.RULED_OUT, Status.FIRED)
    assert reading.states == (YES, NO, YES)


def test_one_reader_alone_is_enough() -> None:
    assert read_twice([NativeReader(PROGRAM)], PROGRAM, VISIT, PRIORITIES) == NativeReader(PROGRAM).read(VISIT)


@pytest.mark.parametrize("wrong_first", [True, False])
def test_an_emergency_that_one_reader_invents_is_shown_with_both_answers(wrong_first: bool) -> None:
    readers: list[Reader] = [NativeReader(PROGRAM), Faulty(PROGRAM, 1, Status.FIRED)]
    with pytest.raises(ReadersDisagree) as caught:
        read_twice(readers[::-1] if wrong_first else readers, PROGRAM, VISIT, PRIORITIES)
    assert caught.value.answers == {"native": {"r1": "ruled out"}, "faulty": {"r1": "fired"}}
    assert caught.value.highest == "stat"
    assert "native: r1 ruled out" in str(caught.value)
    assert "the highest priority of either is stat" in str(caught.value)


def test_an_emergency_that_one_reader_misses_is_shown() -> None:
    with pytest.raises(ReadersDisagree) as caught:
        _read_with(Faulty(PROGRAM, 1, Status.RULED_OUT), [NO, YES, YES | NO])
    assert caught.value.highest == "stat"


def test_a_provisional_rule_counts_and_an_undecided_one_does_not() -> None:
    with pytest.raises(ReadersDisagree) as caught:
        _read_with(Faulty(PROGRAM, 1, Status.PROVISIONAL), VISIT)
    assert caught.value.highest == "stat"
    with pytest.raises(ReadersDisagree) as caught:
        _read_with(Faulty(PROGRAM, 1, Status.UNDECIDED), [NO, NO, YES | NO])
    assert caught.value.highest is None


def test_a_rule_on_which_the_readers_agree_still_counts() -> None:
    """The disagreement is over a routine rule; the emergency that both see must not go silent."""
    with pytest.raises(ReadersDisagree) as caught:
        _read_with(Faulty(PROGRAM, 0, Status.RULED_OUT), [YES, YES, YES | NO])
    assert caught.value.highest == "stat"


def test_a_lost_conclusion_is_a_disagreement() -> None:
    with pytest.raises(ReadersDisagree) as caught:
        _read_with(Forgetful(PROGRAM), VISIT)
    assert caught.value.answers == {
        "native": {"conclusion unwell": "yes"},
        "forgetful": {"conclusion unwell": "no"},
    }


def _read_with(faulty: Reader, states: list[int]) -> None:
    read_twice([NativeReader(PROGRAM), faulty], PROGRAM, states, PRIORITIES)
