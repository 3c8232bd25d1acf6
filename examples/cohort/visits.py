"""The visits of one newborn as flat visits, with what is true of each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from random import Random
from typing import Any

from cohort import numbers
from cohort.newborns import DAY_H, Newborn, newborn
from cohort.problems import MOST, YELLOW, Findings, Planted, plant, shown

Row = dict[str, Any]
EXAMINATION: Findings = {
    "colour": "pink", "alertness": "wakes_and_settles", "work_of_breathing": "easy", "jaundice": "none",
    "family_sees_jaundice": "no", "red_reflex.both": "present", "red_reflex_match": "alike", "cornea.both": "clear",
    "palate": "whole", "murmur": "none", "femoral_pulse.both": "strong", "belly": "soft", "genitalia": "typical",
    "anus": "usual", "spine": "straight", "sacral_dimple": "none", "ortolani.both": "negative",
    "barlow.both": "negative", "hip_abduction.both": "full", "tone": "usual", "anterior_fontanelle": "flat",
    "cord_skin": "clear", "vomiting": "spit_up", "stool_colour": "yellow", "bleeding": "none",
}  # fmt: skip
BIRTH: Findings = {
    "presentation": "head_first", "plurality": "single", "vitamin_k": "injection", "eye_prophylaxis": "given",
    "hepatitis_b_vaccine": "given", "hearing_screen.both": "pass", "bloodspot": "collected", "mother_hbsag": "negative",
}  # fmt: skip


@dataclass
class Made:
    """A visit, and what is true of it: what was planted, what was taken back, told in two units or left out.

    ``loss_pct``: of the weight at birth, at a visit that tells both weights; exactly of what is written.
    """

    visit: Row
    planted: list[Planted]
    marks: list[str] = field(default_factory=list)
    loss_pct: float | None = None


def visits_of(number: int, of: int, seed: int, often: float) -> Iterator[Made]:
    """Yield the visits of a newborn, the same for the same seed whatever was made before."""
    rng = Random(f"{seed}/{number}")
    baby = newborn(number, of, rng)
    comes_back = rng.random() < numbers.COMES_BACK
    planted = plant(rng, baby.whole, often, comes_back)
    hours = _first_visit(baby, rng)
    made = _first(baby, hours, planted, rng, often)
    if rng.random() < fault("sex missing", often):
        del made.visit["sex_at_birth"]
        made.marks.append("sex missing")
    yield made
    if comes_back:
        yield from _later(baby, hours, planted, rng)


def fault(kind: str, often: float) -> float:
    """Return the share of visits that have a fault."""
    return min(MOST, numbers.FAULTS[kind] * often)


def healthy(baby: Newborn, rng: Random) -> Made:
    """Return the visit that closes the record: of a newborn who has nothing."""
    made = _first(baby, 4.0 * DAY_H, [], rng, 0)
    made.marks.append("closing")
    return made


def _first_visit(baby: Newborn, rng: Random) -> float:
    late = numbers.CLINICS[baby.clinic][-1]
    days = rng.uniform(*numbers.FIRST_VISIT_DAYS) + (rng.uniform(*numbers.LATE_BY_DAYS) if rng.random() < late else 0)
    return days * DAY_H


def _first(baby: Newborn, hours: float, planted: list[Planted], rng: Random, often: float) -> Made:
    findings = {name: value for name, value in EXAMINATION.items() if rng.random() < baby.written}
    birth = dict(BIRTH)
    findings |= _measured(baby, hours, rng)
    loss = _loss_pct(baby, findings["weight"])
    for one in planted:
        shown(one, findings, birth)
    marks = ["whole record" if baby.whole else "single visit"]
    if rng.random() < fault("corrected", often):
        marks.append("corrected")
        findings["weight"] = _corrected(findings["weight"])
    yellow = any(one.problem.kind == YELLOW for one in planted)
    if not yellow and rng.random() < fault("two units", often):
        marks.append("two units")
        findings["serum_bilirubin"] = _two_units(baby, hours, rng)
    history = {"findings": _birth(baby, birth)}
    return Made(_visit(baby, "first", hours, findings, history), planted, marks, loss)


def _birth(baby: Newborn, birth: Findings) -> Findings:
    """Return what the record tells of the birth: all of it, or the weight alone."""
    told: Findings = {"birth_weight": {"value": baby.birth_g, "unit": "g", "time": baby.clock(0.2)}}
    if baby.whole:
        told |= {name: {"value": value, "time": baby.clock(2)} for name, value in birth.items()}
        told["gestational_age"] = {"value": baby.weeks, "unit": "wk", "time": baby.clock(0.2)}
        told["delivery"] = {"value": baby.delivery, "time": baby.clock(0.2)}
    return told


def _later(baby: Newborn, first: float, planted: list[Planted], rng: Random) -> Iterator[Made]:
    """Yield the visits after the first: growth, and what was ordered meanwhile, told once."""
    second, third = (rng.uniform(*span) * DAY_H for span in (numbers.SECOND_VISIT_DAYS, numbers.THIRD_VISIT_DAYS))
    acts = [(first + one.hours, one) for one in planted if one.hours is not None]
    for name, since, until in (("second", 0.0, second), ("third", second, third)):
        orders = [_order(baby, at, one) for at, one in acts if since < at <= until]
        if name == "second" or orders:
            findings = {**_measured(baby, until, rng), "jaundice": "none"}
            yield Made(_visit(baby, name, until, findings, {"orders": orders} if orders else {}), [])


def _visit(baby: Newborn, name: str, hours: float, findings: Findings, history: Row) -> Row:
    return {
        "layette_visit": 1, "patient": f"Patient/invented-{baby.number}",
        "encounter": f"Encounter/invented-{baby.number}-{name}", "clinic": baby.clinic,
        "born": baby.clock(0, own=True), "at": baby.clock(hours), "sex_at_birth": baby.sex, "findings": findings,
        **({"history": history} if history else {}),
    }  # fmt: skip


def _measured(baby: Newborn, hours: float, rng: Random) -> Findings:
    grams = baby.weight_g(hours)
    pounds = {"value": round(grams / numbers.GRAMS_PER_POUND, 2), "unit": "[lb_av]"}
    low, high = 36.5, 37.5
    return {
        "weight": pounds if rng.random() < 0.3 else {"value": grams, "unit": "g"},
        "temperature": {"value": round(min(high, max(low, rng.gauss(*numbers.TEMPERATURE_C))), 1), "unit": "Cel"},
        "heart_rate": {"value": round(rng.gauss(*numbers.HEART_RATE)), "unit": "/min"},
        "breathing_rate": {"value": min(58, round(rng.gauss(*numbers.BREATHING_RATE))), "unit": "/min"},
        "feeding_type": baby.feeding,
    }


def _loss_pct(baby: Newborn, weight: Row) -> float:
    grams = float(weight["value"]) * (numbers.GRAMS_PER_POUND if weight["unit"] == "[lb_av]" else 1)
    return round(100 * (baby.birth_g - grams) / baby.birth_g, 4)


def _corrected(weight: Row) -> list[Row]:
    """Return a weight after one that was wrong, and would be an alarming loss, and was taken back."""
    wrong = round(weight["value"] * numbers.WRONG_WEIGHT, 2)
    return [{**weight, "value": wrong, "status": "entered-in-error"}, weight]


def _two_units(baby: Newborn, hours: float, rng: Random) -> list[Row]:
    """Return one sample, drawn an hour before the visit, in the units of two laboratories."""
    value, time = round(max(1.0, rng.gauss(*numbers.BILIRUBIN_MG_DL)), 1), baby.clock(hours - 1)
    micromol = round(value * numbers.UMOL_PER_MG_DL)
    return [{"value": value, "unit": "mg/dL", "time": time}, {"value": micromol, "unit": "umol/L", "time": time}]


def _order(baby: Newborn, at: float, planted: Planted) -> Row:
    one, declined = planted.problem, planted.outcome == "declined"
    return {
        "target": one.target, "status": "revoked" if declined else "completed", "priority": one.priority,
        "time": baby.clock(at), "reference": f"ServiceRequest/invented-{baby.number}-{one.target}".replace("_", "-"),
        **({"side": planted.side} if planted.side else {}),
        **({"reason": "the family said no (invented)"} if declined else {}),
    }  # fmt: skip
