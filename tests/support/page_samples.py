"""Parts of an assessment that the tests of the page put together: values, orders that are late, what is judged."""

from __future__ import annotations

from typing import Any

from support.assessment_samples import (
    AT,
    assessment,
    reason,
    recommendation,
)

from layette.engine.answer.parts.assessment import ComeBack, ComeBackItem, Measured
from layette.engine.answer.shapes.proposed import Placed, Recommendation, ToJudge, Used
from layette.mapping.text import render

WEIGHT = Used(subject="weight", label="Weight", value="7.275 [lb_av]", time=AT, note="= 3.299884 kg")
BILIRUBIN = Used(
    subject="serum_bilirubin", label="Total bilirubin", value="14.0 mg/dL", time="2026-11-24T08:30:00-06:00"
)
BEFORE = Used(subject="red_reflex", label="Red reflex, left", value="white", time="2026-11-22T09:00:00-06:00")
AT_VISIT = ComeBack(
    start="2026-11-28T10:00:00-06:00",
    until="2026-12-01T10:00:00-06:00",
    items=(ComeBackItem(label="Weigh again", side=None, target="weight_recheck"),),
)


def flat(text: str) -> str:
    return " ".join(text.split())


def page(*, full: bool = False, **changes: Any) -> str:
    return render(assessment(**changes), full=full)


def judged(**changes: Any) -> ToJudge:
    values = {
        "target": "exchange", "kind": "order", "label": "Exchange transfusion", "priority": "stat",
        "values": (BILIRUBIN,), "why": "No line covers 36 weeks.", "settles": "Read it on your chart.",
        "rules": ("jaundice.exchange",), "request_key": "k", "answer_key": "a",
    }  # fmt: skip
    return ToJudge(**(values | changes))


def chased(**changes: Any) -> Recommendation:
    placed = Placed(status="active", priority="stat", time=BEFORE.time, until="2026-11-23T09:00:00-06:00", overdue=True)
    return recommendation(placed=placed, reasons=(reason(values=(BEFORE,)),), **changes)


def headline(name: str, label: str, text: str, reading: Used) -> Measured:
    return Measured(
        id=name, label=label, text=text, low="1", high="1", unit=None, derived_from=(reading,), basis="", headline=True
    )
