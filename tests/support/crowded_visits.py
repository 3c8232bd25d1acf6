"""Visits with more to do than a page was laid out for: an emergency of almost each area, and a mother in need."""

from __future__ import annotations

from typing import Any

EACH_AREA: dict[str, Any] = {
    "born": "2026-11-15T02:00:00-06:00", "at": "2026-11-24T09:00:00-06:00", "sex_at_birth": "male",
    "findings": {
        "temperature": {"value": "38.9", "unit": "Cel", "route": "rectal"}, "red_reflex.left": "white",
        "cornea.right": "cloudy", "eye_discharge.left": "pus", "femoral_pulse.both": "absent",
        "heart_failure_signs": "present", "murmur": "heard", "murmur_grade": "grade_4", "stridor": "at_rest",
        "cord_skin": "red_or_swollen", "vesicles": "present", "petechiae": "spread", "bruising": "unexplained",
        "subgaleal_swelling": "suspected", "nose_patency.both": "blocked",
        "inguinal_hernia.right": "irreducible", "scrotum_color": "blue_or_red", "anus": "not_open",
        "genitalia": "unclear", "spine": "open", "spell_signs": "seen", "leg_movement.both": "weak",
        "tone": "floppy", "vomiting": "green", "stool_colour": "red", "bleeding": "present",
        "arm_movement.left": "stopped_moving", "clavicle.left": "crackle_or_lump", "formula_mixing": "too_thin",
        "vitamin_k": "declined", "ortolani.left": "positive", "sacral_dimple": "present",
        "dimple_base": "draining", "bloodspot_result": "galactosemia", "mother_herpes": "lesions_first_episode",
    },
}  # fmt: skip

MOTHER_IN_NEED: dict[str, Any] = {
    "born": "2026-11-10T13:30:00-06:00", "at": "2026-11-24T16:00:00-06:00", "sex_at_birth": "female",
    "findings": {
        "epds_total": {"value": 22, "unit": "{score}"}, "epds_self_harm_item": {"value": 3, "unit": "{score}"},
        "harm_thoughts_infant": "present", "psychosis_signs": "present",
        "violence_at_home": "danger_now", "mother_stimulant": "now", "mother_hiv": "positive",
        "mother_alcohol": "used", "substance_use_at_home": "impairs_care", "firearms_at_home": "not_locked",
        "food_ran_out": "often", "formula_supply": "none_left", "sleep_place": "sofa_or_chair",
        "breast_pain": "lasting", "other_drinks": "given", "weight": {"value": "3.30", "unit": "kg"},
        "birth_weight": {"value": "3.40", "unit": "kg"},
    },
}  # fmt: skip

YELLOW_TWIN: dict[str, Any] = {
    "born": "2026-11-20T10:00:00+09:00", "at": "2026-11-23T11:30:00+09:00", "sex_at_birth": "male",
    "findings": {
        "plurality": "twin", "presentation": "breech", "gestational_age": {"value": 37, "unit": "wk"},
        "serum_bilirubin": [
            {"value": "520", "unit": "umol/L", "time": "2026-11-23T09:30:00+09:00"},
            {"value": "12", "unit": "mg/dL", "age": "40 h"},
        ],
        "weight": {"value": 2310, "unit": "g"}, "birth_weight": {"value": 2700, "unit": "g"},
        "alertness": "hard_to_wake", "cry": "high_pitched", "feeding_ability": "cannot_feed", "testis.both": "not_felt",
    },
}  # fmt: skip

CROWDED = {"each-area": EACH_AREA, "mother-in-need": MOTHER_IN_NEED, "yellow-twin": YELLOW_TWIN}
