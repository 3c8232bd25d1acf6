"""The orders of work: which findings stand in which step, once in each order; what is asked alone has its own step."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from layette.engine.api import Pack
from layette.engine.pack.written.shape import Label, OwnStep
from layette.mapping.pages.exam.labels import Labels

ALONE = "alone"
_ALONE = {"en": "Alone", "es": "A solas"}
_ASK = {"en": "Ask without anybody else in the room", "es": "Preguntar sin nadie más en la sala"}
_AS_LISTED = {"en": "Head to toe", "es": "De la cabeza a los pies"}


def orders(pack: Pack, labels: Labels) -> list[dict[str, Any]]:
    """Return each order as its steps with their findings. A pack without orders is gone through as it is listed."""
    private = [name for name, shape in pack.findings.items() if shape.private]
    room = {"name": ALONE, "label": _ALONE, "step": _ASK, "findings": private, "private": True}
    rooms = [room] if private else []
    if not pack.orders:
        areas: list[str | OwnStep] = [area.area for area in pack.areas]
        return [{"name": "as_listed", "label": _AS_LISTED, "steps": [*_steps(areas, pack, labels), *rooms]}]
    return [
        {"name": name, "label": _words(order.label), "steps": [*_steps(order.steps, pack, labels), *rooms]}
        for name, order in pack.orders.items()
    ]


def _steps(steps: Collection[str | OwnStep], pack: Pack, labels: Labels) -> Iterator[dict[str, Any]]:
    areas = {area.area: area for area in pack.areas}
    taken = {finding for one in steps if isinstance(one, OwnStep) for finding in one.findings}
    taken |= {name for name, shape in pack.findings.items() if shape.private}
    for one in steps:
        if isinstance(one, OwnStep):
            made = {"name": one.name, "label": _words(one.label), "step": _words(one.step), "findings": one.findings}
        else:
            left = [name for name in areas[one].findings if name not in taken]
            made = {"name": one, "label": labels.area(areas[one]), "step": labels.step(areas[one]), "findings": left}
        if made["findings"]:
            yield made


def _words(label: Label) -> dict[str, str]:
    return {"en": label.en, "es": label.es}
