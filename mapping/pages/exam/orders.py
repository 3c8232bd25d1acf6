"""The orders of work: which findings stand in which step, once for each order of the pack; what is asked alone last."""

from __future__ import annotations

from typing import Any

from layette.engine.api import Pack

PRIVATE = "alone"


def orders(pack: Pack) -> list[dict[str, Any]]:
    """Return the orders of work as steps with their findings; the private room is a step of its own in each."""
    steps = [
        {
            "name": area.area,
            "label": {"en": area.label},
            "step": {"en": area.step},
            "findings": [n for n, f in area.findings.items() if not f.private],
        }
        for area in pack.areas
    ]
    room = {
        "name": PRIVATE,
        "label": {"en": "Alone", "es": "A solas"},
        "step": {"en": "Ask without anybody else in the room", "es": "Preguntar sin nadie más en la sala"},
        "findings": [n for n, f in pack.findings.items() if f.private],
        "private": True,
    }
    return [
        {
            "name": "head_to_toe",
            "label": {"en": "Head to toe", "es": "De la cabeza a los pies"},
            "steps": [*steps, room],
        }
    ]
