"""The emergencies of an answer, a line of text each: what an error must not hide."""

from __future__ import annotations

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Recommendation, ToJudge


def emergencies(assessment: Assessment) -> tuple[str, ...]:
    """Return what is `stat` in an answer: to be done now, overdue and to be chased, to be judged before they leave.

    A value that could not be read, and on which something pressing may hang, is as good as that.
    """
    return (
        *(_act(made) for made in assessment.recommendations if made.priority == "stat"),
        *(f"overdue, chase it: {_act(made)}" for made in assessment.to_chase if made.priority == "stat"),
        *(_judged(value) for value in assessment.to_judge if value.priority == "stat"),
        *(f"{finding}: a value could not be read, look before they leave" for finding in assessment.verdict.not_read),
    )


def _act(made: Recommendation) -> str:
    reason = made.reasons[0]
    return f"{_thing(made)}: {reason.because} [{reason.rule}]"


def _judged(value: ToJudge) -> str:
    recorded = ", ".join(f"{used.label} {used.value}" for used in value.values)
    return f"{_thing(value)}: judge before they leave ({recorded}). {value.why} [{', '.join(value.rules)}]"


def _thing(made: Recommendation | ToJudge) -> str:
    return f"{made.label}, {made.side}" if made.side else made.label
