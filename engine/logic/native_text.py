"""Conditions as Python expressions over local variables ``s0``, ``s1``, ...: the text of the generated reader.

Tests are joined so that the answer is found soonest. What is known at every visit (settings, age, sex) tends to rule a
rule out; what is mostly unknown leaves it open.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State

_VARIABLE = re.compile(r"s(\d+)")


@dataclass(frozen=True, slots=True)
class Wording:
    """``full``: for each variable, all its atoms. ``known``: the variables that are known at every visit."""

    full: Sequence[State]
    known: Collection[int] = frozenset()

    def may(self, node: Node) -> str:
        """Return an expression that is true where ``node`` could hold."""
        match node:
            case Among(var, mask):
                return self._overlap(var, mask)
            case Not(part):
                return _not(self.must(part))
            case AllOf(parts):
                return self._joined("and", map(self.may, parts), known_first=True)
            case AnyOf(parts):
                return self._joined("or", map(self.may, parts), known_first=False)

    def must(self, node: Node) -> str:
        """Return an expression that is true where ``node`` holds whatever the unknown turn out to be."""
        match node:
            case Among(var, mask):
                return _not(self._overlap(var, self.full[var] & ~mask))
            case Not(part):
                return _not(self.may(part))
            case AllOf(parts):
                return self._joined("and", map(self.must, parts), known_first=False)
            case AnyOf(parts):
                return self._joined("or", map(self.must, parts), known_first=True)

    def _overlap(self, var: int, mask: State) -> str:
        """Whether the state has an atom in ``mask``: known at once where the mask is empty or full."""
        full = self.full[var]
        if mask & full == 0:
            return "False"
        return "True" if mask & full == full else f"s{var} & {mask & full}"

    def _joined(self, word: str, texts: Iterator[str], *, known_first: bool) -> str:
        """Join with `and` or `or`, without the constants that change nothing; the shorter tests stand first."""
        neutral, settling = ("True", "False") if word == "and" else ("False", "True")
        kept = [text for text in dict.fromkeys(texts) if text != neutral]
        if settling in kept:
            return settling
        kept.sort(key=lambda text: (self._known(text) is not known_first, len(text)))
        return f"({f' {word} '.join(kept)})" if len(kept) > 1 else "".join(kept) or neutral

    def _known(self, text: str) -> bool:
        return all(int(var) in self.known for var in _VARIABLE.findall(text))


def _not(text: str) -> str:
    return {"True": "False", "False": "True"}.get(text, f"(not ({text}))")
