"""The page's model: all of the pack, nothing beside it; and the answer as the page shows it."""

from __future__ import annotations

import json
import re
from functools import cache
from importlib.resources import files
from itertools import chain
from typing import Any

import pytest
from support.small_pack import FOLDER, small

from layette.engine import Pack, load_pack
from layette.mapping.answering import answer
from layette.mapping.pages.exam import ASSETS, page
from layette.mapping.pages.exam.conditions import shown_when
from layette.mapping.pages.exam.live import live
from layette.mapping.pages.exam.model import model
from layette.mapping.pages.exam.privacy import room

HERE = files("layette.mapping.pages.exam")
TEXTS: dict[str, dict[str, str]] = json.loads((HERE / "texts.json").read_text(encoding="utf-8"))


@cache
def made() -> dict[str, Any]:
    """The model of the shipped pack."""
    return model(load_pack())


def all_findings() -> list[dict[str, Any]]:
    """Every finding of the model."""
    return [finding for area in made()["areas"] for finding in area["findings"]]


def test_every_finding_of_the_pack_is_on_the_page_and_in_one_step_of_each_order() -> None:
    assert [one["name"] for one in all_findings()] == list(load_pack().findings)
    for order in made()["orders"]:
        placed = list(chain.from_iterable(step["findings"] for step in order["steps"]))
        assert sorted(placed) == sorted(load_pack().findings), order["name"]


def test_what_is_asked_alone_stands_in_the_room_and_nowhere_else() -> None:
    for order in made()["orders"]:
        rooms = [step for step in order["steps"] if step.get("private")]
        assert [set(step["findings"]) for step in rooms] == [room(load_pack()).findings]


def test_quiet_first_listens_early_and_wakes_the_baby_last() -> None:
    steps = {order["name"]: order["steps"] for order in made()["orders"]}["quiet_first"]
    place = {finding: k for k, step in enumerate(steps) for finding in step["findings"]}
    early = ("breath_sounds", "murmur", "breathing_rate", "anterior_fontanelle", "femoral_pulse")
    late = ("palate", "barlow", "ortolani", "moro")
    hands_on = ("cornea", "conjunctiva", "neck_mass", "belly", "testis", "spine", "red_reflex")
    assert max(place[name] for name in early) < min(place[name] for name in hands_on)
    assert max(place[name] for name in hands_on) < min(place[name] for name in late)


def test_no_button_of_a_system_fills_what_takes_a_hand() -> None:
    hand = {one["name"] for one in all_findings() if one.get("hand")}
    for area in made()["areas"]:
        for name, normal in area["normal"].items():
            assert not hand & normal["fills"].keys(), name


def test_a_fact_of_which_every_value_is_expected_has_no_mark() -> None:
    for one in all_findings():
        values = one.get("values", ())
        if values and all(value.get("expected") for value in values if not value.get("coarse")):
            assert "expected" not in one, one["name"]


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_text_and_every_label_is_to_be_had_in_both_languages(language: str) -> None:
    assert [key for key, words in TEXTS.items() if not words.get(language)] == []
    labels = [one["label"] for one in all_findings()]
    labels += [value["label"] for one in all_findings() for value in one.get("values", ())]
    labels += [step[key] for order in made()["orders"] for step in order["steps"] for key in ("label", "step")]
    labels += [normal["label"] for area in made()["areas"] for normal in area["normal"].values()]
    assert [label for label in labels if language not in label] == []


def test_the_scripts_ask_for_no_text_that_is_not_there() -> None:
    scripts = "\n".join((HERE / name).read_text(encoding="utf-8") for name in ASSETS if name.endswith(".js"))
    asked = set(re.findall(r'\b(?:t|count)\("([^"]+)"', scripts))
    assert len(asked) > 60
    assert asked - TEXTS.keys() == set()


def test_the_page_holds_no_script_of_its_own_and_names_only_its_assets() -> None:
    html = page(load_pack())
    assert re.findall(r"<script(?![^>]*(?:src=|application/json))", html) == []
    assert {*re.findall(r'"/assets/([^"]+)"', html)} <= {*ASSETS}
    assert all((HERE / name).is_file() for name in ASSETS)
    data = html.partition('type="application/json" id="made">')[2].partition("</script>")[0]
    assert "<" not in data
    assert json.loads(data)["model"]["digest"] == load_pack().digest[:8]


def test_no_asset_asks_for_anything_from_elsewhere_or_keeps_anything() -> None:
    for name in ASSETS:
        text = (HERE / name).read_text(encoding="utf-8")
        assert re.findall(r"https?://(?!www\.w3\.org/2000/svg)", text) == [], name
        assert re.findall(r"localStorage|sessionStorage|indexedDB|document\.cookie|caches\.", text) == [], name


def test_another_pack_gives_another_page() -> None:
    other = model(small())
    assert [one["name"] for one in other["areas"][0]["findings"]][:2] == ["red_reflex", "temperature"]
    assert other["orders"][0]["steps"][0]["name"] == "exam"
    assert "private" not in json.dumps(other)
    assert page(small()) != page(load_pack())
    assert FOLDER.is_dir()


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ({"murmur": "heard"}, True),
        ({"any": [{"a.either": ["x", "y"]}, {"b": {"at_least": 3}}]}, True),
        ({"a": {"recorded": True}}, True),
        ({"a.highest": {"at_least": 3, "over": "24 h"}}, False),
        ({"none": {"a.since_earlier": {"at_least": "3 d"}}}, False),
    ],
)
def test_a_condition_that_the_page_cannot_read_hides_nothing(written: dict[str, Any], read: bool) -> None:
    assert shown_when(written) == (written if read else None)


def shown(findings: dict[str, Any], pack: Pack | None = None) -> dict[str, Any]:
    """The short answer of a visit."""
    visit = {"born": "2026-11-24T08:30:00-06:00", "at": "2026-11-28T10:00:00-06:00", "findings": findings}
    pack = pack or load_pack()
    return live(answer(json.dumps(visit).encode(), pack).assessment, pack)


def test_the_short_answer_has_reason_rule_and_source_of_each_line() -> None:
    lines = [one for group in shown({"red_reflex.left": "white"})["groups"] for one in group["items"]]
    assert any("Ophthalmologist, left" in one["label"] and one["priority"] == "stat" for one in lines)
    assert [one for one in lines if not (one["why"] and one["rule"] and one["sources"])] == []


def test_what_is_open_names_its_sides_and_what_could_be_an_emergency() -> None:
    opened = shown({"red_reflex.left": "present"})["open"]
    assert opened["red_reflex"] == {"sides": ["right"], "emergency": True}


def test_every_line_that_rests_on_what_was_asked_alone_is_marked() -> None:
    told = shown({"harm_thoughts_infant": "present", "violence_at_home": "danger_now", "red_reflex.left": "white"})
    lines = [one for group in told["groups"] for one in group["items"]] + told["judge"] + told["chase"]
    marked = {one["label"] for one in lines if one.get("private")}
    plain = {one["label"] for one in lines if not one.get("private")}
    assert len(marked) >= 2
    assert any("Ophthalmologist" in label for label in plain)
    word = re.compile("harm|mood|violence|mental|depress|psycho", re.IGNORECASE)
    outside = [one for one in lines if not one.get("private")]
    assert [one for one in outside if word.search(json.dumps(one))] == []
    assert [visit for visit in told["visits"] if word.search(json.dumps(visit))] == []


def test_what_came_along_and_was_not_understood_is_counted() -> None:
    kept = [{"text": "hot", "finding": "temperature"}, {"text": "odd", "here": True}, {"text": "of another visit"}]
    visit = {"born": "2026-11-24T08:30:00-06:00", "at": "2026-11-28T10:00:00-06:00", "not_understood": kept}
    told = live(answer(json.dumps(visit).encode(), load_pack()).assessment, load_pack())
    assert told["verdict"]["unread"] == 2
