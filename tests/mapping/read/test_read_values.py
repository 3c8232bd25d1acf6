"""Reading one Observation: numbers and units, coded answers, sides, parts, statuses."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from support.read_samples import (
    AT,
    BASE,
    LOINC,
    OWN,
    SNOMED,
    UCUM,
    bundle,
    codes,
    concept,
    encounter,
    loinc,
    observation,
    one_reading,
    own,
    pack,
    patient,
    quantity,
    read_visit,
    whys,
)

from layette.mapping.read import SiteCode, read

INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
LEFT = concept(SNOMED, "7771000")


def weight(**more: Any) -> dict[str, Any]:
    return observation(loinc("29463-7"), **more)


def red_reflex(**more: Any) -> dict[str, Any]:
    return observation(own("red-reflex"), **{"bodySite": LEFT, **more})


def snomed(code: str) -> dict[str, Any]:
    return concept(SNOMED, code)


def interpretation(code: str) -> list[dict[str, Any]]:
    return [concept(INTERPRETATION, code)]


@pytest.mark.parametrize(
    ("given", "value", "unit"),
    [
        (quantity("3.150", "kg"), "3.150", "kg"),
        (quantity("3150", "g"), "3150", "g"),
        (quantity("1.2E+1", "[lb_av]"), "12", "[lb_av]"),
        ({"value": 3.15, "unit": "kg"}, "3.15", "kg"),
        ({"value": 7, "unit": " LBS "}, "7", "[lb_av]"),
        ({"value": Decimal("7.20"), "unit": "lb", "code": "lb"}, "7.20", "[lb_av]"),
        (quantity("3", "kg", comparator=">="), {"at_least": "3"}, "kg"),
        (quantity("3", "kg", comparator=">"), {"more_than": "3"}, "kg"),
        (quantity("3", "kg", comparator="<"), {"below": "3"}, "kg"),
        (quantity("3", "kg", comparator="<="), {"at_most": "3"}, "kg"),
    ],
)
def test_quantities_keep_digits_and_unit(given: dict[str, Any], value: Any, unit: str) -> None:
    reading = one_reading(read_visit(weight(valueQuantity=given)), "weight")
    assert (reading["value"], reading["unit"]) == (value, unit)


def test_a_printed_number_is_kept_as_it_was_given() -> None:
    reading = one_reading(read_visit(weight(valueQuantity={"value": Decimal("7.20"), "unit": "lbs"})), "weight")
    assert reading["given"] == "7.20 lbs"
    assert "given" not in one_reading(read_visit(weight(valueQuantity=quantity("3", "kg"))), "weight")


@pytest.mark.parametrize("unit", ["°F", "F", "degF", "[degF]"])
def test_fahrenheit_and_annotated_rates(unit: str) -> None:
    given = observation(loinc("8310-5"), valueQuantity={"value": Decimal("100.4"), "unit": unit})
    assert one_reading(read_visit(given), "temperature")["unit"] == "[degF]"
    rate = observation(
        loinc("8867-4"), valueQuantity={"value": 140, "unit": "bpm", "system": UCUM, "code": "{beats}/min"}
    )
    assert one_reading(read_visit(rate), "heart_rate")["unit"] == "/min"


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"value": Decimal("3.4")}, "unit"),
        (quantity("3.4", "cm"), "unit"),
        ({"value": Decimal("3.4"), "unit": "stone"}, "unit"),
        (quantity("3.4", "lb"), "unit"),
        ({"value": Decimal("3.4"), "unit": "g", "system": UCUM, "code": "kg"}, "contradiction"),
        ({"value": "3.4", "unit": "kg"}, "value"),
        ({"value": True, "unit": "kg"}, "value"),
        ({"value": Decimal("1E+80"), "unit": "kg"}, "value"),
        ({"value": float("nan"), "unit": "kg"}, "value"),
        (quantity("3.4", "kg", comparator="~"), "structure"),
    ],
)
def test_numbers_that_are_errors(given: dict[str, Any], code: str) -> None:
    result = read_visit(weight(valueQuantity=given))
    assert codes(result) == [code]
    assert result.problems[0].path.startswith("Bundle.entry[2].resource.valueQuantity")
    assert result.counts.refused == 1
    assert result.visit["findings"] == {}


def test_ranges() -> None:
    both = weight(valueRange={"low": quantity("3.1", "kg"), "high": quantity("3.3", "kg")})
    assert one_reading(read_visit(both), "weight")["value"] == {"between": ["3.1", "3.3"]}
    low = weight(valueRange={"low": quantity("3.1", "kg")})
    assert one_reading(read_visit(low), "weight")["value"] == {"at_least": "3.1"}
    high = weight(valueRange={"high": quantity("3.1", "kg")})
    assert one_reading(read_visit(high), "weight")["value"] == {"at_most": "3.1"}
    turned = weight(valueRange={"low": quantity("3.3", "kg"), "high": quantity("3.1", "kg")})
    mixed = weight(valueRange={"low": quantity("3.1", "kg"), "high": quantity("3300", "g")})
    assert codes(read_visit(turned)) == codes(read_visit(mixed)) == ["contradiction"]


def test_whole_numbers_only_for_scores() -> None:
    reading = one_reading(read_visit(observation(loinc("9274-2"), valueInteger=9)), "apgar_5")
    assert (reading["value"], reading["unit"]) == ("9", "{score}")
    assert codes(read_visit(weight(valueInteger=3))) == ["unit"]


def test_pounds_and_ounces_add_up() -> None:
    parts = [
        {"code": loinc("29463-7"), "valueQuantity": quantity("6", "[lb_av]")},
        {"code": {"text": "ounces"}, "valueQuantity": {"value": Decimal("15.5"), "unit": "oz"}},
    ]
    reading = one_reading(read_visit(weight(component=parts)), "weight")
    assert (reading["value"], reading["unit"], reading["given"]) == ("111.5", "[oz_av]", "6 [lb_av] 15.5 [oz_av]")
    split = weight(valueQuantity=quantity("6", "[lb_av]"), component=[parts[1]])
    assert one_reading(read_visit(split), "weight")["value"] == "111.5"


@pytest.mark.parametrize(
    ("given", "value"),
    [
        ({"valueCodeableConcept": concept(OWN, "red_reflex.white")}, "white"),
        ({"valueCodeableConcept": concept(OWN, "red-reflex.dark-spots")}, "dark_spots"),
        ({"valueCodeableConcept": concept(OWN, "dull")}, "dull"),
        ({"valueCodeableConcept": snomed("1361009")}, "white"),
        ({"valueCodeableConcept": snomed("52101004")}, "present"),
        ({"valueCodeableConcept": snomed("2667000")}, "absent"),
        ({"valueCodeableConcept": snomed("17621005")}, "present"),
        ({"valueCodeableConcept": snomed("263654008")}, "abnormal"),
        ({"valueCodeableConcept": {"coding": [*snomed("263654008")["coding"], *own("white")["coding"]]}}, "white"),
        ({"valueCodeableConcept": {"text": "Dark spots"}}, "dark_spots"),
        (
            {"valueCodeableConcept": {"coding": [{"system": LOINC, "code": "LA9633-4", "display": "Present"}]}},
            "present",
        ),
        ({"valueString": "dark SPOTS"}, "dark_spots"),
        ({"interpretation": interpretation("N")}, "present"),
        ({"interpretation": interpretation("A")}, "abnormal"),
        ({"interpretation": interpretation("AA")}, "abnormal"),
    ],
)
def test_coded_answers(given: dict[str, Any], value: str) -> None:
    reading = one_reading(read_visit(red_reflex(**given)), "red_reflex")
    assert (reading["value"], reading["side"]) == (value, "left")


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"valueCodeableConcept": own("purple")}, "value"),
        ({"valueQuantity": quantity("1", "kg")}, "value"),
        ({"valueCodeableConcept": own("white"), "valueString": "white"}, "contradiction"),
        ({"valueCodeableConcept": own("white"), "dataAbsentReason": {"text": "?"}}, "contradiction"),
        ({"valueCodeableConcept": {"coding": [*own("white")["coding"], *own("dull")["coding"]]}}, "contradiction"),
        (
            {"valueCodeableConcept": {"coding": [*own("present")["coding"], *snomed("263654008")["coding"]]}},
            "contradiction",
        ),
        ({"valueBoolean": "true"}, "structure"),
        ({"valueString": ["white"]}, "structure"),
    ],
)
def test_answers_that_contradict_the_value_set(given: dict[str, Any], code: str) -> None:
    assert codes(read_visit(red_reflex(**given))) == [code]


@pytest.mark.parametrize(
    "given",
    [
        {"valueString": "looked a bit pale, recheck"},
        {"valueCodeableConcept": snomed("999999990989121104")},
        {"valueCodeableConcept": snomed("10828004")},
        {"valueCodeableConcept": snomed("82334004")},
        {"valueBoolean": True},
        {"interpretation": interpretation("POS")},
        {"interpretation": interpretation("H")},
        {"valueDateTime": AT},
        {},
    ],
)
def test_answers_that_are_kept_but_not_understood(given: dict[str, Any]) -> None:
    result = read_visit(red_reflex(**given)).require()
    assert result.visit["findings"] == {}
    assert result.counts.not_understood == 1
    assert len(result.not_understood) == 1


@pytest.mark.parametrize(
    ("finding", "given", "value"),
    [
        ("fever_at_home", {"valueBoolean": True}, "yes"),
        ("fever_at_home", {"valueBoolean": False}, "no"),
        ("murmur", {"valueBoolean": True}, "present"),
        ("jaundice", {"valueBoolean": True}, "visible"),
        ("jaundice", {"valueBoolean": False}, "none"),
        ("jaundice", {"valueCodeableConcept": snomed("52101004")}, "visible"),
        ("sepsis", {"valueCodeableConcept": snomed("260415000")}, "none"),
        ("murmur", {"interpretation": interpretation("POS")}, "present"),
        ("murmur", {"interpretation": interpretation("NEG")}, "none"),
        ("tone", {"interpretation": interpretation("A")}, "abnormal"),
    ],
)
def test_yes_and_no(finding: str, given: dict[str, Any], value: str) -> None:
    found = one_reading(read_visit(observation(own(finding), **given)), finding)["value"]
    assert found in (value, "floppy" if finding == "tone" else value)


def test_true_is_not_taken_where_it_can_be_read_either_way() -> None:
    assert whys(read_visit(observation(own("tone"), valueBoolean=True))) == [
        "true or false does not say which of the values"
    ]
    assert "can be read either way" not in str(whys(read_visit(observation(own("feeding_well"), valueString="yes"))))


@pytest.mark.parametrize(
    ("given", "value"),
    [
        ({}, "present"),
        ({"valueBoolean": True}, "present"),
        ({"valueBoolean": False}, "none"),
        ({"valueCodeableConcept": snomed("2667000")}, "none"),
        ({"valueString": "absent"}, "none"),
        ({"interpretation": interpretation("POS")}, "present"),
    ],
)
def test_a_code_that_states_a_value_by_itself(given: dict[str, Any], value: str) -> None:
    assert one_reading(read_visit(observation(snomed("88610006"), **given)), "murmur")["value"] == value


def test_a_stated_value_that_is_denied_leaves_the_others_open() -> None:
    result = read_visit(observation(snomed("1361009"), bodySite=LEFT, valueBoolean=False)).require()
    assert result.visit["findings"] == {}
    assert result.counts.not_understood == 1


@pytest.mark.parametrize("reason", ["not-performed", "not-applicable", "asked-declined"])
def test_absent(reason: str) -> None:
    system = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
    reading = one_reading(read_visit(red_reflex(dataAbsentReason=concept(system, reason))), "red_reflex")
    assert reading["absent"] == reason
    assert "value" not in reading
    assert one_reading(read_visit(red_reflex(dataAbsentReason={"text": "cried"})), "red_reflex")["absent"] == "unknown"


@pytest.mark.parametrize(
    ("site", "sides"),
    [
        (snomed("7771000"), ["left"]),
        (snomed("24028007"), ["right"]),
        (snomed("51440002"), ["left", "right"]),
        ({"text": "Left eye"}, ["left"]),
        ({"text": "eyes, bilateral"}, ["left", "right"]),
        (concept(OWN, "right"), ["right"]),
    ],
)
def test_sides(site: dict[str, Any], sides: list[str]) -> None:
    result = read_visit(red_reflex(bodySite=site, valueString="present")).require()
    assert [reading["side"] for reading in result.visit["findings"]["red_reflex"]] == sides
    assert result.counts.used == 3


def test_side_by_code_or_missing_or_twice() -> None:
    reading = one_reading(read_visit(observation(loinc("54108-6"), valueString="Pass")), "hearing_screen")
    assert (reading["side"], reading["value"]) == ("left", "pass")
    twice = observation(loinc("54108-6"), valueString="Pass", bodySite=snomed("24028007"))
    assert codes(read_visit(twice)) == ["contradiction"]
    none = read_visit(red_reflex(bodySite=None, valueString="present")).require()
    assert "no side is given" in whys(none)[0]
    assert (
        one_reading(read_visit(observation(own("red-reflex.right"), valueString="dull")), "red_reflex")["side"]
        == "right"
    )


@pytest.mark.parametrize(
    "given",
    [
        observation(loinc("8332-9")),
        observation({"coding": [{"system": LOINC, "code": "8310-5"}, {"system": LOINC, "code": "8332-9"}]}),
        observation(loinc("8310-5"), method={"text": "Rectal thermometer"}),
        observation(loinc("8310-5"), bodySite={"text": "rectal"}),
        observation(
            loinc("8310-5"), component=[{"code": own("temperature.route"), "valueCodeableConcept": own("rectal")}]
        ),
    ],
)
def test_the_route_of_a_temperature(given: dict[str, Any]) -> None:
    reading = one_reading(read_visit({**given, "valueQuantity": quantity("38.2", "Cel")}), "temperature")
    assert (reading["value"], reading["route"]) == ("38.2", "rectal")


def saturations(hand: str, foot: str) -> list[dict[str, Any]]:
    return [
        {"code": loinc("59407-7"), "valueQuantity": quantity(hand, "%")},
        {"code": loinc("59418-4"), "valueQuantity": quantity(foot, "%")},
    ]


def test_a_screen_in_parts() -> None:
    panel = observation({"text": "Pulse oximetry screen"}, component=saturations("97", "96"))
    reading = one_reading(read_visit(panel), "pulse_oximetry")
    assert {key: reading[key] for key in ("hand", "foot", "unit")} == {"hand": "97", "foot": "96", "unit": "%"}
    apart = [
        observation(part["code"], id=name, valueQuantity=part["valueQuantity"])
        for name, part in zip("ab", saturations("97", "96"), strict=True)
    ]
    found = read_visit(*apart).require().visit["findings"]["pulse_oximetry"]
    assert [(r.get("hand"), r.get("foot")) for r in found] == [("97", None), (None, "96")]
    undone = observation(loinc("59418-4"), dataAbsentReason={"text": "moved"})
    assert one_reading(read_visit(undone), "pulse_oximetry")["part"] == "foot"
    whole = observation(own("pulse_oximetry"), valueQuantity=quantity("97", "%"))
    assert "which part" in whys(read_visit(whole))[0]


def test_panels_and_their_members() -> None:
    component = observation(
        {"text": "Vital signs"},
        component=[
            {"code": loinc("8867-4"), "valueQuantity": quantity("140", "/min")},
            {"code": loinc("9999-0"), "valueString": "?"},
        ],
    )
    result = read_visit(component).require()
    assert result.visit["findings"]["heart_rate"][0]["path"].endswith(".component[0].valueQuantity")
    assert (result.counts.used, len(result.not_understood)) == (3, 1)
    inside = {
        "resourceType": "Observation",
        "id": "m",
        "status": "final",
        "code": loinc("8867-4"),
        "valueQuantity": quantity("150", "/min"),
    }
    panel = observation({"text": "Vital signs"}, contained=[inside], hasMember=[{"reference": "#m"}])
    result = read_visit(panel)
    reading = one_reading(result, "heart_rate")
    assert (reading["origin"], reading["time"], result.counts.contained) == ("Observation/o1", AT, 1)
    apart = observation({"text": "Vital signs"}, hasMember=[{"reference": "Observation/o9"}])
    assert read_visit(apart).counts.not_used == 1


@pytest.mark.parametrize("status", ["preliminary", "final", "amended", "corrected", "cancelled", "entered-in-error"])
def test_the_status_is_passed_on(status: str) -> None:
    reading = one_reading(read_visit(weight(status=status, valueQuantity=quantity("3", "kg"))), "weight")
    assert reading["status"] == status


def test_mistakes_in_what_was_withdrawn_stop_nobody() -> None:
    wrong = weight(status="entered-in-error", valueQuantity={"value": Decimal(3)})
    early = weight(id="o2", status="cancelled", effectiveDateTime="2020-01-01", valueQuantity=quantity("3", "kg"))
    result = read_visit(wrong, early).require()
    assert whys(result) == ["withdrawn, and a number without a unit", "withdrawn, and this lies before birth"]
    assert codes(read_visit(weight(status="done", valueQuantity=quantity("3", "kg")))) == ["structure"]


def test_unknown_codes_are_kept() -> None:
    result = read_visit(observation(concept("urn:lab", "X1", "Some test"), valueString="high")).require()
    assert result.not_understood == [
        {
            "path": "Bundle.entry[2].resource.code",
            "code": "urn:lab|X1",
            "text": "Some test high",
            "why": "a code that is not in the dictionary",
            "here": True,
        }
    ]
    assert "without a value" in whys(read_visit(observation({"text": "a walk"})))[0]


def test_codes_of_two_findings_contradict_each_other() -> None:
    both = {"coding": [*loinc("29463-7")["coding"], *loinc("8867-4")["coding"]]}
    assert codes(read_visit(observation(both, valueQuantity=quantity("3", "kg")))) == ["contradiction"]
    closer = {"coding": [*loinc("29463-7")["coding"], *own("birth_weight")["coding"]]}
    assert one_reading(read_visit(observation(closer, valueQuantity=quantity("3", "kg"))), "birth_weight")


def test_site_codes() -> None:
    site = [
        SiteCode("urn:site", "WT", "weight", unit="g"),
        SiteCode("urn:site", "RR-W", "red_reflex", "white"),
        SiteCode("urn:site", "X", "no_such_finding"),
    ]
    given = [
        observation(concept("urn:site", "WT"), valueQuantity={"value": 3150}),
        observation(concept("urn:site", "RR-W"), id="o2", bodySite=LEFT, valueBoolean=True),
    ]
    result = read_visit(*given, site_codes=site).require()
    assert result.visit["findings"]["weight"][0]["unit"] == "g"
    assert result.visit["findings"]["weight"][0]["given"] == "3150 (no unit)"
    assert result.visit["findings"]["red_reflex"][0]["value"] == "white"


def test_told_by_the_family() -> None:
    mother = {"resourceType": "RelatedPerson", "id": "ana", "relationship": [{"text": "mother"}]}
    told = observation(
        loinc("8310-5"), performer=[{"reference": "RelatedPerson/ana"}], valueQuantity=quantity("38.4", "Cel")
    )
    tagged = {
        **told,
        "id": "o2",
        "performer": [],
        "meta": {"tag": [{"system": f"{BASE}/CodeSystem/tags", "code": "reported"}]},
    }
    result = read(bundle(patient(), encounter(), mother, told, tagged), pack()).require()
    assert [reading["reported"] for reading in result.visit["findings"]["temperature"]] == [True, True]


def test_what_was_computed_is_not_read() -> None:
    tag = {"system": f"{BASE}/CodeSystem/tags", "code": "computed"}
    result = read_visit(weight(meta={"tag": [tag]}, valueQuantity=quantity("3", "kg"))).require()
    assert result.visit["findings"] == {}
    assert result.not_used[0].why == "it was computed by Layette, not observed"


def test_another_base() -> None:
    code = concept("https://our.example/CodeSystem/findings", "tone")
    reading = one_reading(read_visit(observation(code, valueString="floppy"), base="https://our.example/"), "tone")
    assert reading["value"] == "floppy"
