"""What is asked alone stays in its own room: which findings, which rules, which lines of an answer speak of it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from layette.engine.answer.shapes.proposed import Due, Recommendation, ToJudge
from layette.engine.api import Pack
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.shapes import listed


class Room:
    """The private findings of a pack, the rules that hang on one, and the targets that only such rules lead to."""

    def __init__(self, pack: Pack) -> None:
        """Read the pack once."""
        self.findings = frozenset(name for name, shape in pack.findings.items() if shape.private)
        self._labels = [pack.findings[name].label for name in self.findings]
        self.rules = frozenset(self._hanging_on(pack))
        leading: dict[str, list[bool]] = {}
        for rule in pack.rules.values():
            for then in rule.shape.then:
                leading.setdefault(str(then.target), []).append(rule.shape.id in self.rules)
        self.targets = frozenset(target for target, private in leading.items() if all(private))

    def _hanging_on(self, pack: Pack) -> Iterator[str]:
        for instance, tested in zip(pack.instances, pack.plan.tested, strict=True):
            shape = instance.rule.shape
            unless = (key.split(".")[0] for key in keys_in(shape.unless))
            if self.findings.intersection([*tested, *unless, *listed(shape.due)]):
                yield shape.id

    def names(self, text: str) -> bool:
        """Whether a text names what is asked alone."""
        return any(label in text for label in self._labels)

    def holds(self, one: Recommendation | ToJudge | Due) -> bool:
        """Whether a line of an answer tells of what was, or will be, asked alone."""
        if isinstance(one, Recommendation):
            rules = {reason.rule for reason in one.reasons}
        else:
            rules = {one.rule} if isinstance(one, Due) else set(one.rules)
        return one.target in self.targets or bool({rule.partition("@")[0] for rule in rules} & self.rules)


@lru_cache(maxsize=8)
def room(pack: Pack) -> Room:
    """Return the private room of a pack, worked out once."""
    return Room(pack)
