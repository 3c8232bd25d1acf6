"""Questions about a pack: which rules lead to this or rest on that, and what can be recorded."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.small_pack import FOLDER, copied, rule, small

from layette.mapping.cli import main

Asked = Callable[..., list[str]]


@pytest.fixture
def asked(capsys: pytest.CaptureFixture[str]) -> Asked:
    def ask(*words: str, pack: Path = FOLDER) -> list[str]:
        assert main([words[0], *words[1:], "--pack", str(pack)]) == 0
        return capsys.readouterr().out.splitlines()

    return ask


def ids(lines: list[str]) -> list[str]:
    """The rules of a list, without what is counted at its end."""
    assert lines[-1].startswith(f"{len(lines) - 1} of {len(small().rules)} rules.")
    return [line.split()[0] for line in lines[:-1]]


def test_all_rules_are_listed_in_the_order_of_the_pack(asked: Asked) -> None:
    assert ids(asked("rules")) == list(small().rules)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["--target", "emergency_evaluation"], ["exam.fever", "exam.danger-evaluation"]),
        (["--finding", "birth_weight"], ["exam.loss-10", "exam.loss-7"]),
        (["--finding", "temperature"], ["exam.fever", "exam.danger", "exam.danger-evaluation"]),
        (["--finding", "bloodspot"], ["exam.bloodspot"]),
        (["--finding", "danger_sign"], ["exam.danger-evaluation"]),
        (["--source", "invented-lines"], ["exam.light"]),
        (["TUMOUR"], ["exam.red-reflex-abnormal"]),
        (["orthopedics"], ["exam.barlow-again"]),
        (["weight", "--target", "feeding_assessment"], ["exam.loss-10"]),
        (["--from-memory"], []),
        (["nowhere"], []),
    ],
)
def test_rules_are_found(words: list[str], found: list[str], asked: Asked) -> None:
    lines = asked("rules", *words)
    assert [line.split()[0] for line in lines[:-1]] == found
    assert lines[-1].startswith(f"{len(found)} of {len(small().rules)} rules.")


def test_a_line_says_how_pressing_what_and_by_when(asked: Asked) -> None:
    by_id = {line.split()[0]: line.split(maxsplit=1)[1] for line in asked("rules")[:-1]}
    assert by_id["exam.red-reflex-abnormal"] == "stat refer ophthalmology within 24 hours (r)"
    assert by_id["exam.fever"] == "stat refer emergency_evaluation now (r)"
    assert by_id["exam.danger"] == "concludes danger_sign (r)"
    assert by_id["exam.bloodspot"] == "urgent order bloodspot_test from 24 hours to 48 hours after birth (r)"
    assert by_id["exam.oxygen-differs"] == "asap refer oxygen_evaluation within 24 hours (r)"
    assert by_id["exam.loss-10"].startswith(
        "asap order feeding_assessment within 24 hours; asap recheck weight_recheck"
    )


def test_what_rests_on_memory_is_found_also_where_only_a_part_does(asked: Asked, tmp_path: Path) -> None:
    remembered = rule("""
- id: exam.late
  when: {alertness: sleepy}
  then: [{refer: ophthalmology, priority: urgent, source: from-a-lecture}, {judge: phototherapy, priority: asap}]
""")
    pack = copied(tmp_path, remembered, ("sources.yaml", "", "from-a-lecture: {kind: from-memory, text: A lecture.}\n"))
    told = "exam.late  urgent refer ophthalmology within 7 days; asap judge phototherapy before they leave (m, r)"
    assert asked("rules", "--from-memory", pack=pack)[:-1] == [told]


def test_all_says_the_condition_the_reason_and_the_sources(asked: Asked) -> None:
    lines = asked("rules", "--source", "invented-lines", "--all")
    assert [line.strip() for line in lines[1:-1]] == [
        "Bilirubin above the phototherapy line [decisions/exam.yaml:67]",
        'When "Serum bilirubin" is beyond "Phototherapy line".',
        "Light keeps bilirubin low.",
        "Sources: invented-lines (our-reading)",
    ]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (
            ["--target", "ophtalmology"],
            "the pack has no such target; did you mean 'ophthalmology'? (found ophtalmology)",
        ),
        (["--finding", "wieght"], "did you mean 'weight'"),
        (["--source", "x"], "the pack has no such source; the names stand in sources.yaml (found x)"),
    ],
)
def test_a_name_that_is_none_is_an_error_with_the_nearest(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rules", *words, "--pack", str(FOLDER)]) == 2
    assert says in capsys.readouterr().err


def test_a_site_s_changes_are_in_the_list(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = tmp_path / "site.yaml"
    off = '{rule: exam.fever, reason: Another pathway, by: Lead, on: "2026-03-01"}'
    site.write_text(f"site: Here\nrules_off: [{off}]\n", encoding="utf-8")
    assert main(["rules", "--target", "emergency_evaluation", "--pack", str(FOLDER), "--site", str(site)]) == 0
    assert capsys.readouterr().out.startswith("exam.danger-evaluation ")


def test_findings_are_listed_with_values_and_units(asked: Asked) -> None:
    lines = asked("findings")
    assert lines[0] == "Examination:"
    assert "  red_reflex (.left .right): Red reflex. present*, dull, dark_spots, absent, white" in lines
    assert "  temperature: Temperature. Cel or [degF]; possible 25 to 45 Cel" in lines
    assert "  pulse_oximetry (.hand .foot): Pulse oximetry. %; possible 0 to 100 %" in lines
    assert "  mother_fever (of the mother): Fever of the mother at birth. yes, no" in lines
    assert len(lines) == len(small().findings) + 2


@pytest.mark.parametrize(("word", "found"), [("REFLEX", 1), ("retractile", 1), ("kg", 2), ("nothing", 0)])
def test_findings_are_found_by_a_word(word: str, found: int, asked: Asked) -> None:
    lines = asked("findings", word)
    assert lines[-1].startswith(f"{found} of {len(small().findings)} findings.")
    assert len(lines) == found + (2 if found else 1)
