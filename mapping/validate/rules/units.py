"""Whether a code is UCUM: a table of common codes answers at once, ucumvert's grammar the rest.

ucumvert takes half a second to start, so it is loaded with the first code that neither stands in the table nor is made
of what stands there. Where somebody took it away, such a code is reported as not checked.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache, lru_cache

from layette.mapping.fhir.types import table


@cache
def common() -> frozenset[str]:
    """Return the codes that are known to be UCUM."""
    return frozenset(row["code"] for row in table("ucum_common.csv"))


_ANNOTATION = re.compile(r"\{[!-z|~]+\}", re.ASCII)
"""A unit that is only a remark, such as ``{score}``: any printed ASCII, without spaces and braces."""

_JOINT = re.compile(r"[./]")


def composed(code: str) -> bool:
    """Return whether a code is a remark, or common units joined by ``.`` and ``/``, which UCUM allows without limit."""
    if _ANNOTATION.fullmatch(code):
        return True
    parts = _JOINT.split(code.removeprefix("/"))
    return "{" not in code and all(part in common() for part in parts)


@cache
def _grammar() -> Callable[[str], object] | None:
    """Return a parser that raises for what is no UCUM, or ``None`` without ucumvert."""
    try:
        from ucumvert import get_ucum_parser  # type: ignore[import-untyped]
    except ImportError:
        return None
    parse: Callable[[str], object] = get_ucum_parser().parse
    return parse


@lru_cache(maxsize=4096)
def is_ucum(code: str) -> bool | None:
    """Return whether ``code`` is UCUM; ``None`` if it is uncommon and ucumvert is not installed."""
    if code in common() or composed(code):
        return True
    parse = _grammar()
    if parse is None:
        return None
    try:
        parse(code)
    except Exception:  # the grammar has its own family of errors, which all mean "not UCUM"
        return False
    return True
