"""What a measure can be given: a small closed set of kinds.

A measure declares its inputs in these words, in the order of its function's parameters. Each says which keys it takes
in ``measures.yaml`` and what may stand there, what the function receives, and how the grammar page tells it. The
checker of packs, the binder of a visit and that page read them here.
"""

from __future__ import annotations

import keyword
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, TypeAlias

VISIT = "visit"
"""In place of a key: the moment of the visit."""
BIRTH = "birth"
"""As a word that a change counts from: the value at birth, which a key ``from`` names."""
AS_IT_IS = "as it is"
"""As the unit of an input: that in which the value comes."""
SAME = "same"
"""As a unit of an input or of a measure: that of the one input which is taken as it is."""
OF_TABLE = "table"
"""As a unit: that which the table's header names."""

Names: TypeAlias = Literal["", "number", "recordings", "flag", "time"]
"""What a key names:

""          nothing that was found: a table, a setting, a word
number      a finding that is a number, a view of it, or a measure
recordings  a finding that is a number; no view, since all its recordings are looked at
flag        a yes-or-no finding or a conclusion; no view
"""


@dataclass(frozen=True, slots=True)
class Key:
    """A key of ``measures.yaml``."""

    name: str
    names: Names = ""
    required: bool = True


@dataclass(frozen=True, slots=True)
class Input:
    """What all kinds answer; ``told`` is how the grammar page tells the keys."""

    @property
    def keys(self) -> tuple[Key, ...]:
        """The keys that it takes."""
        return ()

    @property
    def arguments(self) -> tuple[str, ...]:
        """The function's parameters that it fills."""
        return ()

    @property
    def told(self) -> str:
        """The keys in code marks; empty where there are none."""
        return ", ".join(f"`{key.name}`" + ("" if key.required else " (may be left out)") for key in self.keys)


@dataclass(frozen=True, slots=True)
class Keyed(Input):
    """An input under one key, which is also the name of the parameter."""

    key: str
    names: ClassVar[Names] = ""

    @property
    def keys(self) -> tuple[Key, ...]:
        """The one key."""
        return (Key(self.key, self.names),)

    @property
    def arguments(self) -> tuple[str, ...]:
        """The one parameter."""
        return (self.key,)


@dataclass(frozen=True, slots=True)
class Of(Keyed):
    """A number, converted into ``unit``: an Interval.

    ``computed_by``: the one function whose measures may stand there. ``may_be_unknown``: the function is asked also
    where no value is recorded; else the measure then gives nothing.
    """

    unit: str = AS_IT_IS
    computed_by: str = ""
    may_be_unknown: bool = False
    names: ClassVar[Names] = "number"

    @property
    def arguments(self) -> tuple[str, ...]:
        """The one parameter; of an amount of time with its unit."""
        return (_argument(self.key, self.unit),)

    @property
    def told(self) -> str:
        """The key, and whose measures alone may stand there."""
        return f"`{self.key}`" + (f" (a measure that `{self.computed_by}` computes)" if self.computed_by else "")


@dataclass(frozen=True, slots=True)
class AgeAt(Input):
    """The age at the visit, or when the number under key ``at`` was measured: an Interval.

    In elapsed hours, or in calendar days (0 on the day of birth).
    """

    at: str
    unit: Literal["h", "d"]

    @property
    def keys(self) -> tuple[Key, ...]:
        """The key of the number, none for the visit."""
        return () if self.at == VISIT else (Key(self.at, "number"),)

    @property
    def arguments(self) -> tuple[str, ...]:
        """The age with its unit."""
        return (_argument("age", self.unit),)


@dataclass(frozen=True, slots=True)
class TimeOf(Keyed):
    """When a value was recorded, a number or a named one: an Interval of UTC seconds."""

    names: ClassVar[Names] = "time"


@dataclass(frozen=True, slots=True)
class Pair(Input):
    """The latest recording of a number, one before it, and the time between them: three Intervals.

    The two in ``unit``, the time in hours or days, elapsed. ``since`` are the words by which a pack chooses the one
    before; without them it is the last before. ``too_close`` is said where the two lie nearer than ``at_least_apart``,
    or may lie at one time.
    """

    of: str
    unit: str
    apart: Literal["h", "d"]
    too_close: str
    since: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[Key, ...]:
        """The number, and how the two recordings are chosen."""
        chosen = (Key("since"), Key("from", "number", required=False)) if self.since else ()
        return (Key(self.of, "recordings"), *chosen, Key("at_least_apart", required=False))

    @property
    def arguments(self) -> tuple[str, ...]:
        """The two numbers and the time between them."""
        return "later", "earlier", _argument("elapsed", self.apart)

    @property
    def told(self) -> str:
        """The keys, with the words to choose from."""
        words = ", ".join(f"`{word}`" + (" with `from`" if word == BIRTH else "") for word in self.since)
        chosen = f"`since` ({words}), " if self.since else ""
        return f"`{self.of}`, {chosen}`at_least_apart` (may be left out)"


@dataclass(frozen=True, slots=True)
class Sex(Input):
    """The sex at birth: 0 male, 1 female, -1 not known."""

    @property
    def arguments(self) -> tuple[str, ...]:
        """Always ``sex``."""
        return ("sex",)


@dataclass(frozen=True, slots=True)
class BirthMonth(Input):
    """The month of birth, counted from July: 0 for July, 11 for June; an Interval of whole numbers.

    Winter illnesses have their season around the turn of the year, so a count from July leaves a season in one piece.
    """

    @property
    def arguments(self) -> tuple[str, ...]:
        """Always ``birth_month``."""
        return ("birth_month",)


@dataclass(frozen=True, slots=True)
class Flag(Keyed):
    """A yes-or-no finding or a conclusion: 1 yes, 0 no, -1 not known; None where its key is left out."""

    required: bool = True
    names: ClassVar[Names] = "flag"

    @property
    def keys(self) -> tuple[Key, ...]:
        """The one key."""
        return (Key(self.key, "flag", self.required),)


@dataclass(frozen=True, slots=True)
class Table(Keyed):
    """A table of class ``kind`` that has these ``columns``."""

    kind: type[Any]
    columns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Lines(Keyed):
    """A set of treatment lines of class ``kind``: a setting whose choices are such sets, or one set.

    A site supplies what a pack may not ship, so a set that is chosen may be missing at the visit.
    """

    kind: type[Any]

    @property
    def told(self) -> str:
        """The key, and what it names."""
        return f"`{self.key}` (a setting, or a set of lines)"


@dataclass(frozen=True, slots=True)
class Word(Keyed):
    """The name of a column of the table, or of a line of the set: a str, the same for all elements."""

    of: Literal["column", "line"]


@dataclass(frozen=True, slots=True)
class AmountOfTime(Keyed):
    """An amount of elapsed time that the pack writes, such as ``24 h``: an exact Interval, the same for all."""

    unit: Literal["h", "d"]

    @property
    def arguments(self) -> tuple[str, ...]:
        """The one parameter, with its unit."""
        return (_argument(self.key, self.unit),)


def _argument(name: str, unit: str) -> str:
    """Return a parameter's name: an amount of time says its unit, a word that Python reserves has ``_`` behind it."""
    ending = "_" if keyword.iskeyword(name) else ""
    return name + {"h": "_h", "d": "_days"}.get(unit, ending)
