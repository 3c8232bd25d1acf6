"""The project as mypy sees it: checked once, with the type of every expression."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import chdir
from functools import cache

from mypy.build import BuildResult, build
from mypy.main import process_options
from mypy.nodes import MemberExpr
from mypy.types import Instance, Type, TypeVarType, UnionType, get_proper_type
from support.checkout import ROOT


@cache
def checked() -> BuildResult:
    """Check what `mypy` without arguments checks, from nothing, so that no expression is left out."""
    with chdir(ROOT):
        sources, options = process_options([])
        options.incremental, options.cache_dir, options.export_types = False, os.devnull, True
        return build(sources, options)


@cache
def attributes_read() -> frozenset[str]:
    """Return ``module.Class.attribute`` for each attribute that some code reads of a value of a known class.

    The class is the one that declares the attribute. What is read of `Any`, or by `getattr`, is not seen.
    """
    types = checked().types
    found = [
        (owner, part.name) for part in types if isinstance(part, MemberExpr) for owner in _classes(types.get(part.expr))
    ]
    return frozenset(
        next((f"{base.fullname}.{name}" for base in owner.type.mro if name in base.names), "") for owner, name in found
    )


def _classes(of: Type | None) -> Iterator[Instance]:
    proper = get_proper_type(of)
    if isinstance(proper, Instance):
        yield proper
    elif isinstance(proper, UnionType):
        for item in proper.items:
            yield from _classes(item)
    elif isinstance(proper, TypeVarType):
        yield from _classes(proper.upper_bound)
