"""Reading the envelope: Bundles, references, the newborn, the moment of the visit, the account of entries."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import (
    AT,
    BORN,
    adds_up,
    bundle,
    codes,
    encounter,
    loinc,
    observation,
    one_reading,
    own,
    pack,
    patient,
    quantity,
    read_visit,
    resource,
    visit_bundle,
)

from layette.engine.errors import InputError
from layette.mapping.read import read

WEIGHT = observation(loinc("29463-7"), valueQuantity=quantity("3.150", "kg"))
MOTHER = {"resourceType": "Patient", "id": "ana", "birthDate": "1996-02-01", "gender": "female"}


def test_a_visit_is_read() -> None:
    result = read_visit(WEIGHT)
    assert result.visit == {
        "layette_visit": 1,
        "patient": "Patient/mara",
        "identifiers": [{"system": "urn:example", "value": "7"}],
        "encounter": "Encounter/visit",
        "born": BORN,
        "at": AT,
        "sex_at_birth": "female",
        "findings": {
            "weight": [
                {
                    "value": "3.150",
                    "unit": "kg",
                    "time": AT,
                    "status": "final",
                    "origin": "Observation/o1",
                    "path": "Bundle.entry[2].resource.valueQuantity",
                }
            ]
        },
    }
    assert str(result.counts) == "3 entries read: 3 used, 0 kept but not understood, 0 not used, 0 refused"
    assert result.references == {"Bundle.entry[2].resource.valueQuantity": "Observation/o1"}
    assert result.require() is result


@pytest.mark.parametrize("kind", ["collection", "searchset", "document", "message", "transaction", "batch"])
def test_types_of_bundle(kind: str) -> None:
    result = read(bundle(patient(), encounter(), WEIGHT, kind=kind), pack())
    assert not result.problems
    assert "history_complete" not in result.visit


@pytest.mark.parametrize("kind", ["history", "batch-response", None, 7])
def test_other_bundles_are_refused(kind: Any) -> None:
    assert codes(read(bundle(patient(), encounter(), kind=kind), pack())) == ["structure"]


@pytest.mark.parametrize("given", [None, 7, "text", {}, {"born": "2026-11-20"}, [7], {"resourceType": 7}, []])
def test_what_is_no_fhir_is_an_error(given: Any) -> None:
    result = read(given, pack())
    adds_up(result)
    with pytest.raises(InputError):
        result.require()


def test_pages_lists_and_single_resources_give_the_same() -> None:
    whole = read(visit_bundle(WEIGHT), pack()).visit["findings"]["weight"][0]
    for given in ([bundle(patient()), bundle(encounter(), WEIGHT, patient())], [patient(), encounter(), WEIGHT]):
        result = read(given, pack())
        adds_up(result)
        assert one_reading(result, "weight") | {"path": ""} == whole | {"path": ""}
    assert one_reading(read([bundle(patient(), encounter(), WEIGHT)], pack()), "weight")["path"].startswith(
        "[0].Bundle.entry[2]"
    )
    assert codes(read(WEIGHT, pack())) == ["patient"]


def test_a_page_sent_twice_counts_once_and_two_versions_are_told() -> None:
    page = visit_bundle(WEIGHT)
    result = read([page, page], pack())
    adds_up(result)
    assert (result.counts.used, result.counts.not_used) == (3, 3)
    changed = observation(loinc("29463-7"), valueQuantity=quantity("3.2", "kg"))
    assert codes(read_visit(WEIGHT, changed)) == ["contradiction"]
    older = {**WEIGHT, "meta": {"lastUpdated": "2026-11-24T10:00:00Z"}}
    newer = {**changed, "meta": {"lastUpdated": "2026-11-24T10:01:00Z"}}
    assert one_reading(read_visit(older, newer), "weight")["value"] == "3.2"
    assert one_reading(read_visit(newer, older), "weight")["value"] == "3.2"


@pytest.mark.parametrize(
    ("url", "link"),
    [
        ("urn:uuid:1", "urn:uuid:1"),
        ("https://a.example/fhir/Patient/mara", "https://a.example/fhir/Patient/mara"),
        ("https://a.example/fhir/Patient/mara", "Patient/mara"),
        ("", "https://b.example/fhir/Patient/mara"),
        ("", "Patient/mara/_history/3"),
    ],
)
def test_references(url: str, link: str) -> None:
    given = bundle(
        patient(), observation(loinc("29463-7"), subject={"reference": link}, valueQuantity=quantity("3", "kg"))
    )
    given["entry"][0]["fullUrl"] = url
    assert one_reading(read(given, pack()), "weight")["value"] == "3"


def test_a_reference_to_another_server_is_another_person() -> None:
    given = visit_bundle(observation(loinc("29463-7"), subject={"reference": "https://b.example/Patient/mara"}))
    given["entry"][0]["fullUrl"] = "https://a.example/Patient/mara"
    result = read(given, pack())
    assert result.not_used[0].why == "it does not say that it is about the newborn"


def test_contained_patient_and_subject_by_identifier() -> None:
    inside = {"resourceType": "Patient", "id": "p", "birthDate": "2026-11-20", "gender": "male"}
    alone = observation(
        loinc("29463-7"),
        subject={"reference": "#p"},
        contained=[inside],
        encounter=None,
        valueQuantity=quantity("3", "kg"),
    )
    second = {**alone, "id": "o2", "contained": [{**inside, "id": "q"}], "subject": {"reference": "#q"}}
    result = read([alone, second], pack())
    assert (len(result.require().visit["findings"]["weight"]), result.counts.contained) == (2, 2)
    by_number = observation(
        loinc("29463-7"),
        subject={"identifier": {"system": "urn:example", "value": "7"}},
        valueQuantity=quantity("3", "kg"),
    )
    assert one_reading(read_visit(by_number), "weight")["value"] == "3"


def test_two_babies_are_an_error_that_names_both_unless_one_is_named() -> None:
    twin = patient(id="milo", identifier=[{"system": "urn:example", "value": "8"}])
    twins = bundle(
        patient(), twin, encounter(), WEIGHT, {**WEIGHT, "id": "o2", "subject": {"reference": "Patient/milo"}}
    )
    problem = read(twins, pack()).problems[0]
    assert problem.code == "patient"
    assert problem.value == "Patient/mara, Patient/milo"
    for named in ("milo", "Patient/milo"):
        result = read(twins, pack(), subject=named)
        adds_up(result)
        assert result.visit["patient"] == "Patient/milo"
        assert len(result.visit["findings"]["weight"]) == 1
    assert read(twins, pack(), encounter="visit").visit["patient"] == "Patient/mara"
    assert codes(read(twins, pack(), subject="nobody")) == ["patient"]


def test_a_mother_beside_the_baby_is_fine() -> None:
    result = read(bundle(MOTHER, patient(), encounter(), WEIGHT), pack())
    assert result.require().counts.used == 4
    related = resource(
        "RelatedPerson",
        patient={"reference": "Patient/mara"},
        relationship=[{"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v3-RoleCode", "code": "MTH"}]}],
    )
    linked = {"resourceType": "Patient", "id": "ana", "link": [{"other": {"reference": "RelatedPerson/relatedperson"}}]}
    assert read(bundle(linked, related, patient(), encounter()), pack()).require().counts.used == 4
    father = {**MOTHER, "id": "jon", "gender": "male"}
    result = read(bundle(MOTHER, father, patient(), encounter()), pack())
    assert [unused.why for unused in result.not_used] == ["another person"]


def test_whose_finding_it_is() -> None:
    hbsag = {"valueCodeableConcept": {"coding": [{"system": "http://snomed.info/sct", "code": "260385009"}]}}
    about_her = observation(
        loinc("5196-1"),
        id="a",
        subject={"reference": "Patient/ana"},
        encounter=None,
        effectiveDateTime="2026-05-02",
        **hbsag,
    )
    in_focus = observation(loinc("10331-7"), id="b", focus=[{"reference": "Patient/ana"}], valueString="Positive")
    of_baby = observation(loinc("10331-7"), id="c", valueString="negative")
    misplaced = observation(loinc("5196-1"), id="d", **hbsag)
    result = read(bundle(MOTHER, patient(), encounter(), about_her, in_focus, of_baby, misplaced), pack())
    adds_up(result)
    assert result.visit["history"]["findings"]["mother_hbsag"][0]["value"] == "negative"
    assert result.visit["findings"]["mother_rh"][0]["value"] == "positive"
    assert result.visit["findings"]["baby_rh"][0]["value"] == "negative"
    assert "asked of the mother" in result.not_understood[0]["why"]
    assert not result.problems


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"birthDate": None, "_birthDate": None}, "birth"),
        ({"birthDate": "2026-11"}, "birth"),
        ({"birthDate": "2026-02-30", "_birthDate": None}, "birth"),
        ({"birthDate": "2026-11-21"}, "contradiction"),
        ({"gender": "girl"}, "structure"),
        ({"birthDate": "2026-12-20", "_birthDate": None}, "time"),
    ],
)
def test_the_patient_must_be_usable(change: dict[str, Any], code: str) -> None:
    given = {key: value for key, value in patient(**change).items() if value is not None}
    assert code in codes(read(bundle(given, encounter()), pack()))


def test_birth_date_alone_and_sex_at_birth() -> None:
    sex = {"url": "http://hl7.org/fhir/us/core/StructureDefinition/us-core-birthsex", "valueCode": "M"}
    given = patient(extension=[sex])
    del given["_birthDate"]
    result = read(bundle(given, encounter()), pack())
    assert result.visit["born"] == "2026-11-20"
    assert result.visit["sex_at_birth"] == "male"
    assert result.notices == ("Bundle.entry[0].resource.gender: it differs from the sex at birth, which is used",)


def test_the_moment_of_the_visit() -> None:
    later = observation(
        loinc("29463-7"), effectiveDateTime="2026-11-24T10:20:00-06:00", valueQuantity=quantity("3", "kg")
    )
    assert read_visit(WEIGHT).visit["at"] == AT
    assert read_visit(later).require().visit["at"] == AT
    assert read_visit(later).require().visit["until"] == "2026-11-24T10:20:00-06:00"
    without = read(bundle(patient(), {**WEIGHT, "encounter": {"reference": "Encounter/elsewhere"}}), pack())
    assert (without.visit["at"], without.visit["encounter"]) == (AT, "Encounter/elsewhere")
    assert "weight" in without.require().visit["findings"]
    assert codes(read(bundle(patient()), pack())) == ["time"]
    assert read(bundle(patient()), pack(), at=AT).require().visit["at"] == AT
    assert codes(read(bundle(patient()), pack(), at="2026-11-24")) == ["time"]


@pytest.mark.parametrize("start", ["2026-11-24T10:00:00", "24.11.2026", 7])
def test_a_visit_without_a_usable_time(start: Any) -> None:
    assert codes(read(bundle(patient(), encounter(period={"start": start})), pack())) == ["time"]


def test_the_latest_encounter_of_the_newborn_is_the_visit() -> None:
    birth = encounter(id="birth", period={"start": BORN, "end": "2026-11-22T10:00:00-06:00"})
    planned = encounter(id="next", status="planned", period={"start": "2026-12-20T10:00:00-06:00"})
    result = read(
        bundle(
            patient(),
            birth,
            planned,
            encounter(),
            {**WEIGHT, "encounter": {"reference": "Encounter/birth"}, "effectiveDateTime": "2026-11-21"},
        ),
        pack(),
    )
    adds_up(result)
    assert result.require().visit["encounter"] == "Encounter/visit"
    assert result.visit["history"]["findings"]["weight"][0]["time"] == "2026-11-21"


def test_this_visit_or_history_by_the_calendar_day() -> None:
    today = observation(
        loinc("29463-7"), id="a", encounter=None, effectiveDateTime="2026-11-24", valueQuantity=quantity("3", "kg")
    )
    before = {**today, "id": "b", "effectiveDateTime": "2026-11-24T05:30:00Z"}
    result = read_visit(today, before).require()
    assert [r["time"] for r in result.visit["findings"]["weight"]] == ["2026-11-24"]
    assert [r["time"] for r in result.visit["history"]["findings"]["weight"]] == ["2026-11-24T05:30:00Z"]


@pytest.mark.parametrize(
    "time",
    [
        "2026-11-20T08:00:00-06:00",
        "2026-11-19",
        "2026-11-24T10:41:00-06:00",
        "2026-11-25",
        "2026-11-24T09:00:00",
        "now",
    ],
)
def test_times_outside_the_visit_are_errors(time: str) -> None:
    result = read_visit({**WEIGHT, "effectiveDateTime": time})
    assert codes(result) == ["time"]
    assert (result.problems[0].path, result.problems[0].value) == ("Bundle.entry[2].resource.effectiveDateTime", time)
    assert result.counts.refused == 1


def test_an_encounter_that_goes_on_lasts_its_day_and_a_closed_one_only_till_its_end() -> None:
    later = {**WEIGHT, "effectiveDateTime": "2026-11-24T12:00:00-06:00"}
    going_on = bundle(patient(), encounter(status="in-progress", period={"start": AT}), later)
    assert not read(going_on, pack()).problems
    assert codes(read(bundle(patient(), encounter(period={"start": AT}), later), pack())) == ["time"]


def test_times_that_are_missing_or_vague() -> None:
    no_time = observation(
        loinc("1975-2"), id="a", encounter=None, effectiveDateTime=None, valueQuantity=quantity("9", "mg/dL")
    )
    fact = observation(
        loinc("8339-4"), id="b", encounter=None, effectiveDateTime=None, valueQuantity=quantity("3.4", "kg")
    )
    vague = {**WEIGHT, "id": "c", "effectiveDateTime": "2026-11"}
    result = read_visit(no_time, fact, vague).require()
    assert list(result.visit["findings"]) == ["birth_weight"]
    assert [kept["why"] for kept in result.not_understood] == [
        "neither an effective time nor an Encounter: it is not known of which visit it is",
        "the time is not known to the day",
    ]


def test_entries_that_are_not_read_are_counted_with_the_reason() -> None:
    result = read_visit(resource("CarePlan"), resource("Observation", status="final", code=own("weight")))
    assert [(unused.kind, unused.why) for unused in result.not_used] == [("CarePlan", "a CarePlan is not read")]
    given = visit_bundle()
    given["entry"] += [{"request": {"method": "DELETE", "url": "Patient/1"}}, 7]
    result = read(given, pack())
    adds_up(result)
    assert (result.counts.not_used, result.counts.refused) == (1, 1)


def test_completeness_is_only_what_is_declared() -> None:
    order = resource(
        "ServiceRequest",
        status="active",
        intent="order",
        code={"coding": [{"system": "http://snomed.info/sct", "code": "308479007"}]},
    )
    item = {"item": {"reference": "ServiceRequest/servicerequest"}}
    snapshot = resource("List", status="current", mode="snapshot", entry=[item])
    assert read_visit(order, snapshot).visit["history_complete"] == ["orders"]
    assert "history_complete" not in read_visit(order, {**snapshot, "mode": "working"}).visit
    assert "history_complete" not in read_visit(snapshot).visit
    assert read_visit(history_complete=["immunizations"]).visit["history_complete"] == ["immunizations"]
