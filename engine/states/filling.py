"""What a visit fills: the variables that a rule may still ask for under the settings in force, by what fills them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from layette.engine.logic.conditions import AllOf, State, Status, variables
from layette.engine.logic.program import ReferenceReader
from layette.engine.pack.written.subjects import inputs_of
from layette.engine.pack.written.views import Entry, View
from layette.engine.visit.recordings import Where

if TYPE_CHECKING:
    from layette.engine.states.plan import PackVariables

Choices = tuple[tuple[str, str], ...]
"""The settings in force: name and choice."""
Found = tuple[int, Entry]
"""A variable with its number."""


@dataclass(frozen=True, slots=True)
class Filling:
    """Laid out once for a pack and its settings.

    ``states`` are those of a visit of which nothing else is known. ``latest`` are the variables that look at the latest
    value of a finding and side; ``others`` look further, ``lines`` compare with a line of treatment, each by finding.
    ``measures`` come in the order in which they are computed.
    """

    states: tuple[State, ...]
    latest: Mapping[Where, tuple[int, ...]]
    others: Mapping[str, tuple[Found, ...]]
    lines: Mapping[str, tuple[Found, ...]]
    measures: tuple[Found, ...]


def filling(pack: PackVariables, choices: Choices) -> Filling:
    """Return what a visit fills under ``choices``."""
    states = tuple(_given(pack, choices))
    asked = _asked(pack, states)
    latest = _latest(pack)
    plain = {var for found in latest.values() for var in found}
    return Filling(
        states,
        latest,
        _by_finding(pack, lambda var, view: var in asked and var not in plain and view.what != "beyond"),
        _by_finding(pack, lambda var, view: var in asked and view.what == "beyond"),
        tuple(one for name in _in_order(pack) for one in pack.variables_of.get(name, ()) if one[0] in asked),
    )


def _given(pack: PackVariables, choices: Choices) -> list[State]:
    states = pack.program.unknown
    for name, choice in choices:
        for var, _ in pack.variables_of.get(f"setting:{name}", ()):
            states[var] = pack.table.values_mask(var, [choice])
    return states


def _asked(pack: PackVariables, states: tuple[State, ...]) -> frozenset[int]:
    """Return the variables in the rules that the choices in force do not rule out, and in guards of findings."""
    statuses = ReferenceReader(pack.program).read(states).statuses
    pairs = zip(pack.program.rules, statuses, strict=True)
    rules = [(r.applies, r.when, *r.replacements) for r, status in pairs if status is not Status.RULED_OUT]
    return frozenset(variables(AllOf((*pack.guarded, *(node for nodes in rules for node in nodes)))))


def _latest(pack: PackVariables) -> Mapping[Where, tuple[int, ...]]:
    out: dict[Where, list[int]] = {}
    for var, entry in enumerate(pack.table.entries):
        name, side = entry.view.subject, entry.view.side
        if name in pack.findings and entry.view == View(name, side):
            out.setdefault((name, side), []).append(var)
    return {place: tuple(found) for place, found in out.items()}


def _by_finding(pack: PackVariables, wanted: Callable[[int, View], bool]) -> Mapping[str, tuple[Found, ...]]:
    out = {}
    for name in pack.findings:
        found = tuple(one for one in pack.variables_of.get(name, ()) if wanted(one[0], one[1].view))
        if found:
            out[name] = found
    return out


def _in_order(pack: PackVariables) -> list[str]:
    """Return the measures of findings; lines of treatment, and what depends on them, come last.

    A line may depend on a conclusion, and so on any other measure.
    """
    late: set[str] = set()
    names = [name for name, shape in pack.measures.items() if inputs_of(shape)]
    for _ in names:
        late |= {n for n in names if pack.measures[n].compute == "threshold" or late & {*inputs_of(pack.measures[n])}}
    return sorted(names, key=lambda name: name in late)
