"""Every mistake that a pack can carry: its code, the file, the line, the key, and what would be right.

The bad variants stand in `tests/packs/bad.yaml`.
"""

from __future__ import annotations

import ast
from pathlib import Path
from typing import Any

import pytest
from support.checkout import ROOT
from support.small_pack import FOLDER, Edit, copied, rule, small

from layette.engine import PackError, load_pack
from layette.engine.errors import INPUT_CODES, PACK_CODES, PackProblem
from layette.engine.pack.written.yaml_nodes import parse

ENGINE = ROOT / "engine"
DECISIONS = "decisions/exam.yaml"
BAD = parse((FOLDER.parent / "bad.yaml").read_text(encoding="utf-8"), "bad.yaml").data
ELSEWHERE = {"second-reader", "site"}
"""Codes that tests of their own bring about: below, and in `test_site`."""
MORE = f"$[{len(parse((FOLDER / DECISIONS).read_text(encoding='utf-8'), DECISIONS).data)}]"
"""The rule that an edit appends to the decisions."""


def problems_of(folder: Path) -> tuple[PackProblem, ...]:
    with pytest.raises(PackError) as caught:
        load_pack(folder)
    return caught.value.problems


def line_of(folder: Path, file: str, marked: str) -> int:
    text = (folder / file).read_text(encoding="utf-8")
    return text[: text.rindex(marked)].count("\n") + 1


@pytest.mark.parametrize("bad", [pytest.param(bad, id=f"{bad['code']}: {bad['name']}") for bad in BAD])
def test_a_mistake_is_told_by_code_place_and_what_would_be_right(bad: dict[str, Any], tmp_path: Path) -> None:
    edits: list[Edit] = [(e["file"], e["from"], e["to"]) for e in bad["edits"]]
    folder = copied(tmp_path, *edits)
    problems = problems_of(folder)
    shown = "\n".join(map(str, problems))
    assert {p.code for p in problems} == {bad["code"]}, shown
    told, key = bad.get("file", edits[0][0]), bad["key"].replace("$[more]", MORE)
    here = [p for p in problems if p.key == key and p.file == told]
    assert here, shown
    assert bad["says"] in here[0].message
    if (folder / told).is_file() and told == bad.get("file", edits[0][0]):
        assert here[0].line == line_of(folder, told, bad.get("marked") or edits[0][2]), shown


def test_every_code_of_the_list_has_a_bad_pack_and_no_other_code_is_tested() -> None:
    assert {bad["code"] for bad in BAD} | ELSEWHERE == set(PACK_CODES)


CALLS = {"problem": 1, "report": 1, "PackProblem": 3, "_problem": 1, "InputProblem": 1}
"""Which argument of these calls is a code; `report` of a table's sheet has it third."""


def codes_in_the_engine() -> set[str]:
    """Every literal that the engine's source hands over as the code of a problem."""
    codes = set()
    for path in ENGINE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = getattr(getattr(node, "func", None), "attr", getattr(getattr(node, "func", None), "id", ""))
            if isinstance(node, ast.Call) and name in CALLS:
                place = 2 if name == "report" and len(node.args) == 4 else CALLS[name]
                code = node.args[place] if place < len(node.args) else None
                if isinstance(code, ast.Constant):
                    codes.add(code.value)
    return codes


def test_the_engine_gives_problems_no_code_outside_the_lists() -> None:
    assert codes_in_the_engine() <= {*PACK_CODES, *INPUT_CODES}


def test_every_code_of_the_list_stands_in_the_engines_source() -> None:
    """Where a code is chosen between two, it is no literal argument, so this looks for the word anywhere."""
    source = "".join(p.read_text(encoding="utf-8") for p in ENGINE.rglob("*.py") if p.name != "errors.py")
    assert {code for code in PACK_CODES if f'"{code}"' not in source} == set()


def findings(names: list[str]) -> Edit:
    text = "".join(f"  {name}: {{label: A sign, values: [seen, not_seen]}}\n" for name in names)
    return ("findings/exam.yaml", "", text)


def conjunction(size: int) -> tuple[Edit, Edit]:
    """A rule that wants so many findings at once."""
    names = [f"sign_{chr(97 + k)}" for k in range(size)]
    return findings(names), rule("- id: exam.more\n  when: {" + ", ".join(f"{n}: seen" for n in names) + "}")


def pairs(size: int) -> tuple[Edit, Edit]:
    """A rule that wants one of two findings, so many times: two to that power conjunctions."""
    names = [f"sign_{chr(97 + k)}" for k in range(2 * size)]
    parts = [f"{{any: [{{{a}: seen}}, {{{b}: seen}}]}}" for a, b in zip(names[::2], names[1::2], strict=True)]
    return findings(names), rule(f"- id: exam.more\n  when: {{all: [{', '.join(parts)}]}}")


@pytest.mark.parametrize(
    ("edits", "needs"),
    [
        (conjunction(17), "17 findings in one conjunction; the limit is 16"),
        (pairs(7), "128 conjunctions; the limit is 64"),
    ],
)
def test_a_rule_too_wide_for_the_second_reader_is_told_how_to_split_it(
    edits: tuple[Edit, Edit], needs: str, tmp_path: Path
) -> None:
    found = problems_of(copied(tmp_path, *edits))
    assert [(p.code, p.key) for p in found] == [("second-reader", f"{MORE}.when")]
    assert needs in found[0].message
    assert "give the part on 'sign_a, " in found[0].message
    assert found[0].message.endswith("a conclusion of its own")


@pytest.mark.parametrize("edits", [conjunction(16), pairs(6)])
def test_a_rule_at_the_limit_is_held(edits: tuple[Edit, Edit], tmp_path: Path) -> None:
    assert len(load_pack(copied(tmp_path, *edits)).instances) == len(small().instances) + 1


def test_five_mistakes_in_five_files_are_told_at_once(tmp_path: Path) -> None:
    edits: list[Edit] = [
        ("findings/exam.yaml", "expected: alert\n", "expected: awake\n"),
        ("measures.yaml", "age_h: {compute: age,", "age_h: {compute: ages,"),
        ("targets/all.yaml", "kind: guide", "kind: advise"),
        ("settings.yaml", "default: at-least-10", "default: at-least-12"),
        rule("- id: exam.more\n  when: {temprature: {at_least: 38}}"),
    ]
    assert {(p.file, p.code) for p in problems_of(copied(tmp_path, *edits))} == {
        ("findings/exam.yaml", "unknown-value"),
        ("measures.yaml", "unknown-function"),
        ("targets/all.yaml", "shape"),
        ("settings.yaml", "unknown-setting"),
        (DECISIONS, "unknown-finding"),
    }


def test_five_mistakes_in_one_rule_are_told_at_once(tmp_path: Path) -> None:
    text = """
- id: exam.more
  when: {temprature: {at_least: 38}, barlow: positive, alertness: drowsy}
  then: [{refer: optometry, priority: stat}]
  source: hearsay"""
    found = problems_of(copied(tmp_path, rule(text)))
    wanted = ["side-missing", "unknown-finding", "unknown-source", "unknown-target", "unknown-value"]
    assert sorted(p.code for p in found) == wanted
    assert all(f" @ decisions/exam.yaml:{p.line} {MORE}." in str(p) and str(p).endswith(f" [{p.code}]") for p in found)


def test_a_name_is_not_called_unknown_because_its_own_file_is_broken(tmp_path: Path) -> None:
    """But a name that does not stand in the broken file either is a mistake of its own."""
    edits = [
        ("findings/exam.yaml", "    label: Weight\n", "    lable: Weight\n"),
        rule("- id: exam.more\n  when: {temprature: {at_least: 38}}"),
    ]
    problems = problems_of(copied(tmp_path, *edits))
    assert [(p.file, p.code) for p in problems] == [
        (DECISIONS, "unknown-finding"),
        ("findings/exam.yaml", "shape"),
        ("findings/exam.yaml", "shape"),
    ]
    assert "temprature" in problems[0].message


def test_a_file_that_is_not_utf_8_is_told(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    (folder / "guidance/care.yaml").write_bytes(b"- {title: caf\xe9}\n")
    found = [(p.code, p.file, p.message) for p in problems_of(folder)]
    assert found == [("yaml", "guidance/care.yaml", "not text in UTF-8: byte 13 cannot be read")]


@pytest.mark.parametrize("file", ["findings/exam.yaml", "targets/all.yaml", "tables/wet.yaml", DECISIONS])
@pytest.mark.parametrize("text", ["", "# nothing\n", "{}\n", "[]\n", "null\n"])
def test_a_listed_file_without_content_is_told(file: str, text: str, tmp_path: Path) -> None:
    """Else what it held would be gone without a word."""
    found = problems_of(copied(tmp_path, (file, "*", text)))
    message = "this file is listed and holds nothing; fill it, or delete it and take it off the list"
    assert (file, 1, "shape", message) in {(p.file, p.line, p.code, p.message) for p in found}


def test_settings_sources_and_measures_may_say_that_there_are_none(tmp_path: Path) -> None:
    """They are not listed, so that a pack must have them; what names something in them is told on its own."""
    found = problems_of(copied(tmp_path, ("settings.yaml", "*", "{}\n")))
    assert {(p.code, p.file) for p in found} == {("unknown-setting", DECISIONS), ("unknown-setting", "measures.yaml")}


def test_a_folder_without_a_pack_is_told(tmp_path: Path) -> None:
    assert [(p.code, p.file) for p in problems_of(tmp_path)] == [("file-missing", "pack.yaml")]


def test_the_digest_follows_the_content(tmp_path: Path) -> None:
    same = load_pack(copied(tmp_path / "same")).digest
    other = load_pack(copied(tmp_path / "other", ("sources.yaml", "Invented for tests.", "Invented for a test.")))
    assert small().digest == same
    assert other.digest != same


@pytest.mark.parametrize("linked", [DECISIONS, "decisions", "settings.yaml"])
def test_a_link_out_of_the_folder_is_refused(linked: str, tmp_path: Path) -> None:
    folder = copied(tmp_path)
    (folder / linked).rename(tmp_path / "elsewhere")
    (folder / linked).symlink_to(tmp_path / "elsewhere")
    problems = [p for p in problems_of(folder) if "leads out of the pack's folder" in p.message]
    assert [p.file for p in problems] == [linked if "." in linked else DECISIONS]


def test_a_pack_that_is_reached_by_a_link_and_links_within_it_are_read(tmp_path: Path) -> None:
    folder = copied(tmp_path)
    (tmp_path / "linked").symlink_to(folder)
    (folder / DECISIONS).rename(folder / "kept.txt")
    (folder / DECISIONS).symlink_to(folder / "kept.txt")
    assert load_pack(tmp_path / "linked").program.rules
