"""The frame of every page: templates that escape all they are given, and a style that goes with the page."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files

from jinja2 import DictLoader, Environment, StrictUndefined

_HERE = files(__package__)
_PRINTED = re.compile(r"(@media print { html { font-size: )([\d.]+)(pt; } })")


@cache
def _environment() -> Environment:
    """Return the templates of this folder; a name that a template needs and is not given is an error."""
    texts = {one.name: one.read_text("utf-8") for one in _HERE.iterdir() if one.name.endswith(".j2")}
    return Environment(
        loader=DictLoader(texts), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )


def filled(template: str, **values: object) -> str:
    """Return the template ``<template>.html.j2`` of this folder with its values."""
    return _environment().get_template(f"{template}.html.j2").render(**values)


def print_size(sizes: tuple[float, float], letters: int, room: int) -> str:
    """Return the style of a page whose type is smaller on paper where more ``letters`` stand on it than have room.

    ``sizes``: the usual size in points, and the least.
    """
    usual, least = sizes
    size = max(least, usual * min(1, room / max(letters, 1)) ** 0.5)
    return f"@media print {{ html {{ font-size: {size:.2f}pt; }} }}"


def in_smaller_type(page: str, share: float) -> str:
    """Return a page whose type on paper, as ``print_size`` chose it, is ``share`` as large."""
    return _PRINTED.sub(lambda found: f"{found[1]}{float(found[2]) * share:.2f}{found[3]}", page, count=1)


def script(name: str) -> str:
    """Return the script ``<name>.js`` of this folder."""
    return (_HERE / f"{name}.js").read_text("utf-8")


def style(name: str) -> str:
    """Return the style sheet ``<name>.css`` of this folder."""
    return (_HERE / f"{name}.css").read_text("utf-8")
