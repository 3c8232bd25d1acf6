"""One thing sent in pieces: members of a panel, pounds and ounces; units of the right kind; registered values."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from support.read_samples import (
    AT,
    OWN,
    bundle,
    codes,
    encounter,
    loinc,
    observation,
    pack,
    patient,
    quantity,
    visit_bundle,
)

from layette.engine import load_pack
from layette.engine.errors import InputError
from layette.engine.exact.units import taken
from layette.mapping.answering import answer
from layette.mapping.fhir_json import dumps
from layette.mapping.read import ReadResult, read

EARLIER = "2026-11-24T09:55:00-06:00"


def weight(value: str, unit: str, **more: Any) -> dict[str, Any]:
    return observation(loinc("29463-7"), **({"valueQuantity": quantity(value, unit)} | more))


def readings(*resources: dict[str, Any]) -> list[tuple[str, Any, Any, Any]]:
    result = read(bundle(patient(), encounter(), *resources), pack())
    assert result.problems == ()
    found = result.visit.get("findings", {})
    return [(k, r.get("value"), r.get("unit"), r.get("time")) for k, several in found.items() for r in several]


def panel(*names: str, **more: Any) -> dict[str, Any]:
    links = [{"reference": f"Observation/{name}"} for name in names]
    return observation(loinc("85353-1"), hasMember=links, effectiveDateTime=EARLIER, id="panel", **more)


def test_a_member_beside_its_panel_takes_its_time() -> None:
    member = weight("3150", "g", effectiveDateTime=None, encounter=None)
    assert readings(panel("o1"), member) == [("weight", "3150", "g", EARLIER)]
    assert readings(member, panel("o1")) == [("weight", "3150", "g", EARLIER)]


def inner(*names: str, **more: Any) -> dict[str, Any]:
    found = panel(*names, **more) | {"id": "inner"}
    return {key: value for key, value in found.items() if key not in ("effectiveDateTime", "encounter", "subject")}


def bare(**more: Any) -> dict[str, Any]:
    found = weight("3150", "g", **more)
    return {key: value for key, value in found.items() if key not in ("effectiveDateTime", "encounter", "subject")}


def test_a_panel_within_a_panel_hands_on_its_time_whether_contained_or_not() -> None:
    expected = [("weight", "3150", "g", EARLIER)]
    assert readings(panel("inner"), inner("o1"), bare()) == expected
    assert readings(bare(), inner("o1"), panel("inner")) == expected
    nested = inner() | {"hasMember": [{"reference": "#w"}]}
    outer = panel() | {"hasMember": [{"reference": "#inner"}], "contained": [nested, bare(id="w")]}
    assert readings(outer) == expected


def test_a_ring_of_panels_ends() -> None:
    ring = [inner("inner2"), inner("inner") | {"id": "inner2"}]
    assert readings(*ring, weight("3150", "g")) == [("weight", "3150", "g", AT)]
    contained = [
        one | {"hasMember": [{"reference": f"#{name}"}]} for one, name in zip(ring, ("inner2", "inner"), strict=True)
    ]
    assert readings(panel() | {"hasMember": [{"reference": "#inner"}], "contained": contained}) == []


def test_panels_that_all_name_each_other_are_read_once_each() -> None:
    links = [{"reference": f"#p{n}"} for n in range(200)]
    crowd = [bare(id=f"p{n}") | {"hasMember": links} for n in range(200)]
    found = readings(panel() | {"hasMember": links[:1], "contained": crowd})
    assert len(found) == 200


CONTAINERS = [
    ("entered-in-error", "final", "entered-in-error"),
    ("cancelled", "preliminary", "cancelled"),
    ("preliminary", "final", "preliminary"),
    ("registered", "final", "registered"),
    ("final", "preliminary", "preliminary"),
    ("final", "entered-in-error", "entered-in-error"),
]


@pytest.mark.parametrize(("outer", "own", "taken"), CONTAINERS)
def test_what_a_panel_contains_is_no_more_settled_than_the_panel(outer: str, own: str, taken: str) -> None:
    held = panel() | {"status": outer, "hasMember": [{"reference": "#w"}], "contained": [bare(id="w", status=own)]}
    result = read(bundle(patient(), encounter(), held), pack())
    assert [one["status"] for one in result.visit["findings"]["weight"]] == [taken]


def test_a_member_keeps_its_own_time() -> None:
    assert readings(panel("o1"), weight("3150", "g")) == [("weight", "3150", "g", AT)]


def test_a_member_of_two_panels_of_different_times_takes_none() -> None:
    other = panel("o1") | {"id": "other", "effectiveDateTime": AT}
    result = read(
        bundle(patient(), encounter(), panel("o1"), other, weight("3150", "g", effectiveDateTime=None, encounter=None)),
        pack(),
    )
    assert "findings" not in result.visit or "weight" not in result.visit["findings"]
    assert ["neither an effective time" in one["why"] for one in result.visit["not_understood"]].count(True) == 1


def test_a_result_beside_its_report_takes_its_time_and_a_withdrawn_report_gives_none() -> None:
    report = {
        "resourceType": "DiagnosticReport", "id": "r", "status": "final", "code": loinc("57128-1"),
        "subject": {"reference": "Patient/mara"}, "effectiveDateTime": EARLIER,
        "result": [{"reference": "Observation/o1"}],
    }  # fmt: skip
    member = weight("3150", "g", effectiveDateTime=None, encounter=None)
    assert readings(report, member) == [("weight", "3150", "g", EARLIER)]
    assert readings(report | {"status": "entered-in-error"}, member) == []


def test_pounds_and_ounces_as_two_observations_are_one_weight() -> None:
    assert readings(weight("7", "[lb_av]"), weight("4", "[oz_av]", id="o2")) == [("weight", "116", "[oz_av]", AT)]
    assert readings(weight("4", "[oz_av]"), weight("7", "[lb_av]", id="o2")) == [("weight", "116", "[oz_av]", AT)]


def test_ounces_that_are_a_weight_are_not_added() -> None:
    assert len(readings(weight("7", "[lb_av]"), weight("116", "[oz_av]", id="o2"))) == 2


@pytest.mark.parametrize("pounds", [{"effectiveDateTime": EARLIER}, {"status": "preliminary"}, {"status": "cancelled"}])
def test_pounds_and_ounces_that_do_not_stand_together_are_no_weight(pounds: dict[str, Any]) -> None:
    """Twelve ounces alone would be a weight of 340 g, and eight pounds without them hide a loss."""
    content = bundle(patient(), encounter(), weight("8", "[lb_av]", **pounds), weight("12", "[oz_av]", id="o2"))
    result = read(content, pack())
    assert result.problems == ()
    assert [one["text"] for one in result.visit["not_understood"]] == ["12 [oz_av]", "8 [lb_av]"]
    assert result.visit["findings"] == {}
    assert result.counts.not_understood == 2


def test_ounces_without_their_pounds_are_no_weight() -> None:
    assert readings(weight("12", "[oz_av]")) == []


def test_pounds_and_ounces_of_one_moment_in_two_spellings_are_one_weight() -> None:
    ounces = weight("4", "[oz_av]", id="o2", effectiveDateTime="2026-11-24T16:00:00Z")
    assert readings(weight("7", "[lb_av]"), ounces) == [("weight", "116", "[oz_av]", AT)]


WORDS = ["7 lb 4 oz", "7lb 4oz", "7 lbs., 4 oz.", "7 pounds and 4 ounces", " 7 LB 4 OZ "]


@pytest.mark.parametrize("said", WORDS)
def test_a_weight_in_words(said: str) -> None:
    found = observation(loinc("29463-7"), valueString=said)
    assert readings(found) == [("weight", "116", "[oz_av]", AT)]


@pytest.mark.parametrize("said", ["7 lb", "7 lb 20 oz", "7 lb 4 oz or so", "3,150 g", "3.150,5 g", "3150", "3150 g ca"])
def test_other_words_are_kept(said: str) -> None:
    assert readings(observation(loinc("29463-7"), valueString=said)) == []


@pytest.mark.parametrize(
    ("code", "said", "value", "unit"),
    [
        ("29463-7", "3150 g", "3150", "g"), ("29463-7", "3.15kg", "3.15", "kg"), ("8310-5", "38.6 C", "38.6", "Cel"),
        ("8310-5", "101.3 °F", "101.3", "[degF]"), ("8867-4", "250 bpm", "250", "/min"),
    ],
)  # fmt: skip
def test_one_number_and_one_unit_in_a_text_are_read_and_kept_beside(
    code: str, said: str, value: str, unit: str
) -> None:
    found = read(visit_bundle(observation(loinc(code), valueString=said)), load_pack()).visit["findings"]
    [[reading]] = found.values()
    assert (reading["value"], reading["unit"], reading["given"]) == (value, unit, said)


UNITS = [
    ("29463-7", "3150000", "mg", "weight", "3.150 kg"),
    ("1975-2", "120", "mg/L", "serum_bilirubin", "12.0 mg/dL"),
    ("1975-2", "0.2052", "mmol/L", "serum_bilirubin", "12.0 mg/dL"),
    ("8302-2", "19.685", "[in_us]", "length", "50.0 cm"),
]


@pytest.mark.parametrize(("code", "value", "unit", "finding", "shown"), UNITS)
def test_a_unit_of_the_right_kind_is_converted(code: str, value: str, unit: str, finding: str, shown: str) -> None:
    content = bundle(patient(), encounter(), observation(loinc(code), valueQuantity=quantity(value, unit)))
    visit = load_pack().read_visit(answer(dumps(content).encode(), load_pack(), readers=("native",)).visit)
    (reading,) = (one for one in visit.readings if one.finding == finding)
    assert (reading.given, reading.converted) == (f"{value} {unit}", shown)


def of_our_own(finding: str, amount: dict[str, Any]) -> bytes:
    code = {"coding": [{"system": OWN, "code": finding}]}
    return dumps(bundle(patient(), encounter(), observation(code, valueQuantity=amount))).encode()


OF_A_SUBSTANCE = [
    ("blood_sugar", quantity("2.4", "mmol/L"), "2.4 mmol/L", "43.237 mg/dL"),
    ("blood_sugar", {"value": Decimal("2.4"), "unit": "mmol/l"}, "2.4 mmol/l", "43.237 mg/dL"),
    ("albumin", {"value": Decimal(29), "unit": "g/l"}, "29 g/l", "2.9 g/dL"),
]


@pytest.mark.parametrize(("finding", "amount", "given", "shown"), OF_A_SUBSTANCE)
def test_an_amount_is_turned_by_the_molar_mass_of_its_substance(
    finding: str, amount: dict[str, Any], given: str, shown: str
) -> None:
    visit = answer(of_our_own(finding, amount), load_pack(), readers=("native",)).visit
    (reading,) = (one for one in load_pack().read_visit(visit).readings if one.finding == finding)
    assert (reading.given, reading.converted) == (given, shown)


def test_an_amount_of_another_kind_is_refused_where_a_substance_is_named() -> None:
    with pytest.raises(InputError) as refused:
        answer(of_our_own("blood_sugar", quantity("2", "g/kg")), load_pack(), readers=("native",))
    (problem,) = refused.value.problems
    assert (problem.code, problem.expected) == ("unit", "a number with one of the units mg/L, mg/dL, mmol/L")


@pytest.mark.parametrize(("code", "unit"), [("29463-7", "mmol/L"), ("1975-2", "mg"), ("8302-2", "wk")])
def test_a_unit_of_another_kind_is_refused_with_the_list(code: str, unit: str) -> None:
    content = bundle(patient(), encounter(), observation(loinc(code), valueQuantity=quantity("5", unit)))
    (problem,) = read(content, pack()).problems
    assert problem.code == "unit"
    assert "a number with one of the units" in problem.expected


def test_a_molar_unit_is_not_taken_where_only_a_mass_is() -> None:
    assert "mmol/L" not in taken(["mg/dL"])
    assert {"mmol/L", "mg/L"} <= set(taken(["mg/dL", "umol/L"]))


def registered() -> ReadResult:
    return read(bundle(patient(), weight("3150", "g", status="registered", encounter=None)), pack())


def test_a_registered_value_tells_the_moment_of_the_visit_and_is_warned_of() -> None:
    assert registered().visit["at"] == AT
    empty = observation(loinc("29463-7"), status="registered", encounter=None)
    assert codes(read(bundle(patient(), empty), pack())) == ["time"]
    content = bundle(patient(), encounter(), weight("3150", "g", status="registered"))
    found = answer(dumps(content).encode(), load_pack(), readers=("native",)).assessment
    assert found is not None
    assert any("counts as preliminary" in one for one in (*found.warnings, *found.notices))
