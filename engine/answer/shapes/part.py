"""A piece of an answer: frozen, ordered and printable, so that the same visit gives the same bytes.

What only explains is made when somebody looks at it. Such a field (`made_late`) holds what makes it until then; reading
it by name, or reading all of its part (to print, compare, copy or pickle it), puts the value in its place.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from pydantic import BaseModel, ConfigDict

Value = TypeVar("Value")


class Part(BaseModel):
    """A frozen piece of an assessment."""

    model_config = ConfigDict(frozen=True, extra="forbid")


Made = TypeVar("Made", bound=Part)
Late = TypeVar("Late", bound="LatePart")

_FIELDS: Any = BaseModel.__dict__["__dict__"]
"""Where a part keeps its fields, whatever a class says of its `__dict__`."""
_PUT_NAMES, _PUT_EXTRA, _PUT_PRIVATE = cast(
    tuple[Any, Any, Any],
    tuple(BaseModel.__dict__[f"__pydantic_{name}__"].__set__ for name in ("fields_set", "extra", "private")),
)
"""What puts the rest of a part into its place; an answer has some hundred parts, and this is the shortest way."""


class _Maker:
    """What makes the value of a field, in its place until somebody looks."""

    __slots__ = ("make",)

    def __init__(self, make: Callable[[], Any]) -> None:
        self.make = make


class LatePart(Part):
    """A part with fields that are made late."""

    @property
    def __dict__(self) -> dict[str, Any]:
        """All fields. Printing, comparing, copying and pickling ask for them here, so that none is left to be made."""
        fields: dict[str, Any] = _FIELDS.__get__(self)
        for name, value in fields.items():
            if type(value) is _Maker:
                fields[name] = value.make()
        return fields

    @__dict__.setter
    def __dict__(self, fields: dict[str, Any]) -> None:
        _FIELDS.__set__(self, fields)


class _LateField:
    """Reads a field by its name, and makes it if nobody has."""

    def __init__(self, name: str) -> None:
        self.name = name

    def __get__(self, part: Part | None, owner: type[Part]) -> Any:
        if part is None:
            raise AttributeError(f"{owner.__name__} has no {self.name}; its parts have")
        fields = _FIELDS.__get__(part)
        value = fields[self.name]
        if type(value) is _Maker:
            value = fields[self.name] = value.make()
        return value

    def __set__(self, part: Part, value: Any) -> None:
        raise AttributeError(f"{self.name} cannot be set: an answer is frozen")


def made_late(*names: str) -> Callable[[type[Late]], type[Late]]:
    """Let `later` values stand in the fields ``names`` of a class."""

    def marked(part: type[Late]) -> type[Late]:
        for name in names:
            setattr(part, name, _LateField(name))
        return part

    return marked


def later(make: Callable[[], Value]) -> Value:
    """Return what stands for a value until somebody looks at it; only a field that is `made_late` can hold it.

    ``make`` always gives the same: where two threads look at once, both may call it.
    """
    return cast(Value, _Maker(make))


def known(part: type[Made]) -> type[Made]:
    """Return what makes a ``part`` from values that the engine itself has made, unchecked.

    It is called like the class, and a type checker checks the call; nothing is turned into the right type.
    """
    fields = part.model_fields
    given = {name: None if field.is_required() else field.get_default() for name, field in fields.items()}
    fresh = [(name, field.default_factory) for name, field in fields.items() if field.default_factory is not None]
    private, names = bool(part.__private_attributes__), set(fields)
    new, fill = part.__new__, _FIELDS.__set__

    def make(**values: Any) -> Made:
        for name, factory in fresh:
            if name not in values:
                values[name] = factory()  # type: ignore[call-arg]
        one = new(part)
        fill(one, given | values)
        _PUT_NAMES(one, names)
        _PUT_EXTRA(one, None)
        _PUT_PRIVATE(one, None)
        if private:
            one.model_post_init(None)
        return one

    return cast(type[Made], make)
