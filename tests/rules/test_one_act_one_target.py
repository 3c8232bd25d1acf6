"""Every target that is the same act as another is joined to it, or stands apart for a reason that is written down."""

from __future__ import annotations

import re
from itertools import combinations

import pytest

from layette.engine import load_pack
from layette.engine.api import Pack
from layette.mapping.read.codes.answers import pairs

ASKED = ("refer", "order", "recheck")
ALIKE = 0.34
"""Words of two labels in common, of all words of both: from here on somebody has to say whether it is one act."""
FILLERS = frozenset(
    [
        "a",
        "an",
        "and",
        "at",
        "be",
        "by",
        "for",
        "from",
        "has",
        "in",
        "into",
        "is",
        "it",
        "its",
        "of",
        "on",
        "or",
        "out",
        "that",
        "the",
        "to",
        "up",
        "was",
        "with",
    ]
)
ANY_ACT = frozenset(
    [
        "again",
        "baby",
        "before",
        "dose",
        "examination",
        "first",
        "give",
        "look",
        "measure",
        "mother",
        "newborn",
        "one",
        "screen",
        "second",
        "test",
        "the",
    ]
)
"""Words that say nothing about which act it is."""

APART = {
    ("audiology", "hearing_rescreen_test"): "the full test, and the screen that may spare it",
    ("bilirubin_measurement", "bilirubin_recheck"): "now, and again some hours later",
    ("bilirubin_recheck", "rebound_bilirubin"): "counted from the first value, and from the end of phototherapy",
    ("bilirubin_screen", "bilirubin_measurement"): "looked up on record first, and what jaundice asks for now",
    ("bloodspot_collection", "bloodspot_repeat"): "the first specimen, and another one since it cannot be read",
    ("bloodspot_collection", "bloodspot_second_specimen"): "the first specimen, and the routine second one",
    ("bloodspot_repeat", "bloodspot_second_specimen"): "at once since it cannot be read, and at its own age",
    ("bloodspot_retrieval", "bloodspot_collection"): "asking for the stored spot takes no blood",
    ("belly_radiograph", "chest_radiograph"): "two pictures",
    ("cardiology", "echocardiogram"): "the specialist, and the test, which another may do",
    ("clavicle_recheck", "palate_second_look"): "different parts are felt",
    ("clavicle_recheck", "scalp_recheck"): "different parts are felt",
    ("cmv_test", "cmv_urine_confirmation"): "that one may be of saliva, and this one must not",
    ("direct_bilirubin_test", "serum_bilirubin_test"): "two values, either may be ordered alone",
    (
        "emergency_department",
        "pediatric_surgery",
    ): "seen there first, and the surgeon is called by name",
    ("feed_and_measure_again", "feeding_assessment"): "a feed that raises sugar, and one that is watched",
    ("feeding_assessment", "lactation"): "the examiner watches a feed, the specialist treats",
    (
        "head_growth_recheck",
        "soft_spot_recheck",
    ): "a week, and some weeks, after different findings; one visit may hold both",
    ("head_shape_recheck", "ear_shape_recheck"): "different parts are looked at",
    ("hearing_screen_test", "hearing_rescreen_test"): "the first, and the repeat of one that was not passed",
    ("hepatitis_b_decision", "hepatitis_b_dose"): "talk, and dose; the targets exclude each other",
    ("hepatitis_b_dose", "hepatitis_b_second_dose"): "doses of a series",
    ("hepatitis_b_dose", "hepatitis_b_third_dose"): "doses of a series",
    ("hepatitis_b_immune_globulin", "varicella_globulin_dose"): "against two illnesses",
    ("hepatitis_b_second_dose", "hepatitis_b_third_dose"): "doses of a series",
    ("hip_recheck", "weight_check_visit"): "a test of the hips and the weight, which one visit may hold",
    ("mood_screen_repeat", "mother_phq9_or_epds"): "now, and again after two weeks",
    ("infection_signs_look", "thyroid_signs_recheck"): "signs of two illnesses; one visit may hold both",
    ("mood_screen_repeat", "mood_questionnaire"): "after a score of today, and at its own age",
    ("mother_phq9_or_epds", "mother_mental_health"): "the questionnaire, and the care",
    ("murmur_recheck", "hip_recheck"): "looks at different parts, which one visit may hold",
    ("murmur_recheck", "weight_check_visit"): "a look at the heart and the weight, which one visit may hold",
    ("navel_ultrasound", "kidney_ultrasound"): "different organs; one appointment may hold both",
    ("neonatal_follow_up", "early_intervention"): "the clinic that looks, and the program that helps",
    ("oximetry_retest", "oximetry_screen"): "the repeat of a screen that was not passed, and the first one",
    ("rsv_antibody_dose", "gonorrhea_dose_order"): "against two illnesses",
    ("sex_development_specialist", "adrenal_tests"): "the specialists, and the tests",
    ("stop_phototherapy", "rebound_bilirubin"): "stopping, and the value some hours after it",
    ("sugar_test", "feed_and_measure_again"): "what finds a low value, and what answers it",
    ("syphilis_blood_test", "syphilis_titer_recheck"): "now, and again at its own age",
    ("two_month_vaccines_visit", "two_month_visit"): "the doses, and the visit",
    ("upper_gi_contrast", "belly_radiograph"): "a study with contrast, and a plain film",
}
"""Pairs that look like one act and are two, and why."""


@pytest.fixture(scope="module")
def pack() -> Pack:
    return load_pack()


def joined(pack: Pack, one: str, other: str) -> bool:
    return one in pack.targets[other].met_by or other in pack.targets[one].met_by


def words_of(label: str) -> frozenset[str]:
    said = re.sub(r"\([^)]*\)", " ", label.lower())
    return frozenset(re.findall(r"[a-z0-9-]+", said)) - FILLERS


def alike(pack: Pack) -> set[tuple[str, str]]:
    """The pairs of things to be done, of one person, whose code is the same or whose labels nearly are."""
    asked = [name for name, target in pack.targets.items() if target.kind in ASKED]
    found = set()
    for one, other in combinations(asked, 2):
        first, second = pack.targets[one], pack.targets[other]
        shared = words_of(first.label) & words_of(second.label)
        union = words_of(first.label) | words_of(second.label)
        named_alike = len(shared) / len(union) >= ALIKE and bool(shared - ANY_ACT)
        if first.subject == second.subject and (named_alike or set(pairs(first.codes)) & set(pairs(second.codes))):
            found.add((one, other))
    return found


def test_what_looks_like_one_act_is_joined_or_kept_apart_for_a_reason(pack: Pack) -> None:
    told = {frozenset(pair) for pair in APART}
    open_ = [pair for pair in alike(pack) if not joined(pack, *pair) and frozenset(pair) not in told]
    assert sorted(open_) == []


def test_what_is_kept_apart_is_not_joined_and_is_there(pack: Pack) -> None:
    assert [pair for pair in APART if not {*pair} <= pack.targets.keys() or joined(pack, *pair)] == []


SAME_ACT = [
    ("sepsis_evaluation", "emergency_department"),
    ("same_day_evaluation", "emergency_department"),
    ("low_oxygen_evaluation", "emergency_department"),
    ("bowel_evaluation", "emergency_department"),
    ("bowel_evaluation", "pediatric_surgery"),
    ("belly_radiograph", "emergency_department"),
    ("sugar_test", "emergency_department"),
    ("bilirubin_measurement", "serum_bilirubin_test"),
    ("audiology_follow_up", "audiology"),
    ("retina_examination", "ophthalmology"),
    ("conjunctivitis_evaluation", "ophthalmology"),
    ("hematocrit_test", "blood_count"),
    ("infant_endocrinology", "sex_development_specialist"),
    ("kidney_ultrasound", "belly_ultrasound"),
    ("liver_ultrasound", "belly_ultrasound"),
    ("mood_questionnaire", "mother_phq9_or_epds"),
    ("spine_ultrasound", "spine_mri"),
    ("weight_check_visit", "weight_recheck"),
    ("mother_mental_health", "mother_emergency_mental_health"),
]
"""The first is done by the second."""


@pytest.mark.parametrize(("broad", "narrow"), SAME_ACT)
def test_the_narrower_act_does_the_broader_one(pack: Pack, broad: str, narrow: str) -> None:
    assert narrow in pack.targets[broad].met_by


HERE = [
    "temperature_recheck",
    "count_again",
    "oximetry_screen",
    "oximetry_retest",
    "sugar_test",
    "feed_and_measure_again",
    "feeding_assessment",
    "hydration_assessment",
    "bloodspot_collection",
    "bloodspot_repeat",
    "bloodspot_second_specimen",
    "vitamin_k_dose",
    "palate_second_look",
    "supplement_decision",
    "mother_phq9_or_epds",
    "mother_safety_assessment",
    "milk_without_galactose",
    "birth_stay_record",
    "thrush_treatment",
    "yeast_treatment",
    "granuloma_treatment",
]


@pytest.mark.parametrize("name", HERE)
def test_what_the_examiner_does_on_the_spot_is_done_before_they_leave(pack: Pack, name: str) -> None:
    assert pack.targets[name].performer == "examiner"


def test_hips_and_weight_of_the_two_week_visit_share_it(pack: Pack) -> None:
    findings = {"barlow.left": "positive", "barlow.right": "negative"}
    visit = {"born": "2026-06-01T08:00:00-05:00", "at": "2026-06-05T10:00:00-05:00", "findings": findings}
    first = pack.assess(visit).come_back[0]
    assert {"Examine the hips again", "Weight"} <= {item.label for item in first.items}
    assert (first.start[:10], (first.until or "")[:10]) == ("2026-06-14", "2026-06-15")
