"""One visit read by several readers, which must agree."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from layette.engine.errors import ReaderFailed, ReadersDisagree
from layette.engine.logic.conditions import State, Status
from layette.engine.logic.program import Program, Reader, Reading
from layette.engine.terms import PRIORITIES

ACTED_ON = (Status.FIRED, Status.PROVISIONAL)


def read_twice(
    readers: Sequence[Reader], program: Program, states: Sequence[State], priorities: Sequence[str | None]
) -> Reading:
    """Return what all ``readers`` read.

    Args:
        readers: one or more; the first one's reading is returned.
        program: what they read.
        states: the visit.
        priorities: for each rule of the program, the priority that it brings, if any.

    Raises:
        ReadersDisagree: with each reader's status of the rules that differ (and of the conclusions, as
            ``conclusion <key>``), and the highest priority of any rule that any reader fired or holds provisional.
        ReaderFailed: a reader raised something.
    """
    readings = {reader.name: _read(reader, states) for reader in readers}
    first, *others = readings.values()
    if any(other != first for other in others):
        raise ReadersDisagree(_differences(readings, program), _highest(readings.values(), priorities))
    return first


def _read(reader: Reader, states: Sequence[State]) -> Reading:
    try:
        return reader.read(states)
    except Exception as error:
        raise ReaderFailed(reader.name, type(error).__name__) from error


def _differences(readings: Mapping[str, Reading], program: Program) -> dict[str, dict[str, str]]:
    shown = {name: _shown(reading, program) for name, reading in readings.items()}
    first, *others = shown.values()
    differ = [key for key, text in first.items() if any(other[key] != text for other in others)]
    return {name: {key: texts[key] for key in differ} for name, texts in shown.items()}


def _shown(reading: Reading, program: Program) -> dict[str, str]:
    rules = {rule.id: status.value for rule, status in zip(program.rules, reading.statuses, strict=True)}
    for var, state in enumerate(reading.states):
        variable = program.variables[var]
        atoms = [atom for k, atom in enumerate(variable.atoms) if state >> k & 1]
        rules[f"conclusion {variable.key}"] = " or ".join(atoms)
    return rules


def _highest(readings: Iterable[Reading], priorities: Sequence[str | None]) -> str | None:
    brought = {
        priority
        for reading in readings
        for status, priority in zip(reading.statuses, priorities, strict=True)
        if status in ACTED_ON
    }
    return next((priority for priority in PRIORITIES if priority in brought), None)
