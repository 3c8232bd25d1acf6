"""The first reader: one generated Python function for the whole program.

Most rules are ruled out on most visits, so a rule costs one short-circuited expression (`may`) and
only a rule that could still fire is asked whether it must. Such rules alone are written down; conclusions
live in local variables between the rules that conclude and those that use them.

The generated text holds integers and names made of integers only: nothing that an author wrote in a
pack reaches `compile`. It is kept in `NativeReader.source` for whoever wants to look.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from typing import NamedTuple

from layette.engine.logic.conditions import STATUSES, AllOf, AnyOf, Node, State, Status, variables
from layette.engine.logic.native_text import Wording
from layette.engine.logic.program import NO, YES, CompiledRule, Program, Reading

Generated = Callable[..., tuple[State, ...]]
"""From states, a list of statuses to fill in, and what collects rules that stand, to the states of conclusions."""


_CODES = tuple(STATUSES.index(status) for status in (Status.FIRED, Status.PROVISIONAL, Status.UNDECIDED))


class InCodes(NamedTuple):
    """What `Reading` tells, with the statuses as codes: a byte a rule."""

    statuses: bytearray
    states: list[State]
    standing: list[int]


class NativeReader:
    """A program as one compiled function; immutable, so threads may share it."""

    name = "native"

    def __init__(self, program: Program, known: Collection[int] = frozenset()) -> None:
        """Generate and compile the function for ``program``; the ``known`` variables are known at every visit."""
        self.program = program
        self.source = "\n".join(_lines(program, known)) + "\n"
        names: dict[str, object] = {}
        exec(compile(self.source, "<layette rules>", "exec"), names)
        self._read: Generated = names["read"]  # type: ignore[assignment]
        self._all_ruled_out = [Status.RULED_OUT] * len(program.rules)

    def read(self, states: Sequence[State]) -> Reading:
        """Return the status of each rule; see `Reader`."""
        statuses, standing = self._all_ruled_out.copy(), []  # type: list[Status], list[int]
        marks = Status.FIRED, Status.PROVISIONAL, Status.UNDECIDED
        concluded, now = self._read(states, statuses, standing.append, *marks), list(states)
        for var, state in zip(self.program.conclusions, concluded, strict=True):
            now[var] = state
        return Reading(tuple(statuses), tuple(now), tuple(standing))

    def read_codes(self, states: Sequence[State]) -> InCodes:
        """Return the status of each rule as its place in `STATUSES`, for cohorts."""
        statuses, standing = bytearray(len(self.program.rules)), []  # type: bytearray, list[int]
        concluded, now = self._read(states, statuses, standing.append, *_CODES), list(states)
        for var, state in zip(self.program.conclusions, concluded, strict=True):
            now[var] = state
        return InCodes(statuses, now, standing)


def flag_of(nodes: Sequence[Node], full: Sequence[State]) -> Callable[[Sequence[State]], int]:
    """Return a function from states to 1 where some node must hold, -1 where one may, else 0."""
    own, text = AnyOf(tuple(nodes)), Wording(full)
    lines = ["def flag(states):"]
    lines += [f"    s{var} = states[{var}]" for var in dict.fromkeys(variables(own))]
    lines += [f"    return 1 if {text.must(own)} else (-1 if {text.may(own)} else 0)"]
    names: dict[str, object] = {}
    exec(compile("\n".join(lines) + "\n", "<layette conclusion>", "exec"), names)
    flag: Callable[[Sequence[State]], int] = names["flag"]  # type: ignore[assignment]
    return flag


def _lines(program: Program, known: Collection[int]) -> Iterator[str]:
    text, names = Wording(program.full, known), "".join(f"s{k}, " for k in range(len(program.full)))
    yield "def read(states, statuses, stands, F, P, U):"
    if names:
        yield f"    {names}= states"
    for var in program.conclusions:
        yield f"    s{var} = {NO}"
    body = ["    " + line for k, rule in enumerate(program.rules) for line in _rule(k, rule, text)]
    yield from _tested_once(body, {f"s{var}" for var in program.conclusions})
    concluded = "".join(f"s{var}, " for var in program.conclusions)
    yield f"    return ({concluded})"


_TEST = re.compile(r"(s\d+) & \d+")
_OFTEN = 6


def _tested_once(body: Sequence[str], conclusions: Collection[str]) -> Iterator[str]:
    """Make tests that stand in many rules once, ahead of them all; a conclusion is not yet drawn there."""
    found = Counter(test[0] for line in body for test in _TEST.finditer(line) if test[1] not in conclusions)
    often = {test: f"t{n}" for n, test in enumerate(test for test, times in found.items() if times >= _OFTEN)}
    yield from (f"    {name} = {test}" for test, name in often.items())
    yield from (_TEST.sub(lambda test: often.get(test[0], test[0]), line) for line in body)


def _rule(k: int, rule: CompiledRule, text: Wording) -> Iterator[str]:
    # Not merged into one normal form: that could be sharper than the specification.
    own = AllOf((rule.applies, rule.when))
    yield f"if {text.may(own)}:"
    yield f"    if {text.must(own)}:"
    yield from ("        " + line for line in _verdict(k, rule, text, ("F", "P"), f"; stands({k})"))
    yield from (f"        s{var} = {YES}" for var in rule.concludes)
    yield "    else:"
    yield from ("        " + line for line in _verdict(k, rule, text, ("U", "U")))
    # Of several rules that conclude one thing, the surest answer stays: yes over perhaps over no.
    yield from (f"        if s{var} != {YES}: s{var} = {YES | NO}" for var in rule.concludes)


def _verdict(k: int, rule: CompiledRule, text: Wording, names: tuple[str, str], more: str = "") -> Iterator[str]:
    """Give the rule its first status, or the second while a replacement is open, or leave it ruled out."""
    sure, replaceable = names
    if not rule.replacements:
        yield f"statuses[{k}] = {sure}{more}"
        return
    replaced = AnyOf(rule.replacements)
    yield f"if not {text.may(replaced)}: statuses[{k}] = {sure}{more}"
    yield f"elif not {text.must(replaced)}: statuses[{k}] = {replaceable}{more}"
