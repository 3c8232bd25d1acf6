"""One door for callers: one input in, one answer out, and nothing that was refused can be lost on the way."""

from __future__ import annotations

import json
import pickle
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from support.checkout import ROOT
from support.read_samples import observation, own, visit_bundle
from support.shipped_examples import EXAMPLES

from layette.engine import InputError, Pack, assess, load_pack
from layette.engine.errors import InputProblem
from layette.mapping import write
from layette.mapping.answering import Answer, answer
from layette.mapping.cli import main
from layette.mapping.door import OutputError
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.fhir.xml import to_xml
from layette.mapping.intake import CallerSays, take
from layette.mapping.read import read
from layette.mapping.validate import validate

JAUNDICED = EXAMPLES / "jaundiced-sleepy-day-4.json"
WEIGHTS = ("29463-7", "8339-4")
MESSAGE = (
    b"MSH|^~\\&|L|H|R|D|20261124100000-0600||ORU^R01|1|P|2.5.1\rPID|1||77^^^HOSPITAL||X||202611200830|F\r"
    b"OBR|1|||LAB|||20261124100000\rOBX|1|NM|29463-7^^LN||3150|g|||||F"
)


def ship() -> Pack:
    return load_pack()


def codes_of(entry: dict[str, Any]) -> set[str]:
    return {coding["code"] for coding in entry["resource"].get("code", {}).get("coding", ())}


@cache
def foreign_weights() -> str:
    """The example of the README, its weights in the unit `foo`."""
    bundle = loads(JAUNDICED.read_bytes())
    weights = [entry["resource"] for entry in bundle["entry"] if codes_of(entry) & set(WEIGHTS)]
    assert len(weights) > 1
    for resource in weights:
        resource["valueQuantity"] |= {"unit": "foo", "code": "foo"}
    return dumps(bundle)


def refused(given: Any, **more: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        answer(given, ship(), **more)
    return caught.value


@cache
def jaundiced() -> Answer:
    return answer(JAUNDICED.read_bytes(), ship(), readers=("native",))


def test_the_answer_holds_what_a_caller_needs() -> None:
    found = jaundiced()
    assert found.assessment.patient == found.visit["patient"] == "Patient/basil"
    assert found.source == loads(JAUNDICED.read_bytes())
    assert str(found.account) == "60 entries read: 59 used, 0 kept but not understood, 1 not used, 0 refused."
    assert [unused.kind for unused in found.account.not_used] == ["Encounter"]
    assert validate(found.to_fhir(ship())) == []
    assert str(found.account) in found.to_text(ship())


def test_refused_input_is_lost_nowhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    error = refused(foreign_weights().encode())
    units = [problem for problem in error.problems if problem.code == "unit"]
    assert len(units) > 1
    assert all(problem.value == "foo" for problem in units)
    path = tmp_path / "visit.json"
    path.write_text(foreign_weights(), encoding="utf-8")
    assert main(["assess", str(path)]) == 2
    told = capsys.readouterr().err
    assert [str(problem) for problem in error.problems if str(problem) not in told] == []


@pytest.mark.parametrize("use", [lambda visit: ship().assess(visit), lambda visit: ship().read_visit(visit), assess])
def test_reading_alone_loses_nothing_either(use: Callable[[Any], Any]) -> None:
    result = read(loads(foreign_weights()), ship())
    assert result.problems
    with pytest.raises(InputError) as caught:
        use(result.visit)
    assert set(result.problems) <= set(caught.value.problems)


def test_the_emergencies_of_the_rest_are_told_by_the_door_and_by_the_pack() -> None:
    emergency = [made.reasons[0].rule for made in jaundiced().assessment.recommendations if made.priority == "stat"]
    assert emergency
    with pytest.raises(InputError) as caught:
        ship().assess(read(loads(foreign_weights()), ship()).visit, readers=["native"])
    for error in (refused(foreign_weights().encode()), caught.value):
        assert [rule for rule in emergency if rule not in "\n".join(error.urgent)] == []


def test_everything_that_is_wrong_is_told_at_once_with_the_account() -> None:
    bundle = loads(foreign_weights())
    bundle["entry"][0]["resource"]["gender"] = "girl"
    hot = next(entry["resource"] for entry in bundle["entry"] if "8310-5" in codes_of(entry))
    hot["valueQuantity"] |= {"value": 99}
    error = refused(bundle)
    assert {"invalid-fhir", "unit", "implausible"} <= {problem.code for problem in error.problems}
    [account] = error.__notes__
    entries = {problem.path.split("]")[0] for problem in error.problems}
    assert account.startswith("60 entries read: ")
    assert account.endswith(f", {len(entries)} refused.")


def test_what_the_check_of_fhir_refuses_travels_in_the_visit_too() -> None:
    bundle = loads(JAUNDICED.read_bytes())
    bundle["entry"][0]["resource"]["birthPlace"] = "here"
    intake = take(bundle, ship(), "https://layette.example/fhir", CallerSays())
    assert [problem.code for problem in intake.problems] == ["invalid-fhir"]
    with pytest.raises(InputError) as caught:
        ship().assess(intake.visit)
    assert caught.value.problems == intake.problems


def test_bytes_and_what_was_parsed_give_the_same_answer() -> None:
    parsed = loads(JAUNDICED.read_bytes())
    kept = dumps(parsed)
    for given in (parsed, [parsed], to_xml(parsed)):
        found = answer(given, ship(), readers=("native",))
        assert found.assessment == jaundiced().assessment
        assert str(found.account) == str(jaundiced().account)
    assert dumps(parsed) == kept, "what is given stays as it is"


def test_a_flat_visit_and_a_message_are_answered_too() -> None:
    flat = (EXAMPLES / "healthy-day-4.yaml").read_bytes()
    found = answer(flat, ship())
    assert (found.source, found.account.form) == (None, "readings")
    assert answer(dict(found.visit), ship()).assessment == found.assessment
    message = answer(MESSAGE, ship())
    assert (message.source, str(message.account)[:17]) == (None, "4 segments read: ")
    assert validate(message.to_fhir(ship())) == []


@pytest.mark.parametrize("given", [b"", b"{", [], {"resourceType": 7}, 5, "born: 2026-11-20"])
def test_what_is_no_visit_is_an_input_error(given: Any) -> None:
    assert refused(given).problems


def test_what_the_caller_says_counts() -> None:
    at = "2026-05-15T11:00:00-05:00"
    assert answer(JAUNDICED.read_bytes(), ship(), at=at).assessment.at == at
    assert refused(JAUNDICED.read_bytes(), subject="nobody").problems[0].code == "patient"
    base = "https://clinic.example/fhir"
    assert base in dumps(answer(MESSAGE, ship(), base=base).to_fhir(ship()))
    with pytest.raises(ValueError, match="no reader 'third'"):
        answer(MESSAGE, ship(), readers=("third",))


def test_the_notices_of_reading_stand_in_every_form_of_the_answer() -> None:
    pounds = {"value": 7, "unit": "lb"}
    weight = observation({"coding": [{"system": "http://loinc.org", "code": "29463-7"}]}, valueQuantity=pounds)
    category = "http://terminology.hl7.org/CodeSystem/observation-category"
    weight["category"] = [{"coding": [{"system": category, "code": "vital-signs"}]}]
    found = answer(visit_bundle(weight), ship(), readers=("native",))
    [said] = [notice for notice in found.account.notices if "bodyweight" in notice and "[lb_av]" in notice]
    assert said in found.assessment.notices
    assert said in json.loads(found.assessment.to_json())["notices"]
    assert said in dumps(found.to_fhir(ship()))
    assert said.split()[0] in found.to_text(ship(), full=True)


def test_a_code_that_nobody_knows_is_in_the_account() -> None:
    found = answer(visit_bundle(observation(own("zzz"), valueString="odd")), ship())
    [kept] = found.account.not_understood
    assert (kept["code"].rpartition("|")[2], found.account.counts.not_understood) == ("zzz", 1)
    assert any("zzz" in warning for warning in found.assessment.warnings)


def test_what_would_not_be_valid_is_not_given(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(write, "to_bundle", lambda *args, **named: {"resourceType": "Bundle", "type": "parcel"})
    with pytest.raises(OutputError, match=r"Bundle\.type"):
        jaundiced().to_fhir(ship())


def test_answers_and_errors_travel_between_processes() -> None:
    found = jaundiced()
    again = pickle.loads(pickle.dumps(found))
    assert again == found
    assert dumps(again.to_fhir(ship())) == dumps(found.to_fhir(ship()))
    error = refused(foreign_weights().encode())
    back = pickle.loads(pickle.dumps(error))
    assert (back.problems, back.urgent, back.__notes__) == (error.problems, error.urgent, error.__notes__)


def test_nothing_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    answer(MESSAGE, ship()).to_text(ship())
    refused(foreign_weights().encode())
    assert capsys.readouterr() == ("", "")


def test_the_command_and_the_example_of_the_readme_use_the_door() -> None:
    for name in ("mapping/cli/verbs/assess.py", "README.md"):
        assert "layette.mapping.answering import" in (ROOT / name).read_text(encoding="utf-8"), name


def test_a_problem_of_an_input_is_told_as_the_engine_tells_it() -> None:
    flat = {"born": "2026-11-20", "at": "2026-11-24T10:00:00-06:00", "findings": {"weight": 3}}
    with pytest.raises(InputError) as caught:
        ship().assess(flat)
    assert refused(flat).problems == caught.value.problems
    assert isinstance(caught.value.problems[0], InputProblem)
