"""The baseline: the same rules as a programmer writes them by hand, `if` and `and` over a dict of plain values.

One function, one `if` a rule; a value that is missing counts as "no". It knows no unknown, no interval, no
replacement left open and no explanation: what the rules cost without the engine.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from typing import Any

from layette.engine.api import Pack
from layette.engine.logic.conditions import AllOf, Among, Node
from layette.engine.pack.written.views import Entry, cell

Values = Mapping[str, Any]


def written(pack: Pack) -> tuple[Callable[[Values], list[str]], str]:
    """Return the function and its source."""
    lines = ["def rules(v):", "    fired = []"]
    for k, rule in enumerate(pack.program.rules):
        condition = f"({_text(rule.applies, pack)}) and ({_text(rule.when, pack)})"
        for replacement in rule.replacements:
            condition += f" and not ({_text(replacement, pack)})"
        lines.append(f"    if {condition}:")
        lines += [f"        v[{pack.table.entries[var].view.key!r}] = True" for var in rule.concludes]
        lines.append(f"        fired.append({pack.instances[k].key!r})")
    lines.append("    return fired")
    source = "\n".join(lines)
    scope: dict[str, Any] = {}
    exec(compile(source, "plain", "exec"), scope)
    return scope["rules"], source


def _text(node: Node, pack: Pack) -> str:
    if isinstance(node, Among):
        return _test(pack.table.entries[node.var], node, pack)
    joint = " and " if isinstance(node, AllOf) else " or "
    parts = [f"({_text(part, pack)})" for part in getattr(node, "parts", ())]
    return joint.join(parts) or str(isinstance(node, AllOf))


def _test(entry: Entry, test: Among, pack: Pack) -> str:
    name = f"v.get({entry.view.key!r})"
    if entry.kind == "flag":
        return name if test.mask & 2 else f"not {name}"
    if entry.kind == "category":
        values = tuple(v for k, v in enumerate(entry.values) if test.mask >> (k + 1) & 1)
        return f"{name} in {values!r}"
    bounds = " or ".join(_bounds(run, pack.table.cuts(test.var)) for run in _runs(test.mask >> 1))
    return f"((x := {name}) is not None and ({bounds or 'False'}))"


def _runs(mask: int) -> Iterator[tuple[int, int]]:
    start = None
    for k in range(mask.bit_length() + 1):
        if mask >> k & 1 and start is None:
            start = k
        elif not mask >> k & 1 and start is not None:
            yield start, k - 1
            start = None


def _bounds(run: tuple[int, int], cuts: tuple[Fraction, ...]) -> str:
    first, last = run
    low = "" if first == 0 else f"x {'>=' if first % 2 else '>'} {float(cuts[(first - 1) // 2])!r}"
    high = (
        "" if last == 2 * len(cuts) else f"x {'<=' if last % 2 else '<'} {float(cuts[(last + 1) // 2 - (last % 2)])!r}"
    )
    return " and ".join(part for part in (low, high) if part) or "True"


def values_of(pack: Pack, states: list[int]) -> dict[str, Any]:
    """Return the plain values of a visit: what is exactly known, as a programmer would have it at hand."""
    out: dict[str, Any] = {}
    for var, entry in enumerate(pack.table.entries):
        state = states[var]
        if state.bit_count() != 1 or state == 1:
            continue
        place = state.bit_length() - 1
        if entry.kind == "flag":
            out[entry.view.key] = place == 1
        elif entry.kind == "category":
            out[entry.view.key] = entry.values[place - 1]
        else:
            out[entry.view.key] = _inside(place - 1, pack.table.cuts(var))
    return out


def _inside(place: int, cuts: tuple[Fraction, ...]) -> float:
    if place % 2:
        return float(cuts[place // 2])
    low = cuts[place // 2 - 1] if place else cuts[0] - 1 if cuts else Fraction(0)
    high = cuts[place // 2] if place // 2 < len(cuts) else low + 1
    middle = (low + high) / 2
    assert cell(cuts, middle) == place
    return float(middle)
