"""The functions that a pack may bind, each declared once: its inputs, its unit, and where it comes from.

A pack writes ``weight_loss: {compute: percent_lost, of: weight, from: birth_weight}``; the keys after ``compute`` are
those of the inputs that ``percent_lost`` declares, in the words of `input_kinds`. Nothing else says them:

- `pack.checks.measures` reads which keys must and may stand there, and what each may name;
- `pack.written.subjects` reads what a measure depends on, and the unit that its bounds are meant in;
- `states.measures` reads how the recordings of a visit become the function's arguments;
- the table in ``rules/GRAMMAR.md`` is made of ``grammar_row``, and a test holds it to that.

The registry names no finding.
"""

from __future__ import annotations

import inspect
import keyword
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, Literal, TypeAlias, TypeVar

from layette.engine.exact.interval import Interval
from layette.engine.measures.input_kinds import AS_IT_IS, OF_TABLE, SAME, VISIT, AgeAt, Input, Key, Lines, Of

Gives: TypeAlias = Literal["number", "category"]
Basis: TypeAlias = str | Callable[[Interval, Mapping[str, Any]], str]
"""What a result rests on, for people: a text in which ``{key}`` stands for what the pack wrote under a key, or a
function of the result and of what the pack wrote. Without it, the label of the table is told, where there is one."""

_F = TypeVar("_F", bound=Callable[..., Any])
_I = TypeVar("_I", bound=Input)


@dataclass(frozen=True)
class MeasureFunction:
    """A registered function. ``gives`` is ``number`` (an Interval) or ``category`` (bool array (n, categories)).

    ``unit`` is that of the result (UCUM), ``SAME`` or ``OF_TABLE``; ``says`` is what it gives, in a few words.
    """

    name: str
    function: Callable[..., Any]
    inputs: tuple[Input, ...]
    unit: str
    says: str
    source: str
    gives: Gives = "number"
    basis: Basis = ""

    def __call__(self, **arguments: Any) -> Any:
        """Call the function; the keys are the names in the pack (``from``, not ``from_``)."""
        return self.function(**{key + "_" * keyword.iskeyword(key): value for key, value in arguments.items()})

    @cached_property
    def arguments(self) -> tuple[str, ...]:
        """The function's parameters, in order."""
        return tuple(argument for one in self.inputs for argument in one.arguments)

    @cached_property
    def keys(self) -> Mapping[str, Key]:
        """The keys that a pack writes, by name; two inputs may look at the same."""
        return {key.name: key for one in self.inputs for key in one.keys}

    @cached_property
    def subjects(self) -> tuple[str, ...]:
        """The keys that name findings, measures or conclusions: what a measure depends on."""
        return tuple(name for name, key in self.keys.items() if key.names)

    @cached_property
    def as_it_is(self) -> str:
        """The key of the input whose unit is that of all marked ``SAME``; empty where there is none."""
        return next((one.key for one in self.of_kind(Of) if one.unit == AS_IT_IS), "")

    @cached_property
    def of_the_visit(self) -> bool:
        """Whether the result is true of the moment of the visit, and not of the time of its first input."""
        return VISIT in (one.at for one in self.of_kind(AgeAt))

    def of_kind(self, kind: type[_I]) -> tuple[_I, ...]:
        """Return the inputs of one kind."""
        return tuple(one for one in self.inputs if isinstance(one, kind))

    @property
    def grammar_row(self) -> str:
        """The function's row in the table of the grammar page: name, keys, what it gives, unit."""
        told = ", ".join(dict.fromkeys(one.told for one in self.inputs if one.told))
        of_table = "that of the set" if self.of_kind(Lines) else "that of the table"
        words = {SAME: f"that of `{self.as_it_is}`", OF_TABLE: of_table, "": ""}
        unit = words.get(self.unit, f"`{self.unit}`")
        cells = (f"`{self.name}`", told, self.says, unit)
        return "".join(f"| {cell} " if cell else "| " for cell in cells) + "|"


_FUNCTIONS: dict[str, MeasureFunction] = {}
REGISTRY: Mapping[str, MeasureFunction] = MappingProxyType(_FUNCTIONS)
"""Every measure, by name; complete once ``layette.engine.measures`` is imported."""


def measure(
    name: str,
    *,
    inputs: Sequence[Input],
    unit: str,
    says: str,
    source: str,
    gives: Gives = "number",
    basis: Basis = "",
) -> Callable[[_F], _F]:
    """Register the decorated function under ``name`` and return it unchanged.

    Raises ValueError for a name taken, inputs that do not fill the function's parameters in order, and units that are
    shared with nothing, or with two things.
    """

    def register(function: _F) -> _F:
        made = MeasureFunction(name, function, tuple(inputs), unit, says, source, gives, basis)
        if name in _FUNCTIONS or list(made.arguments) != list(inspect.signature(function).parameters):
            raise ValueError(f"measure {name}: name taken, or parameters differ from the function's")
        units = [unit, *(one.unit for one in made.of_kind(Of))]
        if units.count(AS_IT_IS) != (SAME in units) or (SAME in units and OF_TABLE in units):
            raise ValueError(f"measure {name}: a unit is shared with one input taken as it is, or else with the table")
        _FUNCTIONS[name] = made
        return function

    return register
