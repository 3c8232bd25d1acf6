"""What is planted: a finding that asks for something, and what becomes of it."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from typing import Any, Final

Findings = dict[str, Any]
DAY = 24.0
YELLOW, FEVER = "yellow, not measured", "fever"


@dataclass(frozen=True)
class Problem:
    """A finding, the rule that it fires, and the hours after the visit at which an order is in time, or late.

    ``share``: of newborns who have it, always invented. ``whole``: only a record of the birth tells it.
    """

    kind: str
    rule: str
    target: str
    priority: str
    share: float
    in_time: tuple[float, float]
    late: tuple[float, float]
    sided: bool = False
    whole: bool = False


PROBLEMS: Final = (
    Problem("red reflex absent", "eyes.red-reflex-abnormal", "ophthalmology", "stat", 0.001,
            (0.2, 20), (30, 6 * DAY), sided=True),
    Problem("hip out of joint", "hips.ortolani", "orthopedics", "urgent", 0.002, (2, 6 * DAY), (8 * DAY, 20 * DAY),
            sided=True),
    Problem("lump in the belly", "belly.lump", "belly_ultrasound", "urgent", 0.008, (2, 6 * DAY), (8 * DAY, 20 * DAY)),
    Problem("no vitamin K", "screens.vitamin-k-declined", "vitamin_k_dose", "asap", 0.015, (0.2, 20), (30, 6 * DAY)),
    Problem(YELLOW, "jaundice.measure", "bilirubin_measurement", "asap", 0.08, (0.2, 5), (8, 40)),
    Problem(FEVER, "danger-signs.fever", "emergency_department", "stat", 0.004, (0.1, 0.8), (30, 60)),
    Problem("hearing not passed", "screens.hearing-not-passed", "hearing_rescreen_test", "routine", 0.03,
            (DAY, 15 * DAY), (31 * DAY, 45 * DAY), whole=True),
    Problem("breech", "hips.breech", "hip_ultrasound", "routine", 0.03, (2, 20 * DAY), (48 * DAY, 50 * DAY),
            whole=True),
)  # fmt: skip
MOST: Final = 0.2
"""However often they are wanted, no more than this share has a problem."""
OUTCOMES: Final = {"in time": 0.70, "late": 0.12, "missed": 0.12, "declined": 0.06}
"""Invented shares of what becomes of what is due."""


@dataclass(frozen=True)
class Planted:
    """A problem of one newborn at one visit, with its outcome and the hour after the visit of its order."""

    problem: Problem
    side: str | None
    outcome: str
    hours: float | None

    def told(self) -> dict[str, Any]:
        """Say what is true, as a row of the truth has it."""
        one = self.problem
        return {
            "kind": one.kind, "rule": one.rule, "target": one.target, "priority": one.priority, "side": self.side,
            "outcome": self.outcome, "hours": self.hours,
        }  # fmt: skip


def plant(rng: Random, whole: bool, often: float, comes_back: bool) -> list[Planted]:
    """Return what one newborn has. ``often`` multiplies how many have it; of who never comes back no order is told.

    A newborn with a fever is not yellow as well: together they ask for another test, at once.
    """
    having = [one for one in PROBLEMS if rng.random() < min(MOST, one.share * often) and (whole or not one.whole)]
    feverish = any(one.kind == FEVER for one in having)
    return [_planted(one, rng, comes_back) for one in having if not (feverish and one.kind == YELLOW)]


def _planted(problem: Problem, rng: Random, comes_back: bool) -> Planted:
    side = rng.choice(("left", "right")) if problem.sided else None
    outcome = rng.choices([*OUTCOMES], [*OUTCOMES.values()])[0] if comes_back else "missed"
    span = problem.late if outcome == "late" else problem.in_time
    return Planted(problem, side, outcome, None if outcome == "missed" else round(rng.uniform(*span), 2))


def shown(planted: Planted, findings: Findings, birth: Findings) -> None:
    """Write the finding of a problem over what was normal."""
    kind, other = planted.problem.kind, "right" if planted.side == "left" else "left"
    if kind == "red reflex absent":
        findings.pop("red_reflex.both", None)
        findings.update({f"red_reflex.{planted.side}": "absent", f"red_reflex.{other}": "present"})
    elif kind == "hip out of joint":
        findings.pop("ortolani.both", None)
        findings.update({f"ortolani.{planted.side}": "positive", f"ortolani.{other}": "negative"})
    elif kind == "no vitamin K":
        birth.pop("vitamin_k", None)
        findings["vitamin_k"] = "not_given"
    elif kind == "lump in the belly":
        findings["belly_mass"] = "elsewhere"
    elif kind == YELLOW:
        findings["jaundice"] = "face"
    elif kind == FEVER:
        findings["temperature"] = {"value": 38.4, "unit": "Cel"}
    elif kind == "hearing not passed":
        birth.pop("hearing_screen.both", None)
        birth |= {"hearing_screen.left": "did_not_pass", "hearing_screen.right": "pass"}
    else:
        birth["presentation"] = "breech"
