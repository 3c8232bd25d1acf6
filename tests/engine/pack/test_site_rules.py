"""What a site changes in the rules: off, due earlier, or judged and not acted on; and what it may not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from support.small_pack import FOLDER, copied, rule, statuses, visit

from layette.engine import Assessment, InputError, Pack, PackError, load_pack
from layette.engine.pack.written.rule_shapes import WindowShape

SIGNED = 'reason: Clinic on Mondays, by: Lead, on: "2026-03-01"'


def site(place: Path, text: str, pack: Path = FOLDER) -> Pack:
    place.mkdir(parents=True, exist_ok=True)
    (place / "site.yaml").write_text("site: Here\n" + text.replace("SIGNED", SIGNED), encoding="utf-8")
    return load_pack(pack, place / "site.yaml")


def tight(change: str) -> str:
    return f"windows: [{{rule: exam.{change}, SIGNED}}]\n"


def off(*rules: str) -> str:
    return f"rules_off: [{', '.join(f'{{rule: exam.{name}, SIGNED}}' for name in rules)}]\n"


@pytest.mark.parametrize(
    ("text", "code", "key", "says"),
    [
        (tight("barlow-first, within: 21 d"), "site", "within", "may only shorten a window: the pack says 14 d"),
        (tight("fever, within: 2 h"), "site", "within", "may only shorten a window: the pack says 1 h"),
        (tight("danger, within: 2 h"), "site", "rule", "asks nobody to do something by a time"),
        (tight("fever"), "shape", "", "give 'within' (from the visit) or 'until'"),
        (tight("fever, within: 5 min, until: 5 min"), "shape", "", "one of the two"),
        (tight("bloodspot, within: 30 h"), "site", "within", "it counts from 'birth' until 48 h; write 'until'"),
        (tight("bloodspot, until: 20 h"), "site", "until", "begins after 24 h, and would end (20 h) before it begins"),
        (tight("fever, target: orthopedics, within: 5 min"), "site", "target", "it asks for emergency_evaluation"),
        (tight("loss-7, within: 10 h"), "site", "within", "begins after 12 h"),
        (tight("loss-7, within: 24 h"), "priority-window", "within", "weight_recheck: 'routine' never ends"),
        (tight("fewer, within: 7 d"), "unknown-rule", "rule", "no rule 'exam.fewer'; did you mean 'exam.fever'"),
        (off("fewer"), "unknown-rule", "rule", "no rule 'exam.fewer'; did you mean 'exam.fever'"),
        (off("danger"), "site", "rule", "whether there is 'danger_sign', which 'exam.danger-evaluation' ask for"),
    ],
)
def test_what_a_site_may_not_change_is_told_in_its_own_file(
    text: str, code: str, key: str, says: str, tmp_path: Path
) -> None:
    with pytest.raises(PackError) as caught:
        site(tmp_path, text)
    [problem] = caught.value.problems
    part = text.partition(":")[0]
    assert (problem.file, problem.code, problem.key) == (
        f"site file {tmp_path / 'site.yaml'}",
        code,
        f"$.{part}[0]{f'.{key}' if key else ''}",
    )
    assert says in problem.message


@pytest.mark.parametrize(
    ("change", "findings", "target", "until"),
    [
        (
            "fever, within: 30 min",
            {"temperature": {"value": 39, "unit": "Cel"}},
            "emergency_evaluation",
            "24T10:30",
        ),
        ("oxygen-differs, within: 4 h", {}, "oxygen_evaluation", "24T14:00"),
        ("loss-7, within: 36 h", {}, "weight_recheck", "25T22:00"),
        ("loss-7, until: 36 h", {}, "weight_recheck", "25T22:00"),
    ],
)
def test_a_rule_without_within_can_be_due_earlier(
    change: str, findings: dict[str, Any], target: str, until: str, tmp_path: Path
) -> None:
    """By the span of its priority, or by the end of a window that is written in full."""
    lost = {"weight": {"value": 2.79, "unit": "kg"}, "birth_weight": {"value": 3, "unit": "kg"}}
    pulses = [{"value": 99, "part": "hand"}, {"value": 94, "part": "foot"}]
    seen = {**lost, "pulse_oximetry": [{**one, "unit": "%"} for one in pulses], **findings}
    text = tight(change)
    made = site(tmp_path, text).assess(visit(seen), readers=["native"]).recommendations
    assert {r.window.until[8:16] for r in made if r.target == target} == {until}


def test_a_window_that_counts_from_birth_keeps_its_anchor(tmp_path: Path) -> None:
    pack = site(tmp_path, tight("bloodspot, until: 36 h"))
    window = pack.rules["exam.bloodspot"].shape.window
    assert isinstance(window, WindowShape)
    assert (window.after, window.start, window.until) == ("birth", "24 h", "36 h")
    said = "rule exam.bloodspot is due until 36 h, counted as the rule counts, at this site"
    assert any(notice.startswith(said) for notice in pack.site.notices())


def test_of_several_consequences_the_one_that_is_named_is_due_earlier(tmp_path: Path) -> None:
    for k, (target, ends) in enumerate((("", ["6 h", "6 h"]), ("target: weight_recheck, ", [None, "6 h"]))):
        text = tight(f"loss-10, {target}within: 6 h")
        shape = site(tmp_path / str(k), text).rules["exam.loss-10"].shape
        assert [then.within for then in shape.then] == ends


def test_a_rule_that_is_off_needs_no_replacing(tmp_path: Path) -> None:
    pack = site(tmp_path, off("barlow-first"))
    assert pack.rules["exam.barlow-again"].shape.instead_of == []


def test_a_rule_that_others_need_goes_with_them(tmp_path: Path) -> None:
    pack = site(tmp_path, off("danger", "danger-evaluation"))
    assert not pack.rules.keys() & {"exam.danger", "exam.danger-evaluation"}


# What rests on memory

MEMORY = "from-memory-only: {kind: from-memory, text: Remembered.}\n"
JUDGED = "from_memory_to_judge: {SIGNED}\n"
LOST: dict[str, Any] = {"weight": {"value": 2.67, "unit": "kg"}, "birth_weight": {"value": 3, "unit": "kg"}}
SLEEPY = {"alertness": {"value": "sleepy", "time": "2026-11-24T09:00:00-06:00"}}
LIGHT = {**LOST, "weight": {**LOST["weight"], "time": "2026-11-24T09:00:00-06:00"}}
RULES = """
- id: exam.remembered
  when: {alertness: sleepy}
  then: [{refer: ophthalmology, priority: stat}, {reassure: calm}]
  because: Sleepy babies may not see.
  source: [invented, from-memory-only]
- id: exam.loss-remembered
  when: {weight_loss: {at_least: 11}}
  then: [{refer: orthopedics, priority: urgent, source: from-memory-only}, {refer: oxygen_evaluation, priority: asap}]
- id: exam.barlow-remembered
  each: side
  when: {barlow: positive}
  then: [{refer: orthopedics, priority: asap}]
  instead_of: [exam.barlow-first]
  source: from-memory-only
- id: exam.wanted
  due: bloodspot
  window: {after: birth, from: 24 h, until: 72 h}
  then: [{order: feeding_assessment, priority: urgent}]
  source: from-memory-only
"""


def pack(place: Path, text: str = JUDGED, rules: str = RULES) -> Pack:
    added = [rule(f"- id: {one}") for one in rules.strip().removeprefix("- id: ").split("\n- id: ")]
    calm = ("targets/all.yaml", "", "calm: {kind: reassure, label: All is well}\n")
    return site(place, text, copied(place, ("sources.yaml", "", MEMORY), calm, *added))


def judged(found: Assessment) -> dict[str, tuple[str, tuple[str, ...]]]:
    return {one.target: (one.priority, one.rules) for one in found.to_judge}


def asked(found: Assessment) -> set[str]:
    return {one.target for one in found.recommendations}


def test_what_rests_on_memory_is_to_be_judged_and_not_proposed(tmp_path: Path) -> None:
    sleepy = visit({"alertness": "sleepy"})
    there = pack(tmp_path / "there").assess(sleepy)
    assert judged(there) == {"ophthalmology": ("stat", ("exam.remembered",))}
    assert "ophthalmology" not in asked(there)
    assert {r.target for r in there.reassurance} == {"calm"}
    assert statuses(there)["exam.remembered"] == "fired"
    notice = "what rules from memory ask for is to be judged at this site: Clinic on Mondays (Lead, 2026-03-01)"
    assert notice in there.notices
    elsewhere = pack(tmp_path / "elsewhere", "").assess(sleepy)
    assert (judged(elsewhere), "ophthalmology" in asked(elsewhere)) == ({}, True)


def test_of_a_rule_only_the_part_from_memory_is_judged(tmp_path: Path) -> None:
    found = pack(tmp_path).assess(visit(LOST))
    assert judged(found) == {"orthopedics": ("urgent", ("exam.loss-remembered",))}
    assert {"oxygen_evaluation", "weight_recheck"} <= asked(found)


def test_a_rule_that_is_judged_takes_the_place_of_none_that_acts(tmp_path: Path) -> None:
    barlow = visit({"barlow.left": "positive"})
    found = pack(tmp_path / "there").assess(barlow)
    assert judged(found) == {"orthopedics": ("asap", ("exam.barlow-remembered",))}
    assert "hip_again" in asked(found)
    assert "hip_again" not in asked(pack(tmp_path / "elsewhere", "").assess(barlow))


def test_what_is_wanted_by_an_age_and_not_on_record_is_no_value_to_judge(tmp_path: Path) -> None:
    found = pack(tmp_path).assess(visit())
    assert judged(found) == {}
    assert "feeding_assessment" in {d.target for d in found.not_on_record} | asked(found)


def test_what_could_come_of_it_is_still_to_be_examined(tmp_path: Path) -> None:
    """Nobody looked: the look is asked for as pressingly as before."""
    steps = [one.assess(visit()).steps for one in (pack(tmp_path / "a"), pack(tmp_path / "b", ""))]
    questions = [{q.finding: (q.worst, q.rules) for step in found for q in step.questions} for found in steps]
    assert questions[0]["alertness"] == questions[1]["alertness"]
    assert questions[0]["alertness"][0] == "stat"


@pytest.mark.parametrize(
    ("findings", "told", "target"),
    [
        (SLEEPY, {"finding": "alertness"}, "ophthalmology"),
        (SLEEPY, {"target": "ophthalmology"}, "ophthalmology"),
        (LIGHT, {"finding": "weight"}, "orthopedics"),
        (LIGHT, {"target": "orthopedics"}, "orthopedics"),
    ],
)  # fmt: skip
def test_how_somebody_judged_it_settles_it(
    findings: dict[str, Any], told: dict[str, str], target: str, tmp_path: Path
) -> None:
    """Also where the rule asks of a measure: then what it was computed from is judged."""
    here = pack(tmp_path)
    words = {"by": "A nurse", "outcome": "seen, not of concern"}
    early, right = ({**told, **words, "of": f"2026-11-24T0{hour}:00:00-06:00"} for hour in (8, 9))
    assert target in judged(here.assess(visit(findings)))
    assert target in judged(here.assess(visit(findings, history={"judged": [early]})))
    assert target not in judged(here.assess(visit(findings, history={"judged": [right]})))


def test_an_emergency_that_is_judged_is_told_beside_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        pack(tmp_path).assess(visit({"alertness": "sleepy", "weight": 3}))
    [told] = caught.value.urgent
    assert told == (
        "Ophthalmology: judge before they leave (Alertness sleepy). Sleepy babies may not see. [exam.remembered]"
    )


@pytest.mark.parametrize(("until", "acts"), [("2026-03-01", True), ("2026-02-28", False)])
def test_a_rule_that_somebody_reviewed_is_acted_on_while_that_holds(until: str, acts: bool, tmp_path: Path) -> None:
    signed = f'  reviewed: {{by: A reviewer, on: "2026-01-01", until: "{until}"}}\n'
    rules = RULES.replace("  because: Sleepy babies", signed + "  because: Sleepy babies")
    found = pack(tmp_path, rules=rules).assess(visit({"alertness": "sleepy"}))
    assert ("ophthalmology" in asked(found), "ophthalmology" in judged(found)) == (acts, not acts)
