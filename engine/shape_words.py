"""What is wrong with the shape of a file, in words for whoever writes it: what is due here, and what was found."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from layette.engine.errors import near

_DUE: Mapping[str, str] = {
    "dict_type": "a mapping is due here: lines of 'key: value', without '- ' before them",
    "model_type": "a mapping is due here: lines of 'key: value', without '- ' before them",
    "model_attributes_type": "a mapping is due here: lines of 'key: value', without '- ' before them",
    "list_type": "a list is due here: each entry on a line that begins with '- ', or all of them in [ ]",
    "tuple_type": "a list is due here: each entry on a line that begins with '- ', or all of them in [ ]",
    "string_type": "a text is due here; put quotes round it",
    "bool_type": "true or false is due here, without quotes",
    "int_type": "a whole number is due here, without quotes",
    "int_from_float": "a whole number is due here",
    "int_parsing": "a whole number is due here",
    "float_type": "a number is due here, without quotes",
    "float_parsing": "a number is due here",
    "finite_number": "a number that has an end is due here",
    "string_too_short": "a text is due here, and nothing is written",
    "too_short": "this list is too short",
    "too_long": "this list is too long",
    "date_from_datetime_parsing": "a date such as 2026-01-31 is due here",
    "date_parsing": "a date such as 2026-01-31 is due here",
    "date_type": "a date such as 2026-01-31 is due here",
    "greater_than": "this number is too low",
    "greater_than_equal": "this number is too low",
    "less_than_equal": "this number is too high",
    "invalid_key": "a key is a text; put quotes round it",
}
"""By kind of error: what would be right. Nothing of the words of the library that found it is shown."""


Place = tuple[str | int, ...]


def mistakes(
    error: ValidationError, data: Any, shape: Any, patterns: Mapping[str, str]
) -> Iterator[tuple[Place, str, bool]]:
    """Yield each mistake of a shape: where it stands in the data, in words, and whether it is a word for a priority.

    Where one of several forms is due, the library tells what each of them lacks: that is one mistake, at the place that
    whoever wrote the file knows.
    """
    found: dict[Place, list[ErrorDetails]] = {}
    for item in error.errors(include_url=False):
        found.setdefault(_place(item, data), []).append(item)
    for place, items in found.items():
        inside = any(len(other) > len(place) and other[: len(place)] == place for other in found)
        # that a mapping is no word says nothing where something in that mapping is amiss
        meant = [item for item in items if not (inside and isinstance(item["input"], dict | list))]
        words = list(dict.fromkeys(said(item, shape, patterns) for item in meant))
        ends = {word[word.rfind(" (found ") :] for word in words if " (found " in word}
        if len(words) > 1 and len(ends) == 1:
            end = ends.pop()
            words = ["; or ".join(word.removesuffix(end) for word in words) + end]
        for word in words:
            yield place, word, place[-1:] == ("priority",) and meant[0]["type"] == "literal_error"


def _place(item: ErrorDetails, data: Any) -> Place:
    """Return where a mistake stands in the data: without the names of the forms that the library tried."""
    place: list[str | int] = []
    here = data
    for part in item["loc"]:
        known = isinstance(here, dict) and part in here
        if known or (isinstance(here, list | tuple) and isinstance(part, int) and part < len(here)):
            here = here[part]
            place.append(part)
    return (*place, item["loc"][-1]) if item["type"] == "missing" else tuple(place)


def said(item: ErrorDetails, shape: Any = None, patterns: Mapping[str, str] | None = None) -> str:
    """Return one error of a shape in words.

    Args:
        item: the error, as the library that checks shapes tells it.
        shape: the type that was checked; where it is given, a key that is none is told with those that are.
        patterns: what a text that has a form looks like, by the form.
    """
    kind, value, loc = item["type"], item["input"], item["loc"]
    shown = "" if isinstance(value, dict | list) else f" (found {shown_value(value)})"
    if kind == "missing":
        return f"the key '{loc[-1]}' is missing"
    if kind == "extra_forbidden":
        keys = list(keys_at(shape, loc[:-1]))
        hint = near(str(loc[-1]), keys)
        listed = f"{' The' if hint else '; the'} keys are {', '.join(keys)}" if keys else ""
        return f"'{loc[-1]}' is no key here{hint}{listed}"
    if kind in ("literal_error", "union_tag_invalid"):
        words = str(item["ctx"].get("expected") or item["ctx"].get("expected_tags")).replace(" or ", ", ")
        known = [word.strip().strip("'") for word in words.split(",")]
        found = value if kind == "literal_error" else item["ctx"]["tag"]
        one = "one of " if len(known) > 1 else ""
        return f"{one}{', '.join(known)} is due here{near(str(found), known)} (found {shown_value(found)})"
    if kind == "union_tag_not_found":
        return f"the key {item['ctx']['discriminator']} is missing, which says what kind this is"
    if kind == "string_pattern_mismatch":
        pattern = str(item["ctx"]["pattern"])
        return f"expected {(patterns or {}).get(pattern, 'another form')}{shown}"
    if kind in ("value_error", "assertion_error"):
        return str(item["ctx"]["error"]) + shown
    if kind == "string_type" and isinstance(value, int | float) and not isinstance(value, bool):
        return f"a text is due here, and an amount of time has its unit, such as 24 h: put quotes round a text{shown}"
    return _DUE.get(kind, "this is not what is due here") + shown


def shown_value(value: Any) -> str:
    """Return what somebody wrote, as they know it: no word of the language in which Layette is written."""
    if value is None:
        return "nothing"
    if isinstance(value, dict | list):
        return "a mapping" if isinstance(value, dict) else "a list"
    return str(value).lower() if isinstance(value, bool) else repr(value)


def keys_at(shape: Any, loc: Sequence[str | int]) -> Iterator[str]:
    """Yield the keys that a mapping may have at a place in data of this shape."""
    kinds = [shape]
    for part in loc:
        kinds = [inner for kind in kinds for inner in _inside(kind, part)]
    yield from dict.fromkeys(key for kind in kinds for model in _models(kind) for key in _names(model))


def _names(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _members(kind: Any) -> Iterator[Any]:
    """Yield what a kind may be, without what is only said of it."""
    if isinstance(kind, TypeAdapter):
        yield from _members(kind._type)
    elif get_origin(kind) is Annotated:
        yield from _members(get_args(kind)[0])
    elif get_origin(kind) in (Union, UnionType):
        for one in get_args(kind):
            yield from _members(one)
    else:
        yield kind


def _models(kind: Any) -> Iterator[type[BaseModel]]:
    yield from (one for one in _members(kind) if isinstance(one, type) and issubclass(one, BaseModel))


def _inside(kind: Any, part: str | int) -> Iterator[Any]:
    """Yield what stands at one key or number of a kind; the name of a member of a union leads to that member."""
    for one in _members(kind):
        origin, arguments = get_origin(one), get_args(one)
        if origin in (list, tuple):
            yield from (arguments[:1] if isinstance(part, int) else [])
        elif origin is dict or (origin is not Literal and origin is not None and issubclass(origin, Mapping)):
            yield from arguments[1:]
        elif isinstance(one, type) and issubclass(one, BaseModel):
            if one.__name__ == part or part in ("set", "reference", "sanity", "lms", "percentiles", "steps", "printed"):
                yield one
            named = {field.alias or name: field.annotation for name, field in one.model_fields.items()}
            yield from ([named[part]] if part in named else [])
