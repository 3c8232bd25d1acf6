"""YAML 1.2 core without surprises: what a plain word becomes, and on which line each key stands."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layette.engine.pack.written import yaml_nodes
from layette.engine.pack.written.yaml_nodes import parse, pointer, scalar


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("true", True), ("False", False), ("null", None), ("~", None), ("", None),
        ("no", "no"), ("yes", "yes"), ("on", "on"), ("off", "off"), ("y", "y"), ("NO", "NO"),
        ("12:30", "12:30"), ("2026-11-20", "2026-11-20"), ("0o14", "0o14"), ("1_000", "1_000"), ("0x1F", "0x1F"),
        ("010", 10), ("-3", -3), ("+3", 3), ("3.5", 3.5), (".5", 0.5), ("5.", 5.0), ("1e3", 1000.0), ("1.5E-2", 0.015),
        (".inf", ".inf"), (".nan", ".nan"), ("1e999", "1e999"), ("3 kg", "3 kg"), ("1.2.3", "1.2.3"),
    ],
)  # fmt: skip
def test_a_plain_word_is_a_number_true_false_null_or_text(text: str, value: Any) -> None:
    found = scalar(text)
    assert (found, type(found)) == (value, type(value))
    assert parse(f"key: {text}\n", "f").data == {"key": value}


@pytest.mark.parametrize("text", ["'5'", '"true"', "'null'", '"3.5"'])
def test_what_is_quoted_is_text(text: str) -> None:
    assert parse(f"key: {text}", "f").data == {"key": text[1:-1]}


@given(st.text(max_size=40))
def test_a_scalar_never_fails_and_is_always_finite(text: str) -> None:
    found = scalar(text)
    assert not isinstance(found, float) or math.isfinite(found)


def test_digits_without_end_are_text() -> None:
    assert scalar("9" * 5000) == "9" * 5000


TEXT = """\
first: 1
second:
  - a: x
    b: y
  - {c: z,
     d: {e: 5}}
third: |
  text
fourth: 4
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("first",), 1), (("second",), 2), (("second", 0), 3), (("second", 0, "b"), 4), (("second", 1), 5),
        (("second", 1, "d", "e"), 6), (("fourth",), 9), (("second", 0, "missing"), 3), (("missing",), 1), ((), 1),
    ],
)  # fmt: skip
def test_every_path_has_the_line_of_its_key_or_of_what_holds_it(path: tuple[str | int, ...], line: int) -> None:
    document = parse(TEXT, "f")
    assert document.line(path) == line
    assert document.problem(path, "shape", "x").line == line


def test_a_path_is_printed_with_dots_and_brackets() -> None:
    assert pointer(("when", "all", 1, "a.left")) == "$.when.all[1].a.left"
    assert pointer(()) == "$"


def test_all_keys_written_twice_are_told_with_the_line_of_the_first() -> None:
    document = parse("a: 1\nb: {c: 1, c: 2}\na: 2\na: 3\n", "f")
    assert [(p.line, p.key, p.code) for p in document.problems] == [
        (2, "$.b.c", "duplicate-key"),
        (3, "$.a", "duplicate-key"),
        (4, "$.a", "duplicate-key"),
    ]
    assert document.problems[1].message == "the key 'a' is written twice, first in line 1; only one could count"
    assert document.data == {"a": 1, "b": {"c": 1}}


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("a: [1\nb: 2\n", 2, "not YAML"), ("a: 1\n--- \nb: 2\n", 2, "another document"), ("a: \x01", 1, "not YAML"),
        ("a: 1\nc: *x\n", 2, "a reference (*name) is not read"), ("a: &x 2\n", 1, "a name for a reference (&name)"),
        ("a: 1\nb: !!str 5\n", 2, "a tag (!name)"),
        ("a: &x [*x]\n", 1, "a name for a reference"), ("a: 1\nb: " + "[" * 51 + "]" * 51, 2, "nested deeper than 50"),
        ("[" * 100_000, 1, "not YAML"),
    ],
)  # fmt: skip
def test_what_is_not_read_is_one_problem_with_its_line(text: str, line: int, says: str) -> None:
    document = parse(text, "f")
    assert document.data is None
    assert [(p.line, p.code) for p in document.problems] == [(line, "yaml")]
    assert says in document.problems[0].message


def test_a_key_that_is_no_text_is_told() -> None:
    assert [p.message for p in parse("? [a]\n: 1\n", "f").problems] == ["a key must be plain text"]


def test_an_empty_file_is_nothing() -> None:
    assert parse("# only a comment\n", "f").data is None


@given(st.text(max_size=200))
def test_parse_never_raises(text: str) -> None:
    document = parse(text, "f")
    assert all(p.line >= 1 for p in document.problems)


SIGNS = ["&", "*", "!", "x", "[", "]", "{", "}", ":", ",", "'", '"', "- ", "? ", " ", "\n", "\n  ", "|", "#", "[" * 51]


@given(st.lists(st.sampled_from(SIGNS), max_size=12).map("".join))
def test_a_look_at_the_signs_spares_a_reading_and_changes_nothing(text: str) -> None:
    """What holds no sign of a reference or a tag is read once, all else twice: both find the same."""
    quickly = parse(text, "f")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(yaml_nodes, "_surely_plain", lambda text: False)
        assert parse(text, "f") == quickly
