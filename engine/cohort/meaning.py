"""What the value of a view hangs on: two packs share it where these definitions are the same."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Iterator, Mapping

from layette.engine.logic.conditions import variables
from layette.engine.pack.written.subjects import inputs_of
from layette.engine.pack.written.views import View
from layette.engine.states.plan import StatesPlan

_DIGITS = 16
_WORDS = {"label", "say", "variant", "note", "ask", "by_hand", "private", "question", "how", "value_labels"}
"""What is said of a finding, on which no value of it hangs."""


class Meanings:
    """The digests of what the views of a pack hang on, under the choices in force."""

    def __init__(self, plan: StatesPlan) -> None:
        """Look at the pack of ``plan``."""
        self.plan, self.pack = plan, plan.pack
        self._known: dict[str, str] = {}
        self._tables = {name: _digest(pickle.dumps(table)) for name, table in plan.pack.tables.items()}

    def of(self, view: View) -> str:
        """Return the digest of a view."""
        told = [self._subject(view.subject)]
        if view.line:
            told.append(self._subject(view.line))
        return _digest(repr((view, told)).encode())

    def all(self) -> Mapping[str, str]:
        """Return the digest of each variable, by the key of its view."""
        return {entry.view.key: self.of(entry.view) for entry in self.pack.table.entries}

    def _subject(self, name: str) -> str:
        """Return the digest of a finding, measure, conclusion or setting, and of all that it is made of."""
        if name not in self._known:
            self._known[name] = name  # what asks for itself on the way adds nothing
            self._known[name] = _digest(repr([name, *self._told(name)]).encode())
        return self._known[name]

    def _told(self, name: str) -> Iterator[str]:
        pack = self.pack
        yield str(pack.site.timezone)
        if name in pack.measures:
            shape = pack.measures[name]
            yield repr(shape)
            words = [str(word) for word in (shape.model_extra or {}).values()]
            for word in (*words, *(self.plan.choices.get(word, "") for word in words)):
                yield self._tables.get(word, word)
            for part in (*inputs_of(shape), *words):
                subject = part.partition(".")[0]
                if subject in pack.findings or subject in pack.measures:
                    yield self._subject(subject)
        if name in pack.findings:
            yield repr(pack.findings[name].model_dump(exclude=_WORDS))
            yield repr(pack.subjects.normals)
            yield from (repr(pack.instances[number].rule.shape) for number in self.plan.concluding.get(name, ()))
            yield from map(self._subject, self._tested(name))

    def _tested(self, name: str) -> Iterator[str]:
        """Yield what the guard of a finding tests, and what the rules test that conclude it."""
        entries = self.pack.table.entries
        nodes = [self.pack.guards[name]] if name in self.pack.guards else []
        for rule in self.plan.concluders.get(name, ()):
            nodes += [rule.applies, rule.when]
        found = {entries[var].view.subject: None for node in nodes for var in variables(node)}
        yield from found


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:_DIGITS]
