"""What a file becomes on the page, and what the page's visit becomes as FHIR: nothing is lost and nothing added."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

import pytest
from support.exam_desk import told
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.engine.errors import InputError
from layette.mapping.answering import answer
from layette.mapping.codes import FAMILYS_WORDS
from layette.mapping.fhir.json import dumps
from layette.mapping.pages.exam.live import live
from layette.mapping.pages.exam.opened import opened
from layette.mapping.pages.exam.saved import as_fhir

VISITS = sorted(path.name for path in EXAMPLES.iterdir() if path.suffix in (".json", ".yaml"))
BORN, AT = "2026-11-24T08:30:00-06:00", "2026-11-28T10:00:00-06:00"


def visit(findings: dict[str, Any], **more: Any) -> bytes:
    """A flat visit as bytes."""
    return json.dumps({"born": BORN, "at": AT, "sex_at_birth": "female", "findings": findings} | more).encode()


def read(findings: dict[str, Any], **more: Any) -> list[tuple[str, str, dict[str, Any]]]:
    """What the page gets of findings: finding, side, what."""
    return [
        (one["finding"], one["side"], one["what"]) for one in opened(visit(findings, **more), load_pack())["records"]
    ]


def test_a_side_stays_the_side_that_it_is() -> None:
    assert [(name, side) for name, side, _ in read({"red_reflex.left": "white"})] == [("red_reflex", "left")]
    both = read({"red_reflex.both": "present"})
    assert [side for _, side, _ in both] == ["left", "right"]
    assert read({"barlow": {"value": "positive", "side": "right"}})[0][1] == "right"


def test_every_reading_is_kept_and_digits_stay_as_they_were_written() -> None:
    two = [{"value": "38.40", "unit": "Cel", "age": "90 h"}, {"value": 36.9, "unit": "Cel", "route": "axillary"}]
    given = [what for _, _, what in read({"temperature": two})]
    assert [(one["value"], one["unit"]) for one in given] == [("38.40", "Cel"), ("36.9", "Cel")]
    assert given[0]["fields"] == {"age": "90 h"}
    assert given[1]["fields"] == {"route": "axillary"}


def test_a_range_stays_a_range_and_parts_stay_parts() -> None:
    ((_, _, bilirubin),) = read({"serum_bilirubin": {"value": {"more_than": 20}, "unit": "mg/dL"}})
    assert bilirubin["value"] == {"more_than": "20"}
    ((_, _, oximetry),) = read({"pulse_oximetry": [{"hand": 97, "foot": 96, "unit": "%"}]})
    assert oximetry["parts"] == {"hand": "97", "foot": "96"}


def test_a_system_charted_as_normal_is_spread_under_its_name() -> None:
    spread = read({"eyes_examination": "normal"})
    assert {name for name, _, _ in spread} == set(load_pack().normals["eyes_examination"].spreads)
    assert {what["by"] for _, _, what in spread} == {"eyes_examination"}
    rest = opened(visit({"eyes_examination": "abnormal"}), load_pack())["rest"]
    assert rest["others"] == {"eyes_examination": "abnormal"}


def test_an_earlier_visit_gives_its_findings_their_time() -> None:
    content = visit({"weight": {"value": "3.1", "unit": "kg"}}, at="2026-11-26T09:00:00-06:00")
    made = opened(content, load_pack(), earlier=True, born=BORN)
    assert [(one["finding"], one["item"]["time"]) for one in made["earlier"]] == [
        ("weight", "2026-11-26T09:00:00-06:00")
    ]
    with pytest.raises(InputError, match="another day"):
        opened(content, load_pack(), earlier=True, born="2026-11-20")


def test_what_cannot_be_read_is_an_error_that_says_where() -> None:
    with pytest.raises(InputError, match="temperature"):
        opened(visit({"temperature": 38.4}), load_pack())


@pytest.mark.parametrize("name", VISITS)
def test_an_example_written_as_fhir_and_opened_again_is_the_same_visit(name: str) -> None:
    pack = load_pack()
    first = answer((EXAMPLES / name).read_bytes(), pack)
    again = answer(dumps(as_fhir(first, pack)).encode(), pack)
    assert "0 kept but not understood, 0 not used, 0 refused" in str(again.account)
    if not (first.visit.get("history") or {}).keys() - {"findings"}:
        assert told(live(again.assessment, pack)) == told(live(first.assessment, pack))

    def counted(content: Any) -> Counter[tuple[str, str]]:
        page = opened(dumps(content).encode(), pack)
        return Counter((one["finding"], one["side"]) for one in [*page["records"], *page["earlier"]])

    plain = {
        part: first.visit[part]
        for part in ("born", "at", "until", "sex_at_birth", "findings", "history")
        if part in first.visit
    }
    assert counted(as_fhir(first, pack)) == counted(plain)


def test_who_filled_a_finding_goes_into_fhir_and_comes_back() -> None:
    pack = load_pack()
    found = answer(visit({"cornea.both": {"value": "clear", "charted_by": "eyes_examination"}}), pack)
    written = as_fhir(found, pack)
    tags = [one["resource"]["meta"]["tag"][0]["code"] for one in written["entry"] if "meta" in one["resource"]]
    assert tags == ["eyes_examination", "eyes_examination"]
    assert [one["what"]["by"] for one in opened(dumps(written).encode(), pack)["records"]] == ["eyes_examination"] * 2
    sent = [one["resource"] for one in found.to_fhir(pack)["entry"] if one["resource"]["resourceType"] == "Observation"]
    assert any(tag["code"] == "eyes_examination" for one in sent for tag in one.get("meta", {}).get("tag", ()))


def written(findings: dict[str, Any]) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Save findings as FHIR; return the Bundle and what the page holds when it opens it again."""
    pack = load_pack()
    bundle = as_fhir(answer(visit(findings), pack), pack)
    return bundle, opened(dumps(bundle).encode(), pack)["records"]


def test_the_family_s_own_words_go_into_fhir_as_theirs_and_come_back() -> None:
    asked = {"value": "asked", "text": "May we bathe her? \U0001f6c1", "reported": True}
    bundle, records = written({"family_questions": asked})
    (one,) = [entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == "Observation"]
    assert one["note"] == [{"authorString": FAMILYS_WORDS, "text": asked["text"]}]
    assert [tag["code"] for tag in one["meta"]["tag"]] == ["reported"]
    fields = records[0]["what"]["fields"]
    assert (fields["text"], fields["reported"]) == (asked["text"], True)
    sent = answer(visit({"family_questions": asked}), load_pack()).to_fhir(load_pack())
    notes = [entry["resource"].get("note", ()) for entry in sent["entry"]]
    assert sum(note.get("authorString") == FAMILYS_WORDS for several in notes for note in several) == 1


def test_a_note_of_anybody_else_is_not_the_family_s() -> None:
    bundle, _ = written({"family_questions": {"value": "asked", "reported": True}})
    for entry in bundle["entry"]:
        if entry["resource"]["resourceType"] == "Observation":
            entry["resource"]["note"] = [
                {"text": "looked tired"},
                {"authorString": "A nurse", "text": "was in a hurry"},
            ]
    (one,) = opened(dumps(bundle).encode(), load_pack())["records"]
    assert "text" not in one["what"]["fields"]


def test_two_questions_of_one_moment_stay_two() -> None:
    both = [{"value": "asked", "text": text, "reported": True} for text in ("May we bathe her?", "How often?")]
    _, records = written({"family_questions": both})
    assert sorted(one["what"]["fields"]["text"] for one in records) == ["How often?", "May we bathe her?"]


@pytest.mark.parametrize(
    "two",
    [
        {"serum_bilirubin": [("12.1", "08:00"), ("13.4", "09:30")]},
        {"serum_bilirubin": [("12.1", "08:00"), ("12.1", "09:30")]},
        {"serum_bilirubin": [("12.1", "08:00"), ("13.4", "")]},
        {"jaundice": [("legs", "09:00"), ("visible", "09:00")]},
        {"jaundice": [("none", "08:00"), ("legs", "")]},
    ],
)
def test_two_readings_of_today_are_both_kept_through_fhir(two: dict[str, list[tuple[str, str]]]) -> None:
    unit = {"serum_bilirubin": {"unit": "mg/dL"}}
    given = {
        name: [
            {"value": value} | unit.get(name, {}) | ({"time": f"{AT[:10]}T{time}:00-06:00"} if time else {})
            for value, time in readings
        ]
        for name, readings in two.items()
    }
    _, records = written(given)
    back = [(one["what"]["value"], one["what"]["fields"]["time"][11:16]) for one in records]
    assert sorted(back) == sorted((value, time or AT[11:16]) for ((_, both),) in [two.items()] for value, time in both)


@pytest.mark.parametrize(
    "wrong",
    [
        {"findings": {"weight": [{"value": "33", "unit": "kg"}]}},
        {"findings": {"heart_rate": {"value": "abc", "unit": "/min"}}},
        {"findings": {"temperature": {"value": "37", "unit": "Cel", "time": "2026-12-20T10:00:00-06:00"}}},
        {"born": None},
        {"at": None},
        {"born": "2026-01-02"},
    ],
)
def test_what_the_page_saved_with_something_wrong_in_it_opens_again(wrong: dict[str, Any]) -> None:
    content = {"born": BORN, "at": AT, "findings": {"cry": "weak"}} | wrong
    with pytest.raises(InputError):
        load_pack().read_visit(content)
    made = opened(json.dumps({name: part for name, part in content.items() if part}).encode(), load_pack())
    assert [one["finding"] for one in made["records"]] == [*content["findings"]]
    assert (made["born"], made["at"]) == (content["born"], content["at"])


@pytest.mark.parametrize("wrong", [{"findings": {"nonsense": 1}}, {"born": "yesterday"}, {"settings": {"no": "such"}}])
def test_what_the_page_has_no_field_for_is_not_opened(wrong: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        opened(json.dumps({"born": BORN, "at": AT, "findings": {}} | wrong).encode(), load_pack())


def test_an_earlier_visit_with_something_wrong_is_not_put_beside() -> None:
    with pytest.raises(InputError):
        opened(visit({"weight": {"value": "33", "unit": "kg"}}), load_pack(), earlier=True)


@pytest.mark.parametrize(
    ("born", "at", "clock"),
    [
        (BORN, AT, "-06:00"),
        ("2026-11-24T08:30:00+09:00", "2026-11-28T10:00:00+09:00", "+09:00"),
        (BORN, "2026-11-28T16:00:00Z", "-06:00"),
    ],
)
def test_the_clock_of_a_file_is_that_of_its_answer(born: str, at: str, clock: str) -> None:
    made = opened(json.dumps({"born": born, "at": at, "findings": {}}).encode(), load_pack())
    assert made["clock"].endswith(clock)


def test_a_baby_born_at_another_hour_of_the_day_is_another_baby() -> None:
    content = visit({"weight": {"value": 3.0, "unit": "kg"}})
    near, far = "2026-11-24T08:40:00-06:00", "2026-11-24T22:30:00-06:00"
    assert opened(content, load_pack(), earlier=True, born=near)["earlier"]
    assert opened(content, load_pack(), earlier=True, born="2026-11-24")["earlier"]
    with pytest.raises(InputError, match="another hour"):
        opened(content, load_pack(), earlier=True, born=far)


@pytest.mark.parametrize(
    ("status", "end", "until"),
    [
        ("finished", "2026-11-28T11:30:00-06:00", "2026-11-28T11:30:00-06:00"),
        ("in-progress", None, None),
        ("in-progress", "2026-11-28", None),
    ],
)
def test_the_stated_end_of_a_visit_is_kept_though_nothing_was_found_so_late(
    status: str, end: str | None, until: str | None
) -> None:
    pack = load_pack()
    bundle = as_fhir(answer(visit({"cry": "weak"}), pack, readers=["native"]), pack)
    [encounter] = [
        one["resource"] for one in bundle["entry"] if one["resource"]["resourceType"] == "Encounter"
    ]  # fmt: skip
    encounter["status"] = status
    encounter["period"] |= {"end": end} if end else {}
    made = opened(dumps(bundle).encode(), pack)
    assert made["rest"].get("until") == until
    page = visit({"cry": "weak"}, **({"until": made["rest"]["until"]} if until else {}))
    again = as_fhir(answer(page, pack, readers=["native"]), pack)
    periods = [one["resource"]["period"] for one in again["entry"] if one["resource"]["resourceType"] == "Encounter"]
    assert [one.get("end") for one in periods] == [until]
