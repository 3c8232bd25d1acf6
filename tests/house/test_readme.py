"""The README keeps its word: its commands and programs are run, and what they print is what it shows.

A line that is only ``…`` stands for any lines left out; versions and digests may differ. ``bash`` blocks are the two
set-up commands and a line for each kind of tests that is heavy, ``console`` blocks are sessions, ``python`` blocks are
programs with their output in the next block.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from support.checkout import ROOT, blocks, shown_example

from layette.mapping.cli import main

TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
PROGRAMS = re.findall(r"^```python\n(.*?)^```\n\n```text\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
SESSIONS = [line.removeprefix("$ ") for block in blocks("README.md", "console") for line in block.splitlines()]
GAP = "…"


def shown_as(shown: str, printed: str) -> bool:
    """Whether the README shows what was printed, line by line."""
    pattern = [r"(?:.*\n)*?" if line == GAP else re.escape(_lasting(line)) + r"\n" for line in shown.splitlines()]
    return re.fullmatch("".join(pattern), _lasting(printed)) is not None


def _lasting(text: str) -> str:
    """Return the text without what changes from release to release and from one Python to another."""
    text = re.sub(r"\b\d+\.\d+\.\d+\b", "<version>", re.sub(r"\b[0-9a-f]{32,64}\b", "<digest>", text))
    text = re.sub(r"\bdigest [0-9a-f]{8}\b", "digest <digest>", text)
    return re.sub(r"(?m)^Read by .*$", "Read by <readers>", text)


@pytest.fixture
def beside_the_examples(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stand in a folder that looks like the checkout and may be written to."""
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    monkeypatch.chdir(tmp_path)


def test_the_readme_has_two_set_up_commands_each_complete_in_itself():
    commands = blocks("README.md", "bash")
    set_up = "python3 -m venv .venv && .venv/bin/pip install "
    assert [command.startswith(set_up) for command in commands] == [True, True, *(False for _ in commands[2:])]


def test_what_a_plain_run_leaves_out_has_a_line_of_its_own(pytestconfig: pytest.Config):
    marks = [line.partition(":")[0] for line in pytestconfig.getini("markers") if "left out of a plain run" in line]
    assert [command.split(" -m ")[-1].strip() for command in blocks("README.md", "bash")[2:]] == marks


def test_the_page_that_is_shown_is_the_page_that_comes_out(capsys: pytest.CaptureFixture[str]):
    assert main(["assess", str(shown_example())]) == 0
    printed = capsys.readouterr().out
    assert shown_as(blocks("README.md", "text")[0], printed), printed


@pytest.mark.usefixtures("beside_the_examples")
def test_the_sessions_run(capsys: pytest.CaptureFixture[str]):
    for line in SESSIONS:
        command, *words = shlex.split(line)
        assert command == "layette"
        assert main(words) == 0, capsys.readouterr().err


@pytest.mark.usefixtures("beside_the_examples")
@pytest.mark.parametrize("number", range(len(PROGRAMS)))
def test_the_programs_print_what_is_shown(number: int, capsys: pytest.CaptureFixture[str]):
    program, shown = PROGRAMS[number]
    exec(compile(program, f"README.md, program {number + 1}", "exec"), {})
    printed = capsys.readouterr().out
    assert shown_as(shown, printed), printed


def test_every_program_has_its_output_beside_it():
    assert len(PROGRAMS) == len(blocks("README.md", "python"))


def test_every_link_leads_somewhere():
    for document in ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "rules/GRAMMAR.md", "rules/SITE.md"):
        text = (ROOT / document).read_text(encoding="utf-8")
        links = [link for link in re.findall(r"\]\(([^)#]+)", text) if "://" not in link]
        missing = [link for link in links if not ((ROOT / document).parent / link).exists()]
        assert missing == [], document
