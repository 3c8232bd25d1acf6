"""Assessed again from the server: nothing new but what a person would call new; what is superseded is taken back."""

from __future__ import annotations

from collections import Counter
from datetime import datetime, timedelta
from typing import Any

import pytest
from integration import visits
from integration.fhir_server import Server, hold
from integration.visits import Resource
from support.shipped_examples import NAMES, source

from layette.mapping.answering import Answer, answer
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.write import BASE

pytestmark = [pytest.mark.interop, pytest.mark.slow, pytest.mark.xdist_group("fhir-server")]

KEY, RETIRED = (f"{BASE}/identifier/{name}" for name in ("answer-key", "answer-key-retired"))
DERMATOLOGY = f"{BASE}/CodeSystem/targets|dermatology"


@pytest.fixture(name="server")
def _server(empty_server: Server) -> Server:
    return empty_server


def assess(server: Server, patient: str, at: str | None = None) -> Answer:
    """Assess all that the server holds of a newborn, by the same door as everybody."""
    record = server.get(f"Patient/{patient}/$everything", _count="1000")
    assert record.status == 200, record.body
    assert not [link for link in record.body.get("link", ()) if link["relation"] == "next"]
    return answer(loads(dumps(record.body)), visits.pack(), at=at, readers=("native",))


def post(server: Server, bundle: Resource) -> list[Resource]:
    """Post a transaction; return what was new."""
    answered = server.post(dumps(bundle))
    assert answered.status == 200, answered.body
    replies = zip(bundle["entry"], answered.body["entry"], strict=True)
    return [entry["resource"] for entry, reply in replies if reply["response"]["status"].startswith("201")]


def given(found: Answer) -> Resource:
    return found.to_fhir(visits.pack())


def later(found: Answer, **span: float) -> str:
    """Return a moment so long after the end of the visit."""
    end = found.visit.get("until") or found.assessment.at
    return (datetime.fromisoformat(end) + timedelta(**span)).isoformat()


@pytest.mark.parametrize("name", NAMES)
def test_assessed_again_nothing_is_new_but_what_a_person_would_call_new(name: str, server: Server) -> None:
    resources = [visits.plain(entry["resource"]) for entry in source(name)["entry"]]
    hold(server, resources)
    patient = next(str(one["id"]) for one in resources if one["resourceType"] == "Patient")
    first = assess(server, patient)
    assert len(post(server, given(first))) > 5
    for moment in (None, later(first, minutes=10)):
        assert post(server, given(assess(server, patient, moment))) == []
    asked = {(one.target, one.side) for one in first.assessment.recommendations}
    day_after = assess(server, patient, later(first, days=1))
    new = [one for one in day_after.assessment.recommendations if not of_key(server, one.answer_key)]
    # Either its time went by unordered, or it is wanted for the first time because a day has passed.
    assert [one for one in new if not one.window.proposed and (one.target, one.side) in asked] == []
    created = Counter(one["resourceType"] for one in post(server, given(day_after)))
    requests = [one for one in new if one.kind in ("refer", "order", "recheck")]
    assert created["ServiceRequest"] == len(requests)
    assert not {"Observation", "Device", "CommunicationRequest"} & set(created)
    assert post(server, given(assess(server, patient, later(first, days=1, minutes=10)))) == []


def of_key(server: Server, key: str, system: str = KEY) -> list[Resource]:
    return server.all("ServiceRequest", identifier=f"{system}|{key}")


def a_mark(server: Server) -> Answer:
    """A baby with a mark that is routine; the answer is posted."""
    hold(server, [visits.baby(1), *visits.seen(1, "06", other_birthmark="present", birthmark_place="midline")])
    first = assess(server, "fern-1")
    post(server, given(first))
    return first


def many_marks(server: Server) -> tuple[Answer, Resource]:
    """The same baby a week later with many, which are urgent; the answer is posted."""
    hold(server, visits.seen(1, "13", hemangioma="present", hemangioma_count="6"))
    second = assess(server, "fern-1")
    bundle = given(second)
    post(server, bundle)
    return second, bundle


def key_of(found: Answer, target: str = "dermatology") -> str:
    return next(one.answer_key for one in found.assessment.recommendations if one.target == target)


def statuses(answered: Any) -> list[str]:
    """Return the status of each entry of a batch."""
    assert answered.status == 200, answered.body
    return [entry["response"]["status"][:3] for entry in answered.body.get("entry", ())]


def test_superseded_drafts_are_retired_and_nothing_retired_is_declined(server: Server) -> None:
    first = a_mark(server)
    second, bundle = many_marks(server)
    batch = second.to_retire(bundle)
    assert {"ServiceRequest", "CarePlan"} <= {entry["resource"]["resourceType"] for entry in batch["entry"]}
    assert set(statuses(server.post(dumps(batch)))) == {"200"}
    [old], [new] = of_key(server, key_of(first), RETIRED), of_key(server, key_of(second))
    assert (old["status"], new["status"]) == ("revoked", "draft")
    assert of_key(server, key_of(first)) == []
    again = assess(server, "fern-1")
    assert key_of(again) == key_of(second)
    assert [one.answer_key for one in again.assessment.recommendations] == [
        one.answer_key for one in second.assessment.recommendations
    ]
    assert again.assessment.standing == second.assessment.standing
    assert post(server, given(again)) == []
    assert "entry" not in again.to_retire(given(again))


def test_a_retired_answer_that_comes_back_lives(server: Server) -> None:
    first = a_mark(server)
    second, bundle = many_marks(server)
    assert set(statuses(server.post(dumps(second.to_retire(bundle))))) == {"200"}
    assert "ServiceRequest" in {one["resourceType"] for one in post(server, given(first))}
    [revived] = of_key(server, key_of(first))
    assert revived["status"] == "draft"


def test_a_draft_that_somebody_touched_stays_and_the_rest_goes(server: Server) -> None:
    first = a_mark(server)
    second, bundle = many_marks(server)
    batch = second.to_retire(bundle)
    [draft] = of_key(server, key_of(first))
    note = [{"authorString": "A. Nurse", "text": "In two weeks."}]
    assert server.put(draft | {"note": note}).status == 200
    answered = statuses(server.post(dumps(batch)))
    assert (answered.count("412"), answered.count("200")) == (1, len(answered) - 1)
    [kept] = of_key(server, key_of(first))
    assert (kept["status"], kept["note"][0]["text"]) == ("draft", "In two weeks.")
    # Read again, it no longer fits its seal: it is theirs now, and not even tried.
    again = assess(server, "fern-1")
    tried = [entry["resource"]["id"] for entry in again.to_retire(given(again)).get("entry", ())]
    assert draft["id"] not in tried


@pytest.mark.parametrize("reason", [{"text": "The family has seen a specialist already."}, None])
def test_what_somebody_declined_stays_declined(reason: Resource | None, server: Server) -> None:
    first = a_mark(server)
    [draft] = of_key(server, key_of(first))
    why = {"url": "http://hl7.org/fhir/StructureDefinition/request-statusReason", "valueCodeableConcept": reason}
    revoked = draft | {"status": "revoked"} | ({"extension": [why]} if reason else {})
    assert server.put(revoked).status == 200
    again = assess(server, "fern-1", later(first, days=1))
    assert "dermatology" not in [one.target for one in again.assessment.recommendations]
    assert "dermatology" in [one.target for one in again.assessment.standing]
    bundle = given(again)
    post(server, bundle)
    assert draft["id"] not in [entry["resource"]["id"] for entry in again.to_retire(bundle).get("entry", ())]
    assert [one["status"] for one in server.all("ServiceRequest", code=DERMATOLOGY)] == ["revoked"]


def test_retired_pressing_drafts_vanish_no_line_of_the_answer(server: Server) -> None:
    """The whole example with all that it proposes retired by hand: read again, everything is asked for as before."""
    name = "jaundiced-sleepy-day-4"
    resources = [visits.plain(entry["resource"]) for entry in source(name)["entry"]]
    hold(server, resources)
    patient = next(str(one["id"]) for one in resources if one["resourceType"] == "Patient")
    first = assess(server, patient)
    bundle = given(first)
    post(server, bundle)
    day_after = assess(server, patient, later(first, days=1))
    anew = given(day_after)
    post(server, anew)
    batch = day_after.to_retire(anew)
    assert len(batch["entry"]) > 5
    assert set(statuses(server.post(dumps(batch)))) == {"200"}
    once_more = assess(server, patient, later(first, days=1))
    said = [(one.target, one.side, one.priority) for one in day_after.assessment.recommendations]
    assert [(one.target, one.side, one.priority) for one in once_more.assessment.recommendations] == said
    assert once_more.assessment.verdict.text == day_after.assessment.verdict.text
    assert post(server, given(once_more)) == []


def test_a_value_that_somebody_judged_is_not_asked_for_again(server: Server) -> None:
    """A bilirubin without a line for its gestation: a person reads it on their chart, and says so on the request."""
    at = "2026-05-06T10:00:00-05:00"
    weeks = {"value": 36, "unit": "wk", "system": "http://unitsofmeasure.org", "code": "wk"}
    level = {"value": 17, "unit": "mg/dL", "system": "http://unitsofmeasure.org", "code": "mg/dL"}
    encounter, *_ = visits.seen(1, "06", murmur="none")
    values = [
        {
            "resourceType": "Observation", "id": f"fern-{name.replace('_', '-')}", "status": "final",
            "subject": {"reference": "Patient/fern-1"}, "encounter": {"reference": "Encounter/visit-1-06"},
            "effectiveDateTime": at, "valueQuantity": value,
            "code": {"coding": [{"system": f"{BASE}/CodeSystem/findings", "code": name}]},
        }
        for name, value in (("gestational_age", weeks), ("serum_bilirubin", level))
    ]  # fmt: skip
    hold(server, [visits.baby(1), encounter, *values])
    first = assess(server, "fern-1")
    assert first.assessment.to_judge, "this test needs a value that the shipped pack cannot judge"
    post(server, given(first))
    asked = server.all("ServiceRequest", patient="Patient/fern-1", code=f"{BASE}/CodeSystem/judgments|judge")
    assert len(asked) == len(first.assessment.to_judge)
    for one in asked:
        note = {"authorString": "nurse practitioner on duty", "time": at, "text": "below the line of our chart"}
        assert server.put(one | {"status": "completed", "note": [note]}).status == 200
    again = assess(server, "fern-1")
    assert {item["finding"] for item in again.visit["history"]["judged"]} == {"serum_bilirubin"}
    assert [one for one in again.assessment.to_judge if "serum_bilirubin" in str(one.values)] == []
