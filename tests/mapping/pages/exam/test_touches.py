"""How many touches a visit takes: a digit is one, so is each field, mark, value and step."""

from __future__ import annotations

import json
from typing import Any

import pytest
from support.exam_desk import Desk
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.mapping.pages.exam.model import model
from layette.mapping.pages.exam.opened import opened

pytestmark = [pytest.mark.browser, pytest.mark.slow]

MOST_COMPLETE, MOST_QUICK, MOST_SICK = 120, 70, 60
QUICK = ("general", "vital-signs", "growth", "skin", "head", "eyes", "mouth", "neck", "chest-heart", "belly-cord",
         "diaper-area", "hips-limbs", "neuro")  # fmt: skip
TYPED = {
    "temperature": "36.8",
    "heart_rate": "132",
    "breathing_rate": "44",
    "weight": "3.2",
    "head_circumference": "34.5",
}


def brought(one: dict[str, Any]) -> bool:
    """Whether a recording comes with the record, the laboratory or the family's form, and is not examined."""
    shape = load_pack().findings[one["finding"]]
    return shape.awaited or shape.ask in ("record", "family")


def with_record(desk: Desk, name: str) -> None:
    """Open what the record and the family said of an example before the visit; nothing of the examination."""
    page = opened((EXAMPLES / name).read_bytes(), load_pack())
    kept = [one for one in page["records"] if brought(one)]
    desk.page.evaluate(
        "(opened) => import('/assets/kept.js').then((kept) => kept.take(opened))",
        json.loads(json.dumps(page | {"records": kept})),
    )
    desk.settled()


def steps(desk: Desk) -> list[str]:
    """Return the steps of the page that is open."""
    return list(desk.page.locator(".joint").evaluate_all("all => all.map(e => e.dataset.step)"))


MODULES = "[import('/assets/kept.js'), import('/assets/comes.js')]"


def left_in(desk: Desk, step: str) -> bool:
    """Whether a step has something to look at that the record and the family did not bring."""
    script = """([names, typed]) => Promise.all(MODULES).then(([kept, comes]) => names.some((one) => comes.comesUp(one)
        && !kept.recorded(one).length && (kept.findings.get(one).expected || typed.includes(one))))"""
    return bool(desk.page.evaluate(script.replace("MODULES", MODULES), [findings_of(desk, step), list(TYPED)]))


def everything_expected(desk: Desk, quick: bool = False) -> None:
    """Fill one step: each system by its button, each other finding that is shown by its mark, numbers by digits."""
    whole = desk.page.locator("[data-system=whole-step]:visible")
    systems = whole if whole.count() else desk.page.locator("[data-system]:visible")
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


def test_a_complete_normal_examination(desk: Desk) -> None:
    with_record(desk, "healthy-day-4.json")
    desk.touches = 0
    for step in steps(desk):
        if left_in(desk, step):
            desk.touch(f"[data-step={step}]")
            everything_expected(desk)
    recorded = desk.visit()["findings"]
    print(f"complete: {desk.touches} touches, {len(recorded)} findings, {len(steps(desk))} steps")
    assert desk.touches <= MOST_COMPLETE
    marked = [one for area in model(load_pack())["areas"] for one in area["findings"] if "expected" in one]
    hers = [one for one in marked if one.get("applies") in (None, {"sex_at_birth": "female"})]
    done = {name.partition(".")[0] for name in recorded}
    assert [one["name"] for one in hers if one["ask"] == "first" and one["name"] not in done] == []


def test_a_quick_visit_in_which_each_system_is_charted_as_a_whole(desk: Desk) -> None:
    with_record(desk, "healthy-day-4.json")
    desk.touches = 0
    for step in QUICK:
        desk.touch(f"[data-step={step}]")
        everything_expected(desk, quick=True)
    print(f"quick: {desk.touches} touches, {len(desk.visit()['findings'])} findings, {len(QUICK)} steps")
    assert desk.touches <= MOST_QUICK


def test_the_sick_example(desk: Desk) -> None:
    name = "jaundiced-sleepy-day-4.json"
    page = opened((EXAMPLES / name).read_bytes(), load_pack())
    with_record(desk, name)
    desk.touches = 0
    pack = load_pack()
    seen = [one for one in page["records"] if not brought(one)]
    latest = {(one["finding"], one["side"]): one for one in seen}
    for step in steps(desk):
        mine = [one for (name, _), one in latest.items() if name in findings_of(desk, step)]
        if not mine:
            continue
        desk.touch(f"[data-step={step}]")
        for one in sorted(mine, key=lambda one: pack.findings[one["finding"]].expected == one["what"].get("value")):
            use_systems(desk, mine)
            enter(desk, one)
    print(f"sick: {desk.touches} touches for {len(latest)} recordings")
    assert desk.touches <= MOST_SICK


def findings_of(desk: Desk, step: str) -> list[str]:
    """Return the findings of a step."""
    found = "m.model.orders[0].steps.find((step) => step.name === name).findings"
    script = f"(name) => import('/assets/words.js').then((m) => {found})"
    return list(desk.page.evaluate(script, step))


def use_systems(desk: Desk, mine: list[dict[str, Any]]) -> None:
    """Touch the button of a system where all that it would fill was found so."""
    values = {one["finding"]: one["what"].get("value") for one in mine}
    for name, shape in load_pack().normals.items():
        if not desk.page.locator(f"[data-system={name}]:visible").count():
            continue
        script = f"([system, names]) => Promise.all({MODULES}).then(([kept, comes]) => names.filter("
        script += "(one) => comes.comesUp(one) && !kept.recorded(one).length"
        script += " && !['seen'].includes(kept.findings.get(one).ask)))"
        would = desk.page.evaluate(script, [name, list(shape.spreads)])
        if len(would) > 1 and all(values.get(one) == shape.spreads[one] for one in would):
            desk.touch(f"[data-system={name}]")


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
