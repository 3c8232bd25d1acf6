"""What was found before birth, or when the family had left the room, and what a refused entry would have told."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import AT, LOINC, SNOMED, concept, observation, own, quantity, visit_bundle

from layette.engine import Assessment, InputError, load_pack
from layette.mapping.answering import answer
from layette.mapping.read import read

PREGNANT = {"encounter": None, "effectiveDateTime": "2026-05-05"}
LATER = {"effectiveDateTime": "2026-11-24T11:30:00-06:00"}
HER_TESTS = [
    (name, code)
    for name, shape in load_pack().findings.items()
    for code in shape.codes.get("loinc", ())
    if shape.subject == "mother" and shape.awaited and isinstance(shape.codes["loinc"], list)
]


def assessed(*resources: dict[str, Any]) -> Assessment:
    return answer(visit_bundle(*resources), load_pack(), readers=["native"]).assessment


def test_her_result_in_the_record_of_the_baby_is_hers_where_it_lies_before_birth() -> None:
    positive = concept(SNOMED, "10828004")
    sent = observation(concept(LOINC, "5196-1"), valueCodeableConcept=positive, **PREGNANT)
    assert "hepatitis_b_immune_globulin" in {one.target for one in assessed(sent).recommendations}
    after = assessed(sent | {"effectiveDateTime": "2026-11-21"})
    assert after.verdict.not_read == ("Mother's hepatitis B surface antigen",), "of whom it is, nobody knows"


@pytest.mark.parametrize(("finding", "code"), HER_TESTS, ids=lambda one: one)
def test_every_test_of_hers_before_birth_stops_no_visit_and_is_told(finding: str, code: str) -> None:
    sent = observation(concept(LOINC, code), valueString="see the letter", **PREGNANT)
    found = read(visit_bundle(sent), load_pack())
    assert not found.problems
    assert finding in {*found.visit["findings"], *(one.get("finding") for one in found.not_understood)}


def test_what_nobody_knows_before_birth_is_kept_and_a_finding_of_the_baby_is_a_mistake() -> None:
    unknown = observation(concept("urn:lab", "X1"), valueString="high", **PREGNANT)
    assert [kept["why"] for kept in read(visit_bundle(unknown), load_pack()).not_understood] == [
        "an unknown code, and this lies before birth"
    ]
    later = observation(concept("urn:lab", "X1", "Lactate"), valueString="high", **LATER)
    assert assessed(later).verdict.unknown == ("Lactate high",)
    hot = observation(own("temperature"), valueQuantity=quantity("39", "Cel"), **PREGNANT)
    assert [one.code for one in read(visit_bundle(hot), load_pack()).problems] == ["time"]


def test_a_result_of_the_day_counts_also_when_the_visit_is_over() -> None:
    drawn = observation(concept(LOINC, "1975-2"), valueQuantity=quantity("27", "mg/dL"), **LATER)
    assert assessed(drawn).verdict.now > 0
    assert assessed({key: value for key, value in drawn.items() if key != "encounter"}).verdict.now > 0
    for time, what in (("2026-11-25T08:00:00-06:00", drawn), (LATER["effectiveDateTime"], observation(own("weight")))):
        with pytest.raises(InputError, match="after the visit"):
            assessed(what | {"effectiveDateTime": time, "valueQuantity": quantity("3", "kg")})


@pytest.mark.parametrize(
    "wrong",
    [
        {"valueQuantity": quantity("39.4", "C")},
        {"effectiveDateTime": "2026-11-24T10:05:00"},
        {"effectiveDateTime": "2026-11-25T10:00:00-06:00"},
        {"valueString": "39"},
    ],
    ids=["unit", "no offset", "after the visit", "two values"],
)
def test_an_error_says_of_what_it_is(wrong: dict[str, Any]) -> None:
    hot = observation(own("temperature"), **({"valueQuantity": quantity("39.4", "Cel")} | wrong))
    with pytest.raises(InputError, match=r"for 'Temperature' 39\.4 C"):
        assessed(hot)


def test_an_error_about_what_was_as_expected_says_no_more() -> None:
    with pytest.raises(InputError) as caught:
        assessed(observation(own("convulsions"), valueString="none", effectiveDateTime="2026-11-24T10:05:00"))
    assert "Convulsions" not in str(caught.value)


@pytest.mark.parametrize("timing", [{"event": [AT, LATER["effectiveDateTime"]]}, {"repeat": {"frequency": 3}}])
def test_a_timing_that_names_no_single_moment_stops_no_visit_and_is_told(timing: dict[str, Any]) -> None:
    hot = observation(
        own("temperature"), valueQuantity=quantity("39.4", "Cel"), effectiveDateTime=None, effectiveTiming=timing
    )
    assert assessed(hot).verdict.not_read == ("Temperature",)
