"""Law: whatever stands in the place of a value anywhere in a pack, nobody is told of it in the words of a library."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml
from support.small_pack import FOLDER
from support.sweeps import whole

from layette.engine import PackError, load_pack
from layette.engine.errors import PackProblem

LIBRARY = re.compile(
    r"(?i:input should|valid (string|list|dict)|extra inputs|pydantic|discriminator|mapping values|block (mapping|end)"
    r"|expected key|token|field required|\bdict\b)|\bNone\b|\bTrue\b|\bFalse\b"
)
TRIED = ("literal[", "function-", "[key]", "Shape", "Header", "dict[", "list[", "constrained-", "AskAfter")
"""What the library calls the forms that it tried; it is no place in a file."""

WRONG = [
    "[1, two]",
    "{a: b}",
    "true",
    "7",
    "soon",
    "",
    "2026-02-30",
    "*star",
    "24 hours",
    "a: b",
    "'it's'",
    "{x",
    "| x",
]
"""What a person may write where something else is due; of each value one, and of the next value the next one."""


def values(text: str) -> Iterator[tuple[int, int]]:
    """Yield where each value of a file begins and ends."""
    queue = [yaml.compose(text)]
    for node in queue:  # it grows while it is read
        parts = node.value if isinstance(node.value, list) else []
        queue += [part[1] if isinstance(part, tuple) else part for part in parts]
        if node.start_mark.index < node.end_mark.index:
            yield node.start_mark.index, node.end_mark.index


def slips() -> list[tuple[str, str]]:
    """Every file with each of its values replaced, one at a time."""
    made = []
    for path in sorted(FOLDER.rglob("*.yaml")):
        text = path.read_text(encoding="utf-8")
        for start, end in values(text):
            end = start + len(text[start:end].rstrip())
            made.append((str(path.relative_to(FOLDER)), f"{text[:start]}{WRONG[len(made) % len(WRONG)]}{text[end:]}"))
    return made


def problems(folder: Path) -> tuple[PackProblem, ...]:
    try:
        return load_pack(folder).run_cases(readers=["native"]).problems
    except PackError as error:
        return error.problems


@pytest.mark.parametrize("share", range(4))
def test_no_slip_is_told_in_the_words_of_a_library(share: int, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """One slip in sixteen; `--whole-sweeps` takes all."""
    step = 4 if whole(request) else 16
    folder = tmp_path / "pack"
    shutil.copytree(FOLDER, folder)
    told = 0
    for file, text in slips()[share::step]:
        before = (folder / file).read_text(encoding="utf-8")
        (folder / file).write_text(text, encoding="utf-8")
        for problem in problems(folder):
            told += 1
            assert not LIBRARY.search(problem.message), problem
            assert not any(form in problem.key for form in TRIED), problem
        (folder / file).write_text(before, encoding="utf-8")
    assert told > 5
