"""Whether an order of work leads past everything once: no area left out, no finding in two steps of its own."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from layette.engine.errors import PackProblem, near
from layette.engine.pack.written.shape import OrderShape
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.pack.written.yaml_nodes import Document, Path


def check_orders(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield areas that an order of work leaves out or names twice, and findings that it cannot place."""
    document = pack.documents.get(pack.shape.orders or "")
    for name, order in pack.orders.items() if document is not None else ():
        if document is not None:
            yield from _areas(order, pack, document, ("orders", name, "steps"))
            yield from _own(order, pack, document, ("orders", name, "steps"))


def _areas(order: OrderShape, pack: WrittenPack, document: Document, path: Path) -> Iterator[PackProblem]:
    known, named = [area.area for area in pack.areas], Counter(order.areas)
    for area in named:
        if area not in known:
            message = f"'{area}' is no area of the findings{near(area, known)}"
            yield document.problem(path, "unknown-finding", message)
    for area in known:
        if named[area] != 1:
            told = "leaves out the area" if not named[area] else "names twice the area"
            yield document.problem(
                path, "shape", f"an order of work leads past each area once; this one {told} '{area}'"
            )


def _own(order: OrderShape, pack: WrittenPack, document: Document, path: Path) -> Iterator[PackProblem]:
    names = Counter([*order.areas, *(one.name for one in order.own)])
    placed = Counter(finding for one in order.own for finding in one.findings)
    for k, one in enumerate(order.steps):
        if isinstance(one, str):
            continue
        if names[one.name] > 1:
            yield document.problem((*path, k, "name"), "duplicate-id", f"two steps are named '{one.name}'")
        for finding in one.findings:
            if finding not in pack.findings:
                message = f"no finding '{finding}' is defined{near(finding, pack.findings)}"
                yield document.problem((*path, k, "findings"), "unknown-finding", message)
            elif placed[finding] > 1:
                message = f"'{finding}' stands in two steps; it is looked at once"
                yield document.problem((*path, k, "findings"), "duplicate-id", message)
            elif pack.findings[finding].private:
                message = f"'{finding}' is private: it is asked in a room of its own, in no step"
                yield document.problem((*path, k, "findings"), "shape", message)
