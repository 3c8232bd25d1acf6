"""The key of a test, such as ``barlow.left.earlier``, taken apart: what is looked at, and on which side."""

from __future__ import annotations

from dataclasses import dataclass, replace

from layette.engine.errors import near
from layette.engine.pack.grammar.scope import Scope
from layette.engine.pack.written.views import Pick, View
from layette.engine.pack.written.yaml_nodes import Path

SIDE_VIEWS = ("either", "both", "one_only", "unequal")
_SIDE_WORDS = (*SIDE_VIEWS, "left", "right")
_PICKS: tuple[Pick, ...] = ("highest", "lowest", "any", "every", "earlier")
_VIEWS = (*_SIDE_WORDS, *_PICKS, "since_earlier", "age")


@dataclass(frozen=True, slots=True)
class ParsedKey:
    """A test key taken apart: the view without its side, and which side view was written (empty: none)."""

    view: View
    side: str


def parse_key(key: str, path: Path, scope: Scope) -> ParsedKey | None:
    """Return what ``key`` looks at; None where it names nothing, or a view that does not exist, after reporting it."""
    name, *words = key.split(".")
    if not scope.subjects.known(name):
        subjects = scope.subjects
        known = [*subjects.findings, *subjects.measures, *subjects.conclusions]
        message = f"'{name}' is no finding or measure of this pack, and no rule concludes it{near(name, known)}"
        scope.report(path, "unknown-finding", message)
        return None
    view, side = View(name), ""
    for word in words:
        if _is_twice(word, words):
            scope.report(path, "unknown-view", f"'{key}' says twice where to look")
            return None
        if word in _SIDE_WORDS:
            side = word
            if not _has_side(word, name, scope):
                _no_view(word, name, path, scope)
            continue
        looked = _looked(view, word, key, path, scope)
        if looked is None:
            return None
        view = looked
    return ParsedKey(view, side) if _is_whole(view, key, path, scope) else None


def _is_twice(word: str, words: list[str]) -> bool:
    return words.count(word) > 1 or sum(other in _SIDE_WORDS for other in words) > 1


def _has_side(word: str, name: str, scope: Scope) -> bool:
    sides = scope.subjects.sides(name)
    return bool(sides) and word in (*sides, *SIDE_VIEWS)


def _no_view(word: str, name: str, path: Path, scope: Scope) -> None:
    scope.report(path, "unknown-view", f"'{name}' has no view '.{word}'{near(word, _VIEWS)}")


def _looked(view: View, word: str, key: str, path: Path, scope: Scope) -> View | None:
    """Return ``view`` with what one word adds to it; None, after reporting it, where it cannot be added."""
    viewed = _viewed(view, word, scope)
    if viewed is None:
        _no_view(word, view.subject, path, scope)
        return None
    if view.pick != "latest" and viewed.pick != view.pick:
        scope.report(path, "unknown-view", f"'{key}' looks at two times: one of .{view.pick}, .{word}")
        return None
    return viewed


def _viewed(view: View, word: str, scope: Scope) -> View | None:
    shape = scope.subjects.findings.get(view.subject)
    if shape is None:
        return None
    if shape.readings and word.isdigit() and 1 <= int(word) <= shape.readings.at_most:
        return replace(view, attempt=int(word))
    if shape.readings and word in shape.readings.parts:
        return replace(view, part=word)
    if word == "age":
        return replace(view, what="age")
    if word == "since_earlier":
        return replace(view, pick="earlier", what="since")
    if word in shape.qualifier:
        return replace(view, qualifier=word)
    return replace(view, pick=word) if word in _PICKS else None


def _is_whole(view: View, key: str, path: Path, scope: Scope) -> bool:
    """Whether a finding that is read in parts is asked for one attempt and one part; reports it where not."""
    shape = scope.subjects.findings.get(view.subject)
    if shape is None or not shape.readings or (view.attempt and view.part):
        return True
    parts = "|".join(shape.readings.parts)
    scope.report(path, "unknown-view", f"'{key}' is read in parts: write '{view.subject}.1.{parts}'")
    return False
