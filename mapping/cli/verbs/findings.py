"""`layette findings`: what can be recorded, by its name in a visit, with values or units."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from layette.engine.api import Pack, load_pack
from layette.engine.pack.written.shapes import FindingShape


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "List the findings of a pack, one a line, in the order of the examination: the name that a visit or a rule "
        "uses, the label, and the values (* expected) or the units and what is physically possible."
    )
    verb.add_argument("word", metavar="WORD", nargs="?", help="a word of the name, the label, a value or the area")
    verb.add_argument("--pack", metavar="DIR", help="the rule pack (default: the one that ships with Layette)")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """List the findings; returns 0."""
    pack = load_pack(arguments.pack)
    lines = [(area, line) for area, text, line in _lines(pack) if (arguments.word or "").casefold() in text.casefold()]
    told = ""
    for area, line in lines:
        if area != told:
            print(f"{area}:")
            told = area
        print(f"  {line}")
    print(f"{len(lines)} of {len(pack.findings)} findings. * is expected of a healthy newborn.")
    return 0


def _lines(pack: Pack) -> Iterator[tuple[str, str, str]]:
    """Yield for each finding its area, the text that a word is looked for in, and its line."""
    for area in pack.areas:
        for name, shape in area.findings.items():
            line = f"{name}{_whose(shape)}: {shape.label}. {_values(shape)}"
            yield area.label, f"{area.area}\n{line}", line


def _whose(shape: FindingShape) -> str:
    sides = ".left .right" if shape.sides else ""
    parts = " ".join(f".{part}" for part in shape.readings.parts) if shape.readings else ""
    told = ", ".join(part for part in (sides, parts, "of the mother" if shape.subject == "mother" else "") if part)
    return f" ({told})" if told else ""


def _values(shape: FindingShape) -> str:
    if shape.number is None:
        expected = [shape.expected] if isinstance(shape.expected, str) else shape.expected or []
        return ", ".join(f"{value}{'*' if value in expected else ''}" for value in shape.values or ())
    units = dict.fromkeys((shape.number.unit, *shape.number.accepts))
    low, high = shape.number.plausible
    return f"{' or '.join(units)}; possible {low:g} to {high:g} {shape.number.unit}"
