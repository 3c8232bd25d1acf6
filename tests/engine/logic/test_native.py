"""The generated reader gives the specification's answers."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from support.program_strategies import NOTHING, Programs, flag, programs, rule
from support.seeds import EACH

from layette.engine.logic.conditions import STATUSES, Among, Status
from layette.engine.logic.native import NativeReader
from layette.engine.logic.program import NO, YES, Program
from layette.engine.logic.reference import ReferenceReader


@settings(max_examples=2000 // EACH, deadline=None)
@given(programs())
def test_native_reads_as_the_reference(drawn: Programs) -> None:
    for program, states in drawn.with_visit():
        reader, wanted = NativeReader(program), ReferenceReader(program).read(states)
        assert reader.read(states) == wanted
        coded = reader.read_codes(states)
        statuses = tuple(STATUSES[code] for code in coded.statuses)
        assert (statuses, tuple(coded.states)) == (wanted.statuses, wanted.states)
        assert tuple(coded.standing) == reader.read(states).standing


@settings(max_examples=200 // EACH, deadline=None)
@given(programs())
def test_what_stands_is_exactly_what_fired_or_is_provisional(drawn: Programs) -> None:
    for program, states in drawn.with_visit():
        reading = ReferenceReader(program).read(states)
        found = NativeReader(program).read(states)
        assert found == reading
        stand = tuple(k for k, s in enumerate(reading.statuses) if s in (Status.FIRED, Status.PROVISIONAL))
        assert found.standing == stand


@settings(max_examples=100 // EACH, deadline=None)
@given(programs())
def test_generated_text_holds_no_name_from_the_pack(drawn: Programs) -> None:
    keywords = {"def", "read", "states", "statuses", "stands", "if", "else", "elif", "not", "and", "or", "return"}
    for program in drawn:
        words = set(re.findall(r"[A-Za-z_]\w*", NativeReader(program).source))
        assert all(w in keywords | {"True", "False", "F", "P", "U"} or re.fullmatch(r"[st]\d+", w) for w in words)


def test_an_empty_program_reads_nothing() -> None:
    assert NativeReader(Program((), ())).read([]) == ReferenceReader(Program((), ())).read([])


@pytest.mark.parametrize("reader", [NativeReader, ReferenceReader])
def test_the_given_states_are_left_alone(reader: type[NativeReader | ReferenceReader]) -> None:
    """What is concluded is filled into the reading, not into what the caller gave."""
    variables = (flag("fever"), flag("unwell"))
    full = [variable.full for variable in variables]
    rules = (rule(0, NOTHING, Among(0, YES), full, concludes=(1,)), rule(1, NOTHING, Among(1, YES), full))
    states = [YES, YES | NO]
    reading = reader(Program(variables, rules, conclusions=(1,))).read(states)
    assert reading.states == (YES, YES)
    assert states == [YES, YES | NO]


@settings(max_examples=200 // EACH, deadline=None)
@given(programs())
def test_no_reader_changes_the_states_of_any_program(drawn: Programs) -> None:
    for program, states in drawn.with_visit():
        given_states = list(states)
        NativeReader(program).read(states)
        assert states == given_states
