"""Coded answers: which of a finding's values a code, a word or a yes is meant to be."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from layette.engine.pack.written.shapes import FindingShape
from layette.mapping.codes import OWN, answer_words, common_words, uri
from layette.mapping.read.bundle.parts import codings, described, words
from layette.mapping.read.codes.amounts import ReadValue, Unclear, Wrong

YES = ("present", "positive", "detected", "yes")
NO = ("absent", "negative", "not_detected", "no", "none")
_OPEN = {
    "indeterminate": ("indeterminate", "equivocal", "inconclusive"),
    "unknown": ("unknown", "not_known", "status_not_known"),
    "performed": ("performed", "done", "completed"),
    "not_performed": ("not_performed", "not_done"),
}
_RANGES = {"in_range": "normal", "out_of_range": "abnormal"}
_REASONS = {"unknown": "unknown", "not_performed": "not-performed"}


class AnswerSheet:
    """The answers that one finding takes: by code, and by word."""

    def __init__(self, name: str, shape: FindingShape, base: str, site: Mapping[tuple[str, str], str]) -> None:
        """Prepare the answers of finding ``name``; ``site`` are a site's own codes for its values."""
        self.shape = shape
        self.base = base
        self.values = tuple(shape.values or ())
        self.known = tuple(value for value in self.values if value != shape.not_understood)
        self.coarse = coarse_values(shape)
        self.names = {plain(value): value for value in (*self.values, *self.coarse)}
        self.exact = {**self._meanings(), **self._own(name), **site}
        self.general = {key: self.word(word) for key, word in answer_words().items()}

    @property
    def expected(self) -> str:
        """The values, to be shown."""
        return "one of " + ", ".join(self.values)

    def _own(self, name: str) -> dict[tuple[str, str], str]:
        system = f"{self.base}/{OWN['findings']}"
        found = {}
        for value in self.names.values():
            for code in (f"{name}.{value}", value):
                found[(system, code)] = found[(system, code.replace("_", "-"))] = value
        return found

    def _meanings(self) -> dict[tuple[str, str], str]:
        stated: dict[tuple[str, str], set[str]] = {}
        for value, system, code in (*stated_codes(self.shape), *coded(self.shape.answers)):
            stated.setdefault((system, code), set()).add(value)
        found = {key: self.together(values) for key, values in stated.items()}
        return {key: value for key, value in found.items() if value is not None}

    def together(self, values: set[str]) -> str | None:
        """Return the one value, or the coarse value that stands for exactly these values."""
        if len(values) == 1:
            return next(iter(values))
        return next((word for word, meant in self.coarse.items() if set(meant) == values), None)

    def possible(self, value: str) -> set[str]:
        """Return the exact values that a value leaves open."""
        return set(self.coarse.get(value, (value,)))

    def concept(self, concept: object) -> ReadValue:
        """Read a CodeableConcept: our own code, a code that states a value, a general answer, at last the words."""
        exact: set[str] = set()
        general: list[ReadValue] = []
        foreign: Wrong | None = None
        for system, code, _ in codings(concept):
            value = self.exact.get((system, code))
            if value is not None:
                exact.add(value)
            elif (system, code) in self.general:
                general.append(self.general[(system, code)])
            elif system == f"{self.base}/{OWN['findings']}":
                foreign = Wrong("value", "this is no value of the finding", code, self.expected)
        if foreign:
            return foreign
        return self._chosen(exact, general) or self._by_words(concept)

    def _chosen(self, exact: set[str], general: list[ReadValue]) -> ReadValue | None:
        if len(exact) == 1 and not general:
            return {"value": next(iter(exact))}
        for answer in general:
            if isinstance(answer, Wrong) and not exact:
                return answer
        said = {a["value"] for a in general if isinstance(a, dict) and "value" in a}
        named = exact or said
        for value in named:
            if any(not self.possible(value) & self.possible(other) for other in exact | said):
                return Wrong(
                    "contradiction", "codes that say different things", ", ".join(sorted(exact | said)), "one value"
                )
        if named:
            return {"value": min(named, key=lambda value: (len(self.possible(value)), value))}
        return general[0] if general else None

    def _by_words(self, concept: object) -> ReadValue:
        code, said = described(concept)
        found = {name for word in words(concept) if (name := self._named(word))}
        if len(found) == 1:
            return {"value": found.pop()}
        return Unclear("an answer that this finding does not know", code, said)

    def string(self, value: str) -> ReadValue:
        """Read a text, which is understood only if it is the name of a value."""
        name = self._named(value)
        return {"value": name} if name else Unclear("a text that is none of the values", text=value)

    def _named(self, word: str) -> str | None:
        """Return the value that a word names, or that it commonly means where the finding has that value."""
        name = plain(word)
        return self.names.get(name) or self.names.get(plain(common_words().get(name, "")))

    def word(self, word: str) -> ReadValue:
        """Read a general answer such as ``present`` or ``normal``."""
        if word in self.names.values():
            return {"value": word}
        if word in _RANGES or word in ("normal", "abnormal"):
            return self._normal(_RANGES.get(word, word))
        if word in _OPEN:
            return self._open(word)
        return self._yes_or_no(word)

    def _normal(self, word: str) -> ReadValue:
        expected = as_set(self.shape.expected)
        meant = expected if word == "normal" else set(self.known) - expected
        value = self.together(meant) if expected else None
        return {"value": value} if value else Unclear(f"'{word}' does not say which of the values", text=word)

    def _open(self, word: str) -> ReadValue:
        found = [name for name in _OPEN[word] if name in self.values]
        if len(found) == 1:
            return {"value": found[0]}
        return {"absent": _REASONS[word]} if word in _REASONS else Unclear(f"'{word}' is none of the values", text=word)

    def _yes_or_no(self, word: str) -> ReadValue:
        yes = [value for value in self.values if value in YES]
        no = [value for value in self.values if value in NO]
        if not yes and not no:
            return Wrong("value", f"'{word}' is no value of the finding", word, self.expected)
        if as_set(self.shape.expected) & set(yes):
            return Unclear(f"'{word}' can be read either way, since '{yes[0]}' is the healthy value", text=word)
        alike = yes if word in YES else no
        value = alike[0] if len(alike) == 1 else None
        if value is None and word in YES and len(no) == 1:
            value = self.together(set(self.values) - set(no))
        return {"value": value} if value else Unclear(f"'{word}' does not say which of the values", text=word)

    def other_than(self, value: str) -> str | None:
        """Return the only value beside ``value``, if there is just one."""
        rest = set(self.known) - self.possible(value)
        return rest.pop() if len(rest) == 1 else None


def plain(value: str) -> str:
    """Return a value's name as people may write it: case, spaces, hyphens do not matter."""
    return " ".join(value.replace("_", " ").replace("-", " ").casefold().split())


def as_set(expected: str | list[str] | None) -> set[str]:
    """Return what is expected as a set."""
    return {expected} if isinstance(expected, str) else set(expected or ())


def coarse_values(shape: FindingShape) -> dict[str, tuple[str, ...]]:
    """Return the less exact values that may be recorded; ``abnormal`` exists where something is expected."""
    found = {word: tuple(values) for word, values in shape.coarse.items()}
    unlike = {shape.not_understood, *as_set(shape.expected)}
    rest = tuple(value for value in shape.values or () if value not in unlike)
    if shape.expected is not None and rest and "abnormal" not in (shape.values or ()):
        found.setdefault("abnormal", rest)
    return found


def stated_codes(shape: FindingShape) -> Iterable[tuple[str, str, str]]:
    """Yield each code that states a value by itself: value, system URI, code."""
    yield from coded(shape.means)


def coded(values: Mapping[str, Mapping[str, str | list[str]]]) -> Iterable[tuple[str, str, str]]:
    """Yield value, system URI, code of a pack's codes by value."""
    for value, systems in values.items():
        for system, code in pairs(systems):
            yield value, system, code


def pairs(systems: Mapping[str, str | list[str]]) -> Iterable[tuple[str, str]]:
    """Yield (system URI, code) of a pack's ``codes``."""
    for short, codes in systems.items():
        for code in [codes] if isinstance(codes, str) else codes:
            yield uri(short), code
