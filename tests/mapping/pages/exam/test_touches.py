"""How many touches a visit takes: a digit is one, so is each field, mark, value and step."""

from __future__ import annotations

import json
from typing import Any

import pytest
from support.exam_desk import Desk
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.mapping.pages.exam.opened import opened

pytestmark = [pytest.mark.xdist_group("browser"), pytest.mark.slow]

MOST_COMPLETE, MOST_QUICK, MOST_SICK = 120, 70, 60
BORN, AT = "2026-11-24T08:30", "2026-11-28T10:00"
RECORD = ("birth", "mother", "exposures", "exposed-baby")
"""What is read from the record before the visit, and comes with it as a file."""
TYPED = {
    "temperature": "36.8",
    "heart_rate": "132",
    "breathing_rate": "44",
    "weight": "3.2",
    "head_circumference": "34.5",
}


def with_record(desk: Desk, tmp_path: Any, name: str, families: bool) -> None:
    """Open what the record and the family said of an example before the visit; nothing of the examination."""
    pack, page = load_pack(), opened((EXAMPLES / name).read_bytes(), load_pack())
    asks = {"record", "family"} if families else {"record"}
    kept = [one for one in page["records"] if str(pack.findings[one["finding"]].ask) in asks]
    desk.page.evaluate(
        "(opened) => import('/assets/kept.js').then((kept) => kept.take(opened))",
        json.loads(json.dumps(page | {"records": kept})),
    )
    desk.settled()


def steps(desk: Desk) -> list[str]:
    """Return the steps of the page that is open."""
    return list(desk.page.locator(".joint").evaluate_all("all => all.map(e => e.dataset.step)"))


def on(desk: Desk) -> bool:
    """Go on to the next step by one touch; whether there is one."""
    more = desk.page.locator(".foot .next")
    if not more.count():
        return False
    desk.touch(".foot .next")
    return True


def everything_expected(desk: Desk, quick: bool = False) -> None:
    """Fill one step: each system by its button, each other finding that is shown by its mark, numbers by digits."""
    systems = desk.page.locator("[data-system]:visible")
    for k in range(systems.count()):
        desk.touches += 1
        systems.nth(k).click()
    marks = desk.page.locator(".finding[data-state=none]:visible button.mark-place")
    if not quick:
        while marks.count():
            desk.touches += 1
            marks.first.click()
    for name in desk.page.locator("[data-number]:visible").evaluate_all("all => all.map(e => e.dataset.number)"):
        if name in TYPED:
            desk.digits(f"[data-number={name}]", TYPED[name])


def test_a_complete_normal_examination(desk: Desk, tmp_path: Any) -> None:
    with_record(desk, tmp_path, "healthy-day-4.json", families=True)
    desk.touches = 0
    while True:
        everything_expected(desk)
        if not on(desk):
            break
    recorded = desk.visit()["findings"]
    print(f"complete: {desk.touches} touches, {len(recorded)} findings, {len(steps(desk))} steps")
    assert desk.touches <= MOST_COMPLETE
    pack = load_pack()
    first = [
        name for name, shape in pack.findings.items() if shape.ask == "first" and not shape.number and shape.expected
    ]
    done = {name.partition(".")[0] for name in recorded}
    female = [name for name in first if pack.findings[name].applies_when in (None, {"sex_at_birth": "female"})]
    assert [name for name in female if name not in done] == []


def test_the_sick_example(desk: Desk, tmp_path: Any) -> None:
    name = "jaundiced-sleepy-day-4.json"
    page = opened((EXAMPLES / name).read_bytes(), load_pack())
    with_record(desk, tmp_path, name, families=True)
    desk.touches = 0
    pack = load_pack()
    seen = [one for one in page["records"] if str(pack.findings[one["finding"]].ask) not in ("record", "family")]
    latest = {(one["finding"], one["side"]): one for one in seen}
    for step in steps(desk):
        mine = [one for (name, _), one in latest.items() if name in findings_of(desk, step)]
        if not mine:
            continue
        desk.touch(f"[data-step={step}]")
        for one in mine:
            enter(desk, one)
    print(f"sick: {desk.touches} touches for {len(latest)} recordings")
    assert desk.touches <= MOST_SICK


def findings_of(desk: Desk, step: str) -> list[str]:
    """Return the findings of a step."""
    found = "m.model.orders[0].steps.find((step) => step.name === name).findings"
    script = f"(name) => import('/assets/words.js').then((m) => {found})"
    return list(desk.page.evaluate(script, step))


def enter(desk: Desk, one: dict[str, Any]) -> None:
    """Record one finding in as few touches as the page allows."""
    name, side, what = one["finding"], one["side"], one["what"]
    row = desk.page.locator(f"#f-{name}")
    script = "(name) => import('/assets/kept.js').then((m) => m.recorded(name).map((one) => [one.side, one.value]))"
    if [side, what.get("value")] in desk.page.evaluate(script, name):
        return
    if not row.is_visible() and not desk.page.locator(f"[data-seen={name}]:visible").count():
        desk.touch("#more")
    if desk.page.locator(f"[data-seen={name}]:visible").count():
        desk.touch(f"[data-seen={name}]")
    elif row.locator("[data-number]").count():
        desk.digits(f"[data-number={name}]", what["value"])
        desk.press("Enter")
    elif load_pack().findings[name].expected == what.get("value") and row.locator("button.mark-place").count():
        desk.touch(f"#f-{name} button.mark-place")
    else:
        if row.locator(".body").is_hidden():
            desk.touch(f"#f-{name} .name")
        key = (
            f"[data-absent={what['absent']}]"
            if "absent" in what
            else f"[data-side='{side}'][data-value={what['value']}]"
        )
        desk.touch(f"#f-{name} {key}")
