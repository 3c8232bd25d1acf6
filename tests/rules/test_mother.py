"""The mother's record: what nobody knows, what is asked of her, and how little room it takes on a page."""

from __future__ import annotations

import re
from typing import Any

import pytest
from support.shipped_examples import EXAMPLES

from layette.engine import Assessment, load_pack
from layette.engine.pack.written.yaml_nodes import parse
from layette.engine.terms import Priority
from layette.mapping.text import render

TESTS = {
    "mother_hbsag": "mother_hepatitis_b_test",
    "mother_hiv": "mother_hiv_test",
    "mother_syphilis": "mother_syphilis_test",
}
"""Results that every baby's care hangs on, and the test that each asks for."""
OF_THE_MOTHER = ("mother_", "cold_sore", "covid_at_home", "pertussis_contact", "varicella_contact", "exposure_signs")


def assess(findings: dict[str, Any], at: str = "2026-06-04T08:00:00-05:00") -> Assessment:
    given = {"born": "2026-06-01T08:00:00-05:00", "at": at, "findings": findings}
    return load_pack().assess(given, readers=("native",))


def proposed(found: Assessment) -> dict[str, Priority]:
    return {one.target: one.priority for one in found.recommendations}


@pytest.mark.parametrize("finding", TESTS)
@pytest.mark.parametrize("said", ["status_not_known", {"absent": "asked-unknown"}], ids=["a value", "a reason of FHIR"])
def test_asked_and_not_known_asks_for_the_mothers_test_today(finding: str, said: Any) -> None:
    found = proposed(assess({finding: said}))
    assert found[TESTS[finding]] in ("stat", "asap")


@pytest.mark.parametrize("finding", TESTS)
def test_what_nobody_recorded_is_looked_up_first(finding: str) -> None:
    found = assess({})
    assert TESTS[finding] not in proposed(found)
    assert [one.priority for one in found.not_on_record if one.target == TESTS[finding]] == ["asap"]


@pytest.mark.parametrize(
    "later", ["status_not_known", {"absent": "asked-unknown"}], ids=["a value", "a reason of FHIR"]
)
def test_not_knowing_takes_no_result_back_in_either_order(later: Any) -> None:
    asked = later if isinstance(later, dict) else {"value": later}
    for ages in (("1 h", "70 h"), ("70 h", "1 h")):
        known = {"value": "positive", "age": ages[0]}
        found = proposed(assess({"mother_hiv": [known, {**asked, "age": ages[1]}]}))
        assert found["hiv_drugs_start"] == "stat"
        assert "mother_hiv_test" not in found


def test_another_reason_for_absence_stays_unknown() -> None:
    found = assess({"mother_hiv": {"absent": "unknown"}})
    assert {one.status for one in found.trace if one.rule == "exposures-hiv.mother-not-known"} == {"undecided"}


def test_a_healthy_baby_whose_mother_nobody_asked_keeps_a_short_page() -> None:
    given = dict(parse((EXAMPLES / "healthy-day-4.yaml").read_text(encoding="utf-8"), "healthy-day-4.yaml").data)
    history = dict(given["history"])
    for holder, key in ((given, "findings"), (history, "findings")):
        holder[key] = {name: value for name, value in holder[key].items() if not name.startswith(OF_THE_MOTHER)}
    pack = load_pack()
    visit = {**given, "history": history}
    page = render(pack.assess(visit, readers=("native",)), pack=pack, visit=visit)
    block = page.partition("NOT ON RECORD")[2].partition("\n\n")[0]
    assert "HIV test of the mother" in block
    assert re.search(r"to read, ask +Exposures of the baby \(\d+, \d+ !\)", block)
    assert len(block.splitlines()) <= 4
    ticks = page.partition("TO EXAMINE")[2].partition("\n\n")[0]
    assert ticks.count("mother") <= 3
    assert "\n  Exposures" not in ticks


def test_a_detail_of_what_is_known_stays_on_the_list_by_name() -> None:
    known = dict.fromkeys(("mother_infections", "mother_illnesses", "mother_drugs", "exposure_signs"), "normal")
    given = {
        "born": "2026-06-01T08:00:00-05:00",
        "at": "2026-06-04T08:00:00-05:00",
        "findings": {
            **known,
            "mother_syphilis": "negative",
            "mother_hiv": "negative",
            "mother_herpes": "history_no_lesions",
            "mother_infection_in_labor": "none",
            "cold_sore": "none",
            "covid_at_home": "none",
            "pertussis_contact": "none",
            "varicella_contact": "none",
        },
    }
    pack = load_pack()
    page = render(pack.assess(given, readers=("native",)), pack=pack, visit=given)
    assert "Electrode on the baby's scalp in labor" in page


def test_no_milk_is_withheld_without_naming_the_other() -> None:
    pack = load_pack()
    milk = {
        name: target.plain["en"] for name, target in pack.targets.items() if "milk" in name and target.kind == "guide"
    }
    assert len(milk) >= 12
    assert [
        name for name, text in milk.items() if not any(f"{word}" in str(text) for word in ("formula", "breastfeed"))
    ] == []


def test_where_no_plan_is_on_record_it_is_asked_for_with_what_it_must_hold() -> None:
    pack = load_pack()
    asking = [
        (one.rule.shape.id, then)
        for one in pack.instances
        for then in one.rule.shape.then
        if then.order == "birth_unit_plan_request"
    ]
    assert len(asking) >= 6
    assert [rule for rule, then in asking if not then.do] == []
    assert [rule for rule, then in asking if then.priority != "asap"] == []
