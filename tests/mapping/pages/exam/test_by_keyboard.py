"""Visits, filled in by keyboard alone, give the answer that `layette assess` gives of the same visit."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from support.exam_desk import Desk, told
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.mapping.answering import Answer, answer
from layette.mapping.fhir.json import dumps
from layette.mapping.pages.exam.live import live
from layette.mapping.pages.exam.opened import opened

VISITS = sorted(path.name for path in EXAMPLES.glob("*.json"))
Record = Mapping[str, Any]


def expected(name: str) -> tuple[Answer, dict[str, Any]]:
    """Return the answer of an example, and what the page makes of its file."""
    content = (EXAMPLES / name).read_bytes()
    return answer(content, load_pack()), opened(content, load_pack())


def earlier_file(found: Answer, folder: Path) -> Path:
    """Write what earlier visits left behind as a file of its own: that is not typed, but put beside."""
    visit = {"born": found.visit["born"], "at": found.visit["at"], "findings": {}}
    visit |= {name: found.visit[name] for name in ("sex_at_birth", "history") if name in found.visit}
    path = folder / "earlier.json"
    path.write_text(dumps(visit), encoding="utf-8")
    return path


def by_step(records: list[Record]) -> Iterator[tuple[str, list[Record]]]:
    """Yield the records by the step in which they are recorded, in the order of the examination."""
    pack = load_pack()
    for area in pack.areas:
        here = [name for name, shape in area.findings.items() if not shape.private]
        mine = [one for name in here for one in records if one["finding"] == name]
        if mine:
            yield area.area, mine
    alone = [one for one in records if pack.findings[one["finding"]].private]
    if alone:
        yield "alone", alone


def enter(desk: Desk, one: Record, at: str, timed: bool) -> None:
    """Record one finding by keyboard: its value, and what else was said of it."""
    what, name, side = one["what"], one["finding"], one["side"]
    if "absent" in what:
        desk.choose(name, side, what["absent"], absent=True)
    elif "parts" in what:
        for part, value in what["parts"].items():
            desk.number(name, value, what.get("unit", "%"), part=part)
    elif load_pack().findings[name].number:
        desk.number(name, what["value"], what["unit"], side)
    else:
        desk.choose(name, side, what["value"])
    fields = what["fields"]
    before = fields["time"] if "absent" not in what and (timed or fields["time"] < at) else ""
    read = {key: fields[key] for key in load_pack().findings[name].qualifier if key in fields}
    if before or fields.get("reported") or read:
        desk.more(name, before, bool(fields.get("reported")), **read)


def values(records: list[Record]) -> list[tuple[str, str, str]]:
    """Return what was recorded where, in an order of its own."""
    return sorted(
        (
            one["finding"],
            one["side"],
            str(one["what"].get("value") or one["what"].get("absent") or one["what"]["parts"]),
        )
        for one in records
    )


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.parametrize("name", VISITS)
def test_an_example_filled_in_by_keyboard_gives_the_same_answer(desk: Desk, name: str, tmp_path: Path) -> None:
    found, page = expected(name)
    desk.page.locator("input[data-file=earlier]").set_input_files(earlier_file(found, tmp_path))
    desk.page.wait_for_function("() => document.getElementById('said').textContent !== ''")
    at = str(page["at"])
    desk.head(str(page["born"]), at, str(page["sex"]))
    for step, records in by_step(page["records"]):
        desk.step(step)
        if not all(desk.page.locator(f"#f-{one['finding']}").is_visible() for one in records):
            desk.everything()
        for k, one in enumerate(records):
            same = {"finding": one["finding"], "side": one["side"]}.items()
            enter(desk, one, at, sum(same <= other.items() for other in records) > 1)
            if any(same <= later.items() for later in records[k + 1 :]):
                desk.another(one["finding"])
    assert desk.visit()["sex_at_birth"] == page["sex"]
    typed = opened(json.dumps(desk.visit()).encode(), load_pack())
    assert values(typed["records"]) == values(page["records"])
    assert told(desk.settled()) == told(live(found.assessment, load_pack()))
    sent = json.dumps(desk.sent[-1]["findings"])
    assert "charted_by" not in sent


def test_the_helper_sees_every_recording_of_an_example() -> None:
    records = expected("half-examined-day-5.json")[1]["records"]
    assert sum(len(mine) for _, mine in by_step(records)) == len(records)
