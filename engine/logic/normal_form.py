"""A condition in normal form: negation at the leaves, tests of one variable merged.

Merging never makes an answer less sharp: `x is 1 or 2, and x is not 2` asks once for 1.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State


def normal_form(node: Node, full: Sequence[State]) -> Node:
    """Return an equal, or sharper, tree without `Not` and with one test a variable in each `AllOf`/`AnyOf`.

    Args:
        node: any condition.
        full: for each variable, the mask of all its atoms.
    """
    return _merged(_pushed(node, full, negate=False))


def _pushed(node: Node, full: Sequence[State], *, negate: bool) -> Node:
    match node:
        case Among(var, mask):
            return Among(var, full[var] & ~mask) if negate else node
        case Not(part):
            return _pushed(part, full, negate=not negate)
        case AllOf(parts) | AnyOf(parts):
            pushed = tuple(_pushed(part, full, negate=negate) for part in parts)
            return AnyOf(pushed) if isinstance(node, AllOf) is negate else AllOf(pushed)


def _merged(node: Node) -> Node:
    if isinstance(node, Among | Not):
        return node
    kind = type(node)
    tests: dict[int, int] = {}
    rest: list[Node] = []
    for part in _flattened(node.parts, kind):
        if not isinstance(part, Among):
            rest.append(part)
        elif part.var in tests:
            both = tests[part.var]
            tests[part.var] = both & part.mask if kind is AllOf else both | part.mask
        else:
            tests[part.var] = part.mask
    parts = (*(Among(var, mask) for var, mask in tests.items()), *dict.fromkeys(rest))
    return parts[0] if len(parts) == 1 else kind(parts)


def _flattened(parts: Sequence[Node], kind: type[AllOf] | type[AnyOf]) -> Iterator[Node]:
    for part in map(_merged, parts):
        if isinstance(part, kind):
            yield from part.parts
        else:
            yield part
