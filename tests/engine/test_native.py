"""The generated reader gives the specification's answers."""

from __future__ import annotations

import re

from hypothesis import given, settings
from program_strategies import programs, programs_with_visit

from layette.engine.conditions import State, Status
from layette.engine.native import NativeReader
from layette.engine.program import Program, ReferenceReader


@settings(max_examples=2000, deadline=None)
@given(programs_with_visit())
def test_native_reads_as_the_reference(drawn: tuple[Program, list[State]]) -> None:
    program, states = drawn
    assert NativeReader(program).read(states) == ReferenceReader(program).read(states)


@settings(max_examples=200, deadline=None)
@given(programs_with_visit())
def test_read_open_leaves_out_exactly_the_ruled_out(drawn: tuple[Program, list[State]]) -> None:
    program, states = drawn
    found, now = NativeReader(program).read_open(states)
    reading = ReferenceReader(program).read(states)
    assert found == [(k, s) for k, s in enumerate(reading.statuses) if s is not Status.RULED_OUT]
    assert now == reading.states


@settings(max_examples=100, deadline=None)
@given(programs())
def test_generated_text_holds_no_name_from_the_pack(program: Program) -> None:
    words = set(re.findall(r"[A-Za-z_]\w*", NativeReader(program).source))
    keywords = {"def", "read_open", "states", "found", "hit", "append", "if", "else", "elif", "not", "and", "or"}
    assert all(w in keywords | {"return", "True", "False"} or re.fullmatch(r"[sFPU]\d+", w) for w in words)


def test_an_empty_program_reads_nothing() -> None:
    assert NativeReader(Program((), ())).read([]) == ReferenceReader(Program((), ())).read([])


def test_the_given_states_are_left_alone() -> None:
    program = Program((), ())
    states: list[State] = []
    NativeReader(program).read(states)
    assert states == []
