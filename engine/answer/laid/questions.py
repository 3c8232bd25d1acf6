"""Questions that are open, each made once a pack: one visit after another waits for the same."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Literal, NamedTuple

from layette.engine.answer.shapes.detail import Question
from layette.engine.answer.shapes.part import known
from layette.engine.logic.residual import REMEMBERED
from layette.engine.terms import PRIORITIES, Priority

Asking = tuple[tuple[int, bool], ...]
"""The numbers of the rules that wait for one finding and side, each with whether one value of it alone settles it."""
State = Literal["not examined", "attempted", "too loose"]

_question = known(Question)


class Open(NamedTuple):
    """A question with its place among those of its step: the most pressing first, then what settles most."""

    place: tuple[int, int, str, str]
    question: Question


class Questions:
    """Makes the questions of a pack; it remembers them, and that dies with the pack."""

    def __init__(
        self, keys: Sequence[str], priorities: Sequence[Priority | None], label: Callable[[str, str], str]
    ) -> None:
        """Take the name and the priority of each rule, by number, and what says a finding and side in words."""
        self._keys, self._priorities, self._label = keys, priorities, label
        self.of = lru_cache(maxsize=REMEMBERED)(self._of)

    def _of(self, finding: str, side: str, state: State, reason: str | None, asking: Asking) -> Open:
        """Return what is open of a finding and side; ``reason`` says why it is known too loosely, or not at all."""
        priorities = {self._keys[number]: self._priorities[number] or "routine" for number, _ in asking}
        worst = min(map(PRIORITIES.index, priorities.values()))
        question = _question(
            finding=finding,
            side=side or None,
            label=self._label(finding, side),
            state=state,
            reason=reason,
            rules=tuple(sorted(priorities)),
            settles=tuple(sorted({self._keys[number] for number, alone in asking if alone})),
            emergencies=tuple(sorted(rule for rule, priority in priorities.items() if priority == "stat")),
            worst=PRIORITIES[worst],
        )
        return Open((worst, -len(priorities), finding, side), question)
