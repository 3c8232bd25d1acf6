"""What is wrong with a line of YAML, in words for whoever wrote it, and a remark that cuts a sentence."""

from __future__ import annotations

import re
from typing import Any

import yaml

_VALUE = re.compile(r"^\s*(?:- )?[\w.\-]+:\s+(?P<value>\S.*)$")
_TEXTS = (
    "title",
    "because",
    "text",
    "why",
    "label",
    "say",
    "note",
    "caution",
    "edges",
    "provenance",
    "en",
    "es",
    "how",
)
"""The keys whose value is a text for people: what follows ` #` there was meant to be read."""

_TEXT_LISTS = ("do",)
"""The keys whose value is a list of such texts."""

_SIGNS = tuple("{[*&!|>?%@`")
"""What YAML takes for something else than text, where a value begins with it."""

QUOTES = 'put quotes round the whole text, such as because: "Fever: 38 or more"'
INDENT = "this line does not begin in the column of the keys that it belongs to: indent it as they are"


def mistake(error: yaml.YAMLError, text: str) -> tuple[int, str]:
    """Return the line (from 1) and what is wrong there; the words of the library that found it are left out."""
    mark = getattr(error, "problem_mark", None)
    if mark is None:
        return 1, "this cannot be read as text"
    lines = text.splitlines()
    line = lines[mark.line] if mark.line < len(lines) else ""
    return mark.line + 1, _message(str(getattr(error, "problem", "")), line, getattr(error, "context_mark", None))


def _message(problem: str, line: str, begun: Any) -> str:
    if "tab" in problem or line.lstrip(" ").startswith("\t"):
        return "a tab stands where the line is indented: indent with spaces"
    if "cannot start any token" in problem:
        return f"a text cannot begin with this sign: {QUOTES}"
    if "end of stream" in problem or "while scanning a quoted" in problem:
        return _since("a quote is opened and not closed", begun)
    if "',' or" in problem:
        if line.count("'") % 2 or line.count('"') % 2:
            return f"a quote or an apostrophe stands in a text that has none round it: {QUOTES}"
        return _since("a bracket is opened and not closed, or a comma is missing", begun)
    if "document" in problem:
        return "another document begins here ('---'); one file holds one"
    return _of_line(problem, line)


def _since(what: str, begun: Any) -> str:
    return what if begun is None else f"{what}; it begins in line {begun.line + 1}"


def _of_line(problem: str, line: str) -> str:
    """Tell by the line itself what it lacks: quotes, a colon, or its indentation."""
    found = _VALUE.match(line)
    value = found["value"] if found else ""
    if value[:1] in _SIGNS and value:
        return f"a text cannot begin with this sign: {QUOTES}"
    if re.search(r":(\s|$)", value) and value[0] not in "{['\"":
        return f"a text holds a colon: {QUOTES}"
    if value[:1] in "'\"" and value:
        return (
            "a text goes on after its closing quote: put the whole text in double quotes, with no double quote in it, "
            'such as because: "The baby\'s fever"'
        )
    if "expected ':'" in problem:
        return "a key is followed by a colon and a space, such as title: Fever"
    return INDENT


def cut_list(key: str, node: yaml.Node) -> str | None:
    """Return what to say where commas may have cut one text in brackets into several; None where they cannot have."""
    if key not in _TEXT_LISTS or not isinstance(node, yaml.SequenceNode) or not node.flow_style or len(node.value) < 2:
        return None
    bare = (item.value for item in node.value if isinstance(item, yaml.ScalarNode) and item.style in (None, ""))
    first = next((text for text in bare if " " in text), None)
    if first is None:
        return None
    return (
        f"in brackets a comma ends a text that has no quotes, as after '{first}': put quotes round each whole text, "
        f'such as {key}: ["Count again, when calm", "Call"], or begin each on a line of its own with "- "'
    )


def cut_text(key: str, value: yaml.ScalarNode, lines: list[str]) -> str | None:
    """Return what to say where a remark (` #`) cuts a text for people short; None where none does."""
    mark = value.end_mark
    if key not in _TEXTS or value.style not in (None, "") or mark.line >= len(lines):
        return None
    rest = lines[mark.line][mark.column :] if value.value else lines[mark.line].partition(":")[2]
    if not rest.lstrip().startswith("#"):
        return None
    return (
        f"a '#' after a space begins a remark and cuts this text short: {QUOTES}; a remark stands on a line of its own"
    )
