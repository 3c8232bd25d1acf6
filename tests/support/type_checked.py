"""The project as mypy sees it: checked once, with the type of every expression."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from contextlib import chdir
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

from support.checkout import ROOT

if TYPE_CHECKING:
    from mypy.nodes import Expression
    from mypy.types import Instance, Type


class Checked(NamedTuple):
    """What mypy finds: errors as it prints them, and ``module.Class.attribute`` for each attribute that is read.

    The class is the one that declares the attribute. What is read of `Any`, or by `getattr`, is not seen.
    """

    errors: list[str]
    attributes_read: frozenset[str]


@cache
def checked() -> Checked:
    """Check what `mypy` without arguments checks, from nothing, so that no expression is left out."""
    from mypy.build import build
    from mypy.main import process_options

    gc.disable()  # nearly all that mypy makes stays to its end
    try:
        with chdir(ROOT):
            sources, options = process_options([])
            options.incremental, options.cache_dir, options.export_types = False, os.devnull, True
            result = build(sources, options)
    finally:
        gc.enable()
    return Checked(result.errors, frozenset(_read(result.types)))


def _read(types: dict[Expression, Type]) -> Iterator[str]:
    from mypy.nodes import MemberExpr

    for part in types:
        for of in _classes(types.get(part.expr)) if isinstance(part, MemberExpr) else ():
            owner = next((base for base in of.type.mro if part.name in base.names), None)
            if owner is not None:
                yield f"{owner.fullname}.{part.name}"


def _classes(of: Type | None) -> Iterator[Instance]:
    from mypy.types import Instance, TupleType, TypeVarType, UnionType, get_proper_type

    proper = get_proper_type(of)
    if isinstance(proper, Instance):
        yield proper
    elif isinstance(proper, TupleType):  # a named tuple is one, and its class stands behind it
        yield proper.partial_fallback
    elif isinstance(proper, UnionType):
        for item in proper.items:
            yield from _classes(item)
    elif isinstance(proper, TypeVarType):
        yield from _classes(proper.upper_bound)
