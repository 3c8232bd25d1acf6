"""Every code that an error can carry has its line in `schemas/errors.md`, and every line there has its code."""

from __future__ import annotations

import re

from support.checkout import ROOT

from layette.engine.errors import INPUT_CODES, PACK_CODES

PAGE = (ROOT / "schemas" / "errors.md").read_text(encoding="utf-8")
ROW = re.compile(r"^\| `([a-z-]+)` \| (.+) \| (.+) \|$", re.MULTILINE)


def rows(title: str) -> list[tuple[str, str, str]]:
    section = PAGE.split(f"(`{title}`)\n")[1]
    return [m.groups() for m in ROW.finditer(section.split("\n## ")[0])]  # type: ignore[misc]


def test_every_code_of_a_pack_is_explained_in_the_order_of_the_list() -> None:
    assert [code for code, *_ in rows("PackError")] == list(PACK_CODES)


def test_every_code_of_an_input_is_explained() -> None:
    codes = [code for code, *_ in rows("InputError")]
    assert sorted(codes) == sorted(INPUT_CODES)
    assert len(set(codes)) == len(codes)


def test_each_row_says_what_it_means_and_how_to_mend_it() -> None:
    for code, meaning, mend in [*rows("PackError"), *rows("InputError")]:
        assert meaning.endswith("."), code
        assert mend.endswith("."), code
        assert meaning != mend


def test_the_disagreement_of_readers_is_explained() -> None:
    assert "(`ReadersDisagree`)" in PAGE
