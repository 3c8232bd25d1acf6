"""Recordings that are read in one go are those that are read part by part, problems and all."""

from __future__ import annotations

import json
from copy import deepcopy
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from layette.engine import load_pack
from layette.engine.visit import quick as quickly
from layette.engine.visit import reader as reading
from layette.engine.visit.quick import QuickReader
from layette.engine.visit.visit import Visit
from layette.mapping.fhir.json import loads
from layette.mapping.read import read

EXAMPLES = Path(__file__).parents[3] / "examples"
AT, BORN = "2026-06-05T10:00:00-05:00", "2026-06-01T08:00:00-05:00"


def outcome(flat: Any, monkeypatch: pytest.MonkeyPatch, *, part_by_part: bool) -> tuple[Visit | None, Any, Any]:
    """The visit and what was told; ``part_by_part``: as if there were no usual recordings."""
    with monkeypatch.context() as patch:
        if part_by_part:
            patch.setattr(QuickReader, "read", lambda *_, **__: None)
            patch.setattr(reading, "plain", lambda _: False)
        reader = load_pack().visit_reader()
        visit = reader.attempt(flat)
        return visit, reader.report.found, reader.report.warnings


def same_both_ways(flat: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    for _ in range(2):  # the second time what was said is known
        one, other = (outcome(deepcopy(flat), monkeypatch, part_by_part=slowly) for slowly in (False, True))
        assert one == other
        assert repr(one) == repr(other), "3, 3.0 and True are equal, and not the same"


NAMES = [
    "weight", "temperature", "serum_bilirubin", "jaundice", "red_reflex", "red_reflex.left", "red_reflex.both",
    "jaundice.left", "pulse_oximetry", "epds_self_harm_item", "no_such_finding", "alertness", "weight.",
    "red_reflex.up", "skin_examination", "hepatitis_b_of_mother", "maternal_hbsag",
]  # fmt: skip
VALUES = st.sampled_from([
    "3.2", 3, 3.0, True, False, None, "legs", "absent", "present", "abnormal", "normal", "yes", "no", "", "3,2", "-1",
    "36.70", 36.7, Decimal("36.70"), "1e3", 10**80, "٣", " 3", {"between": [1, 2]}, {"below": 5}, [], {}, ["legs"],
    "unknown", "\ud800", "2", "0", "38", "17.9", "1200",
])  # fmt: skip
TIMES = st.sampled_from([
    AT, BORN, "2026-06-03T10:00:00-05:00", "2026-06-03", "2026-06-01", "2026-06-05T15:30:00Z", "2026-06-05T15:30:00",
    "2026-06-09T10:00:00-05:00", "2026-05-01T10:00:00-05:00", "", None, 7, "1026-06-03T10:00:00-05:00",
    "2026-W23-3T10:00:00-05:00", "2026-06-03T10:00:00-05:00:30", "2026-06-03T10:00-05:00:30", [],
])  # fmt: skip
ODD = st.sampled_from(["", "x", None, 0, 1, True, [], {}])
FIELDS = st.fixed_dictionaries(
    {},
    optional={
        "value": VALUES,
        "unit": st.sampled_from(["kg", "g", "Cel", "[degF]", "mg/dL", "umol/L", "%", "", None, 1, {}]),
        "time": TIMES,
        "side": st.sampled_from(["left", "right", "both", "", None, 0, "up", []]),
        "status": st.sampled_from(["final", "corrected", "preliminary", "entered-in-error", "gone", None, 1, []]),
        "absent": st.sampled_from(["asked-unknown", "not-performed", "", None, 0, 1, []]),
        "reported": st.sampled_from([True, False, 1, 0, None, "yes"]),
        "origin": ODD,
        "path": ODD,
        "given": ODD,
        "route": st.sampled_from(["rectal", "axillary", "nowhere", 1, None]),
        "age": st.sampled_from(["26 h", "x"]),
        "part": st.sampled_from(["hand", "foot"]),
        "hand": st.sampled_from(["97"]),
        "charted_by": st.sampled_from(["skin_examination", "x"]),
    },
)
USUAL = st.fixed_dictionaries(
    {"value": st.sampled_from(["3.2", "38", 3, 3.5, "legs", "absent", "present", "yes", "no", "abnormal"])},
    optional={
        "unit": st.sampled_from(["kg", "g", "Cel", "mg/dL"]),
        "time": st.sampled_from([AT, BORN, "2026-06-03T10:00:00-05:00", "2026-06-03"]),
        "side": st.sampled_from(["left", "both"]),
        "reported": st.booleans(),
        "given": st.just("as printed"),
    },
)
ITEMS = FIELDS | USUAL | VALUES
FINDINGS = st.dictionaries(st.sampled_from(NAMES), ITEMS | st.lists(ITEMS, max_size=3), max_size=4)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(FINDINGS, FINDINGS, st.sampled_from([BORN, "2026-06-01", "2026-06-01T13:00:00Z"]))
@example({"weight": [{"value": 3, "unit": "kg"}, {"value": 3.0, "unit": "kg"}, {"value": "3", "unit": "kg"}]}, {}, BORN)
@example({"jaundice": [{"value": "legs", "reported": True}, {"value": "legs", "reported": 1}]}, {}, BORN)
@example({"red_reflex.both": "present", "red_reflex": {"value": "absent", "side": "left"}}, {}, BORN)
def test_any_recording_is_read_alike_in_one_go_and_part_by_part(here: Any, earlier: Any, born: str) -> None:
    flat = {"born": born, "at": AT, "findings": here, "history": {"findings": earlier}}
    with pytest.MonkeyPatch.context() as patch:
        same_both_ways(flat, patch)


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.json")), ids=lambda path: path.stem)
def test_an_example_is_read_alike_in_one_go_and_part_by_part(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    content = loads(path.read_bytes())
    flat = read(content, load_pack()).visit if "resourceType" in content else content
    same_both_ways(flat, monkeypatch)
    same_both_ways(json.loads(json.dumps(flat, default=float)), monkeypatch)


def test_what_was_said_is_kept_within_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(quickly, "_MOST_KNOWN", 3)
    monkeypatch.setattr(quickly, "_MOST_LAYOUTS", 2)
    weights = [{"value": f"3.{k}", "unit": "kg"} for k in range(9)]
    orders = [{"unit": "kg", "value": "3"}, {"value": "3", "status": "final", "unit": "kg"}, *weights]
    same_both_ways({"born": BORN, "at": AT, "findings": {"weight": orders}}, monkeypatch)
    known = quickly.usual(load_pack().subjects, "weight")
    assert known is not None
    assert len(known.layouts) <= 2
    assert all(len(layout.known) <= 3 for layout in known.layouts.values())
