"""Published numbers that the rule pack prints already: read from its tables, so that each stands in one place."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from pathlib import Path

_TABLES = Path(__file__).resolve().parents[2] / "rules/newborn/tables"
_FED = {"exclusive_breast": "breast_only", "formula": "formula_only"}
_MIDWEEK = 3
Curve = tuple[tuple[float, float], ...]


def _rows(name: str) -> list[dict[str, str]]:
    lines = (_TABLES / f"{name}.csv").read_text("utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


@cache
def birth_weight_kg() -> Mapping[tuple[str, int], tuple[float, float, float]]:
    """Return by sex and completed week (at +3 days) P10, P50, P90; INTERGROWTH-21st, Villar 2014."""
    return {
        (row["sex"], int(row["gestation_days"]) // 7): (float(row["P10"]), float(row["P50"]), float(row["P90"]))
        for row in _rows("intergrowth-21st-weight")
        if int(row["gestation_days"]) % 7 == _MIDWEEK
    }


@cache
def weight_loss_pct() -> Mapping[tuple[str, str], Curve]:
    """Return by feeding and delivery the median loss by age in hours. Breast: Flaherman 2015; formula: Miller 2015."""
    curves: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for row in _rows("weight-loss-published"):
        if row["percentile"] == "50":
            curve = curves.setdefault((_FED[row["feeding"]], row["delivery"]), [(0, 0.0)])
            curve.append((int(row["age_h"]), float(row["loss_pct"])))
    return {key: tuple(curve) for key, curve in curves.items()}
