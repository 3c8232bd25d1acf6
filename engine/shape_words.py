"""What is wrong with the shape of a file, in words for whoever writes it: what is due here, and what was found."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, TypeAdapter
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


def said(item: ErrorDetails, shape: Any = None, patterns: Mapping[str, str] | None = None) -> str:
    """Return one error of a shape in words.

    Args:
        item: the error, as the library that checks shapes tells it.
        shape: the type that was checked; where it is given, a key that is none is told with those that are.
        patterns: what a text that has a form looks like, by the form.
    """
    kind, value, loc = item["type"], item["input"], item["loc"]
    shown = "" if isinstance(value, dict | list) else f" (found {_shown(value)})"
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
        return f"one of {', '.join(known)} is due here{near(str(found), known)} (found {_shown(found)})"
    if kind == "union_tag_not_found":
        return f"the key {item['ctx']['discriminator']} is missing, which says what kind this is"
    if kind == "string_pattern_mismatch":
        pattern = str(item["ctx"]["pattern"])
        return f"expected {(patterns or {}).get(pattern, 'another form')}{shown}"
    if kind in ("value_error", "assertion_error"):
        return str(item["ctx"]["error"]) + shown
    return _DUE.get(kind, "this is not what is due here") + shown


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
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
