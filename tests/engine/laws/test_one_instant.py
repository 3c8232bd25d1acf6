"""One instant has many spellings and one answer; what is reported twice has no order."""

from __future__ import annotations

import json
from copy import deepcopy
from datetime import datetime, timedelta, timezone
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from support.shipped_examples import source

from layette.engine import load_pack
from layette.mapping.read import read

SUMMER = timezone(timedelta(hours=-6))
ZONES = [timezone(timedelta(minutes=minutes)) for minutes in (0, 120, -360, 330, 840)]
SAMPLE = "jaundiced-sleepy-day-4"


@cache
def sample() -> dict[str, Any]:
    return dict(read(source(SAMPLE), load_pack()).require().visit)


def answer(visit: dict[str, Any]) -> str:
    return str(load_pack().assess(visit, readers=["native"]).to_json())


def respelt(value: Any, zone: timezone) -> Any:
    if isinstance(value, dict):
        return {key: respelt(one, zone) for key, one in value.items()}
    if isinstance(value, list):
        return [respelt(one, zone) for one in value]
    if isinstance(value, str) and value[10:11] == "T":
        return datetime.fromisoformat(value).astimezone(zone).isoformat()
    return value


@pytest.mark.parametrize("zone", ZONES, ids=str)
@pytest.mark.parametrize("part", ["findings", "history", "born", "until"])
def test_a_time_in_another_spelling_is_the_same_answer(part: str, zone: timezone) -> None:
    changed = {**sample(), part: respelt(sample()[part], zone)}
    assert changed != sample()
    assert answer(changed) == answer(sample())


def test_a_visit_that_is_all_in_utc_is_the_same_answer_however_utc_is_written() -> None:
    there = respelt(sample(), ZONES[0])
    letters = json.loads(json.dumps(there, default=str).replace("+00:00", "Z").replace(":00Z", ":00.000Z"))
    assert answer(letters) == answer(there)


@pytest.mark.parametrize("zone", ZONES, ids=str)
def test_the_moment_of_a_visit_in_another_spelling_is_the_same_answer(zone: timezone) -> None:
    assert answer({**sample(), "at": respelt(sample()["at"], zone)}) == answer(sample())


@pytest.mark.parametrize("zone", [zone for zone in ZONES if zone != SUMMER], ids=str)
def test_so_it_is_where_nothing_but_the_birth_has_an_offset(zone: timezone) -> None:
    bare = {key: value for key, value in sample().items() if key not in ("until", "history")}
    bare["findings"] = {"weight": [{"value": 3100, "unit": "g"}], "red_reflex": [{"side": "left", "value": "white"}]}
    assert answer({**bare, "at": respelt(bare["at"], zone)}) == answer(bare)


def test_a_visit_goes_by_its_own_clock_where_clocks_were_changed_or_the_family_came_from_far() -> None:
    bare = {key: value for key, value in sample().items() if key not in ("until", "findings", "history")}
    assert json.loads(answer(bare | {"at": respelt(bare["at"], SUMMER), "findings": {}}))["at"].endswith("-06:00")
    far = respelt({key: sample()[key] for key in ("at", "until", "findings")}, ZONES[3])
    assert json.loads(answer(bare | far))["at"].endswith("+05:30")


@pytest.mark.parametrize("zone", ZONES, ids=str)
def test_with_a_zone_of_the_site_no_spelling_matters(zone: timezone, tmp_path: Path) -> None:
    (tmp_path / "site.yaml").write_text("site: A clinic\ntimezone: America/Chicago\n", encoding="utf-8")
    pack = load_pack(site=tmp_path / "site.yaml")
    first = pack.assess(sample(), readers=["native"]).to_json()
    assert pack.assess(respelt(sample(), zone), readers=["native"]).to_json() == first


@pytest.mark.parametrize("finding", ["weight", "temperature", "serum_bilirubin"])
@pytest.mark.parametrize("twin", [{"reported": True}, {"origin": "Observation/other"}, {}])
def test_twins_of_one_instant_have_no_order(finding: str, twin: dict[str, Any]) -> None:
    one = sample()["findings"][finding][0]
    other = {**one, "time": respelt(one["time"], ZONES[1]), **twin}
    there, back = (deepcopy(sample()), deepcopy(sample()))
    there["findings"][finding], back["findings"][finding] = [one, other], [other, one]
    assert answer(there) == answer(back)
