"""The pulse-oximetry screen, by both published schemes, through the rules of the shipped pack.

Sources: Oster et al., Pediatrics 2025;155(1):e2024069667 (2025: both sites at least 95 %, differing by 3 at most, one
retest); Kemper et al., Pediatrics 2011;128:e1259 (2011: one site is enough, two retests; below 90 % fails at once).
"""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest

from layette.engine import load_pack

SCHEMES = {"aap-2025": "expected_2025", "aap-aha-2011": "expected_2011"}
LINES = [
    line
    for line in (Path(__file__).parent / "cchd_examples.csv").read_text(encoding="utf-8").splitlines()
    if not line.startswith("#")
]
ROWS = list(csv.DictReader(LINES))


def outcome(scheme: str, *attempts: tuple[float, float]) -> str:
    """Return pass, fail or retest, as the conclusions and recommendations of the pack say it."""
    readings: list[dict[str, Any]] = [
        {"hand": hand, "foot": foot, "unit": "%", "age": f"{26 + k} h"} for k, (hand, foot) in enumerate(attempts)
    ]
    flat = {
        "born": "2026-06-01T08:00:00-05:00",
        "at": "2026-06-03T08:00:00-05:00",
        "findings": {"pulse_oximetry": readings},
        "settings": {"pulse_oximetry_scheme": scheme},
    }
    found = load_pack().assess(flat, readers=["native"])
    state = {c.id: c.state for c in found.conclusions}
    if state["cchd_screen_failed"] == "yes":
        return "fail"
    if state["cchd_screen_passed"] == "yes":
        return "pass"
    assert any(r.target == "oximetry_retest" for r in found.recommendations)
    return "retest"


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['hand']}-{r['foot']}-attempt-{r['attempt']}")
def test_each_published_row(row: dict[str, str], scheme: str) -> None:
    reading = float(row["hand"]), float(row["foot"])
    before = [(94.0, 94.0)] * (int(row["attempt"]) - 1)
    assert outcome(scheme, *before, reading) == row[SCHEMES[scheme]]


def test_rows_were_read() -> None:
    assert len(ROWS) == 5


@pytest.mark.parametrize(("hand", "foot"), [(89, None), (None, 82)])
def test_one_low_reading_decides_alone(hand: float | None, foot: float | None) -> None:
    reading = {"unit": "%", "age": "26 h"} | {k: v for k, v in (("hand", hand), ("foot", foot)) if v is not None}
    flat = {
        "born": "2026-06-01T08:00:00-05:00",
        "at": "2026-06-03T08:00:00-05:00",
        "findings": {"pulse_oximetry": reading},
    }
    found = load_pack().assess(flat, readers=["native"])
    assert {c.id: c.state for c in found.conclusions}["cchd_screen_failed"] == "yes"
    assert any(r.certain == "stat" for r in found.recommendations)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_a_difference_of_exactly_three_passes(scheme: str) -> None:
    assert outcome(scheme, (98, 95)) == "pass"


def test_2011_allows_two_retests_and_no_more() -> None:
    assert outcome("aap-aha-2011", (94, 94), (94, 94)) == "retest"
    assert outcome("aap-aha-2011", (94, 94), (94, 94), (94, 94)) == "fail"
