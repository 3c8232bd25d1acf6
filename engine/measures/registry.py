"""The functions that a pack may bind, by name, with what each takes, gives, and where it comes from.

A pack writes ``weight_loss: {compute: percent_lost, of: weight, from: birth_weight}``; the keys after ``compute``
are the parameter names below. The loader reads ``REGISTRY`` to check the names, kinds and units before a visit is
ever seen. The registry names no finding.
"""

from __future__ import annotations

import inspect
import keyword
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal, TypeAlias, TypeVar

Kind: TypeAlias = Literal["value", "time", "day", "sex", "flag", "table", "literal"]
"""What a parameter is given:

value    Interval of a number (a finding's, or another measure's), in the unit said
time     Interval of integer UTC seconds
day      Interval of integer calendar-day ordinals (``date.toordinal``)
sex      int array: 0 male, 1 female, -1 unknown
flag     int array: 1 present, 0 none, -1 unknown
table    a loaded table
literal  a str or Fraction written in the pack, the same for all elements
"""
Gives: TypeAlias = Literal["number", "category"]

SAME = "same"
"""As a unit: all parameters so marked share one unit, and a result so marked has it too."""
OF_TABLE = "table"
"""As a unit: the unit that the table's header names."""

_F = TypeVar("_F", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Parameter:
    """One input of a measure: its name in the pack, its kind, its unit, whether it may be left out."""

    name: str
    kind: Kind
    unit: str = ""
    required: bool = True

    @property
    def keyword(self) -> str:
        """The Python argument: the name, with ``_`` behind a word that Python reserves (``from_``)."""
        return self.name + "_" if keyword.iskeyword(self.name) else self.name


@dataclass(frozen=True, slots=True)
class MeasureFunction:
    """A registered function. ``gives`` is ``number`` (an Interval) or ``category`` (bool array (n, categories))."""

    name: str
    function: Callable[..., Any]
    takes: tuple[Parameter, ...]
    gives: Gives
    unit: str
    source: str

    def __call__(self, **arguments: Any) -> Any:
        """Call the function; the keys are the names in the pack (``from``, not ``from_``)."""
        return self.function(**{_argument(key): value for key, value in arguments.items()})


_FUNCTIONS: dict[str, MeasureFunction] = {}
REGISTRY: Mapping[str, MeasureFunction] = MappingProxyType(_FUNCTIONS)
"""Every measure, by name; complete once ``layette.engine.measures`` is imported."""


def measure(
    name: str, *, takes: tuple[Parameter, ...], unit: str, source: str, gives: Gives = "number"
) -> Callable[[_F], _F]:
    """Register the decorated function under ``name`` and return it unchanged.

    Raises ValueError for a name taken, or parameters that the function does not have.
    """

    def register(function: _F) -> _F:
        given = [parameter.keyword for parameter in takes]
        if name in _FUNCTIONS or given != list(inspect.signature(function).parameters):
            raise ValueError(f"measure {name}: name taken, or parameters differ from the function's")
        _FUNCTIONS[name] = MeasureFunction(name, function, takes, gives, unit, source)
        return function

    return register


def _argument(name: str) -> str:
    return name + "_" if keyword.iskeyword(name) else name
