"""What `layette check` says to a reviewer and to a site: what is still to sign, what the site's choices change."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from support.checkout import ROOT
from support.small_pack import FOLDER, copied, rule, small, visit

from layette.engine import Pack, load_pack
from layette.engine.cases.cases import CaseReport
from layette.mapping.cli import main, reviews
from layette.mapping.text.layout import Page

MEMORY = ("sources.yaml", "", "remembered: {kind: from-memory, text: Remembered.}\n")
LATE = rule("- id: exam.late\n  when: {alertness: sleepy}\n  source: [invented, remembered]\n")
SIGNED = 'reviewed: {by: A reviewer, on: "2026-01-01", until: "2026-06-30"}'


def signed(place: Path, today: str, *edits: tuple[str, str, str]) -> str:
    pack = load_pack(copied(place, *edits))
    page = Page(200, colour=False, full=True)
    reviews.still_to_sign(page, pack, pack.run_cases(), today)
    return page.text()


def test_what_is_still_to_sign_is_listed_the_worst_first(tmp_path: Path) -> None:
    told = signed(tmp_path, "2026-03-01", MEMORY, LATE).splitlines()
    assert told[0] == f"TO BE SIGNED BY A REVIEWER: {len(small().rules) + 1} of {len(small().rules) + 1} rules"
    groups = [line.split(" (")[0].strip() for line in told[1:] if line.startswith("  ") and line[2] != " "]
    assert groups == [
        "stat, our reading", "asap, our reading", "urgent, from memory", "urgent, our reading", "routine, our reading",
        "no priority, our reading",
    ]  # fmt: skip
    assert "  urgent, from memory (1): exam.late" in told
    assert "  no priority, our reading (2): exam.danger · care.cord" in told


def test_a_rule_that_was_signed_is_left_out_until_its_review_lapses(tmp_path: Path) -> None:
    review = ("decisions/exam.yaml", "  title: Fever\n", f"  title: Fever\n  {SIGNED}\n")
    number = len(small().rules)
    held = signed(tmp_path / "a", "2026-06-30", review)
    assert held.startswith(f"TO BE SIGNED BY A REVIEWER: {number - 1} of {number} rules")
    assert "exam.fever" not in held
    lapsed = signed(tmp_path / "b", "2026-07-01", review)
    assert lapsed.startswith(f"TO BE SIGNED BY A REVIEWER: {number} of {number} rules")
    assert "  review lapsed (1): exam.fever (A reviewer, 2026-01-01 until 2026-06-30)" in lapsed


def test_where_all_is_signed_nothing_is_said(tmp_path: Path) -> None:
    everything = [
        (file, "*", re.sub(r"(?m)^(  because:)", rf"  {SIGNED}\n\1", (FOLDER / file).read_text(encoding="utf-8")))
        for file in ("decisions/exam.yaml", "guidance/care.yaml")
    ]
    assert signed(tmp_path, "2026-06-30", *everything).strip() == ""


def checked(place: Path, site: str, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    (place / "site.yaml").write_text("site: Here\n" + site, encoding="utf-8")
    main(["check", str(FOLDER), "--site", str(place / "site.yaml"), "--all", *words])
    captured = capsys.readouterr()
    assert captured.err == ""
    return captured.out.partition("\nAT THIS SITE ")[2]


OFF = 'rules_off: [{rule: exam.fever, reason: Another pathway, by: Lead, on: "2026-03-01"}]\n'


def test_what_a_site_changes_in_the_cases_is_told_and_is_no_failure(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = checked(tmp_path, OFF + "timezone: America/Chicago\n", capsys)
    assert told.splitlines() == [
        "(Here): 1 of 1 cases answer otherwise",
        "  - time zone America/Chicago",
        "  - rule exam.fever is switched off at this site: Another pathway (Lead, 2026-03-01)",
        "  ~ white-reflex (cases/exam.yaml:1): expected exam.fever undecided, switched off",
    ]


def test_a_site_that_changes_no_case_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = checked(tmp_path, "settings: {loss_limit: more-than-10}\n", capsys)
    assert told.splitlines() == [
        "(Here): 0 of 1 cases answer otherwise",
        "  - setting loss_limit: more-than-10 in place of at-least-10",
    ]


EYES = [
    ("pack.yaml", "decisions: [exam.yaml]", "decisions: [exam.yaml, eyes.yaml]"),
    ("pack.yaml", "cases: [exam.yaml]", "cases: [exam.yaml, eyes.yaml]"),
    ("decisions/eyes.yaml", "*", rule("- id: eyes.white\n  when: {red_reflex.either: white}\n")[2]),
    ("cases/eyes.yaml", "*", json.dumps([
        {"id": name, "title": name, "source": "invented", "given": visit(findings), "expect": expect}
        for name, expect, findings in (
            ("seen", {"recommend": [{"target": "ophthalmology", "priority": "stat"}]}, {"red_reflex.left": "white"}),
            ("no", {"ruled_out": ["eyes.white"]}, {"red_reflex.left": "present", "red_reflex.right": "present"}),
            ("not-looked", {"undecided": ["eyes.white"]}, {}),
        )
    ])),
]  # fmt: skip
"""An area of one rule, of which cases show all."""


def test_the_exit_code_is_that_of_the_pack_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The rule that is off has cases that fail at the site; alone, the area passes."""
    (tmp_path / "site.yaml").write_text(
        'site: Here\nrules_off: [{rule: eyes.white, reason: x, by: x, on: "2026-03-01"}]\n', encoding="utf-8"
    )
    words = ["check", str(copied(tmp_path, *EYES)), "--only", "eyes", "--site", str(tmp_path / "site.yaml")]
    assert main(words) == 0
    assert "2 of 3 cases answer otherwise" in capsys.readouterr().out


def test_an_edited_copy_that_goes_by_the_shipped_name_is_told_to_take_its_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same copy unedited is the shipped pack; under another version it is one of its own. No case is run."""
    monkeypatch.setattr(Pack, "run_cases", lambda _, only, **__: CaseReport(only=only))
    copy, said = tmp_path / "pack", "This is not newborn 0.1.0 as it ships"
    shutil.copytree(ROOT / "rules/newborn", copy)
    told = []
    for file, old, new in (
        ("pack.yaml", "", ""),
        ("sources.yaml", "", "\nmy-own: {kind: our-reading, text: Mine.}\n"),
        ("pack.yaml", 'version: "0.1.0"', 'version: "0.1.0-fern"'),
    ):
        text = (copy / file).read_text(encoding="utf-8")
        (copy / file).write_text(text.replace(old, new) if old else text + new, encoding="utf-8")
        main(["check", str(copy), "--only", "reflexes"])
        told.append(" ".join(capsys.readouterr().out.split()))
    assert [said in one for one in told] == [False, True, False]
    assert "give it an id or a version of its own in pack.yaml" in told[1]
