"""INVENTED treatment lines in the form that a site supplies. Not thresholds; no baby is to be compared with them.

They rise in straight lines to a level near where published figures level off, which is what the safety checks of a
supplied set look at.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import yaml

HEADER: dict[str, Any] = {
    "kind": "set",
    "label": "Invented lines for a test",
    "issuer": "aap",
    "source": "aap-2022",
    "status": "verified",
    "unit": "mg/dL",
    "beyond": "at_least",
    "gestations": [35, 36, 37, 38, 39, 40],
    "lines": ["phototherapy", "exchange"],
    "risks": ["none", "present"],
    "covers": [0, 336],
    "provenance": "INVENTED for a test; from no document.",
    "signed_off": [
        {"name": "First", "role": "pediatrician", "on": "2026-01-31"},
        {"name": "Second", "role": "pharmacist", "on": "2026-02-01"},
    ],
}
LEVEL = {35: 18.7, 36: 19.4, 37: 20.1, 38: 20.8, 39: 21.5, 40: 21.8}
Rows = list[list[Any]]


def rows() -> Rows:
    """Line, risk, week, hour, value: from 12 mg/dL below its level at birth to its level at 96 h."""
    made: Rows = []
    for line, risk, week in itertools.product(HEADER["lines"], HEADER["risks"], LEVEL):
        end = LEVEL[week] - (3 if risk == "present" else 0) + (5 if line == "exchange" else 0)
        made += [[line, risk, week, 0, round(end - 12, 1)], [line, risk, week, 96, round(end, 1)]]
    return made


def site_with(
    place: Path,
    text: str,
    name: str = "aap-2022",
    header: dict[str, Any] | None = None,
    change: Callable[[Rows], object] | None = None,
) -> Path:
    """Write a site file with this text, and the invented lines as table ``name`` beside it; return its path."""
    place.mkdir(parents=True, exist_ok=True)
    made = rows()
    if change:
        change(made)
    csv = "# INVENTED for a test\nline,risk,gestation_weeks,age_hours,value\n"
    (place / f"{name}.csv").write_text(csv + "".join(",".join(map(str, row)) + "\n" for row in made), encoding="utf-8")
    (place / f"{name}.yaml").write_text(yaml.safe_dump({**HEADER, **(header or {})}), encoding="utf-8")
    (place / "site.yaml").write_text(f"{text}tables: {{{name}: {name}.csv}}\n", encoding="utf-8")
    return place / "site.yaml"
