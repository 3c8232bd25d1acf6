"""YAML 1.2 core, with the line of every key, and no silent surprises.

The usual loaders keep the last of two equal keys and turn ``no``, ``12:30`` and ``010`` into something
else. Here a plain scalar is a number, ``true``/``false``, ``null`` or text; a key written twice is an error.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Any

import yaml

from layette.engine.errors import PackProblem
from layette.engine.pack.written.yaml_words import cut_list, cut_text, mistake

Path = tuple[str | int, ...]

_INT = re.compile(r"[-+]?[0-9]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_WORDS: Mapping[str, bool | None] = {
    "true": True, "True": True, "TRUE": True,
    "false": False, "False": False, "FALSE": False,
    "null": None, "Null": None, "NULL": None, "~": None, "": None,
}  # fmt: skip
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_UNRESOLVED = type(
    "_Unresolved",
    (_LOADER,),
    {
        "resolve": lambda self, kind, value, implicit: "",
        "descend_resolver": lambda self, parent, index: None,
        "ascend_resolver": lambda self: None,
    },
)
"""The loader without its guesses at what a plain text stands for, which nobody here asks."""
DEEPEST = 50
"""How deep lists and mappings may nest in a file. What is read from it is followed by recursion, which ends here."""
_SURELY_COMPOSED = 1000
"""So many levels the library's own recursion can take anywhere."""
_REFERENCE_OR_TAG = re.compile(r"[&*!](?<!\w.)")
"""What may begin a reference, its name or a tag: within a word these signs are text."""
_LONGEST_NUMBER = 30


@dataclass
class Document:
    """A parsed file: plain data, the line of each path, and what was wrong with it."""

    file: str
    data: Any = None
    lines: dict[Path, int] = field(default_factory=dict)
    problems: list[PackProblem] = field(default_factory=list)
    text: list[str] = field(default_factory=list, repr=False)

    def line(self, path: Path) -> int:
        """Return the line of ``path``, or of its nearest written ancestor."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)

    def problem(self, path: Path, code: str, message: str) -> PackProblem:
        """Return a problem at ``path`` of this file."""
        return PackProblem(self.file, self.line(path), pointer(path), code, message)


def pointer(path: Path) -> str:
    """Return ``$.a.b[1]`` for a path."""
    return "$" + "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in path)


def parse(text: str, file: str) -> Document:
    """Parse one YAML document; never raises, all mistakes are in ``problems``."""
    document = Document(file)
    try:
        if not _surely_plain(text):
            _refuse_depth_and_aliases(text)
        node = yaml.compose(text, Loader=_UNRESOLVED)
        document.text = text.splitlines()
        document.data = None if node is None else _value(node, (), document)
    except yaml.YAMLError as error:
        return Document(file, problems=[_not_yaml(error, text, file)])
    return document


def _not_yaml(error: yaml.YAMLError, text: str, file: str) -> PackProblem:
    """Tell what comes first in the file: a slip, or what is refused though it is YAML."""
    try:
        _refuse_depth_and_aliases(text)
    except _RefusedError as refused:
        line, message = refused.problem_mark.line + 1, refused.problem
    except yaml.YAMLError:
        line, message = mistake(error, text)
    else:
        line, message = mistake(error, text)
    return PackProblem(file, line, "$", "yaml", f"not YAML: {message}")


def _surely_plain(text: str) -> bool:
    """Whether no reference or tag can be in a text, and it cannot nest deeper than the library can follow.

    Each bracket opens a level at most; without brackets, a level begins further to the right than that above it, or, a
    list in a mapping, below its key.
    """
    if _REFERENCE_OR_TAG.search(text):
        return False
    levels = text.count("[") + text.count("{") + 2 * max(map(len, text.splitlines()), default=0)
    return levels < _SURELY_COMPOSED


def _refuse_depth_and_aliases(text: str) -> None:
    """Raise for what a pack never needs and what could exhaust memory or the stack: nesting without end, references."""
    depth = 0
    for event in yaml.parse(text, Loader=_LOADER):
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        if depth > DEEPEST:
            raise _too_deep(event.start_mark)
        what = "a reference (*name)" if isinstance(event, yaml.AliasEvent) else ""
        what = what or ("a tag (!name)" if _tagged(event) else "")
        what = what or ("a name for a reference (&name)" if getattr(event, "anchor", None) is not None else "")
        if what:
            raise _RefusedError(
                f"{what} is not read; write it out plainly, or put quotes round a text that begins so", event.start_mark
            )


class _RefusedError(yaml.YAMLError):
    def __init__(self, problem: str, mark: Any) -> None:
        super().__init__(problem)
        self.problem, self.problem_mark = problem, mark


def _too_deep(mark: Any) -> _RefusedError:
    advice = "in a condition, give the inner part a conclusion of its own"
    return _RefusedError(f"nested deeper than {DEEPEST} is not read; {advice}", mark)


def _tagged(event: yaml.Event) -> bool:
    return getattr(event, "tag", None) is not None


def _value(node: yaml.Node, path: Path, document: Document) -> Any:
    document.lines.setdefault(path, node.start_mark.line + 1)
    if len(path) >= DEEPEST and isinstance(node, yaml.CollectionNode):
        raise _too_deep(node.start_mark)
    if isinstance(node, yaml.MappingNode):
        return _mapping(node, path, document)
    if isinstance(node, yaml.SequenceNode):
        return [_value(item, (*path, k), document) for k, item in enumerate(node.value)]
    assert isinstance(node, yaml.ScalarNode)
    return scalar(node.value) if node.style in (None, "") else node.value


def _mapping(node: yaml.MappingNode, path: Path, document: Document) -> dict[Any, Any]:
    out: dict[Any, Any] = {}
    for key_node, value_node in node.value:
        if not isinstance(key_node, yaml.ScalarNode):
            document.problems.append(document.problem(path, "yaml", "a key must be plain text"))
            continue
        key = key_node.value
        here = (*path, key)
        if key in out:
            line = key_node.start_mark.line + 1
            first = document.lines[here]
            message = f"the key '{key}' is written twice, first in line {first}; only one could count"
            document.problems.append(PackProblem(document.file, line, pointer(here), "duplicate-key", message))
            continue
        document.lines[here] = key_node.start_mark.line + 1
        cut = cut_text(key, value_node, document.text) if isinstance(value_node, yaml.ScalarNode) else None
        cut = cut or cut_list(key, value_node)
        if cut:
            document.problems.append(document.problem(here, "shape", cut))
        out[key] = _value(value_node, here, document)
    return out


def scalar(text: str) -> str | int | float | bool | None:
    """Resolve a plain scalar as YAML 1.2 core does: numbers, true, false, null; all else is text."""
    if text in _WORDS:
        return _WORDS[text]
    if len(text) > _LONGEST_NUMBER:
        return text
    if _INT.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text) and isfinite(float(text)):
        return float(text)
    return text
