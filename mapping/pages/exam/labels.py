"""What things are called, by language: the English of the pack, and its translations where there are any."""

from __future__ import annotations

from collections.abc import Mapping

from layette.engine.api import Pack
from layette.engine.pack.written.shapes import FindingsFile
from layette.engine.pack.written.spoken import Said
from layette.engine.pack.written.translations import Translations

Words = Mapping[str, str]
"""A text by language; the English is always there."""


class Labels:
    """The labels of one pack in all its languages."""

    def __init__(self, pack: Pack) -> None:
        """Keep the translations of ``pack``."""
        self._pack = pack
        self._others: Mapping[str, Translations] = pack.translations

    def finding(self, name: str) -> Words:
        """Return what a finding is called."""
        return self._with(self._pack.findings[name].label, {one: t.labels.get(name) for one, t in self._others.items()})

    def system(self, name: str) -> Words:
        """Return what is charted as normal in one word."""
        return self._with(self._pack.normals[name].label, {one: t.systems.get(name) for one, t in self._others.items()})

    def area(self, area: FindingsFile) -> Words:
        """Return the name of an area."""
        return self._with(area.label, {one: t.areas.get(area.area) for one, t in self._others.items()})

    def step(self, area: FindingsFile) -> Words:
        """Return what is done in an area."""
        return self._with(area.step, {one: t.steps.get(area.area) for one, t in self._others.items()})

    def say(self, name: str) -> Words | None:
        """Return what the examiner can say while looking."""
        text = self._pack.findings[name].say
        return self._with(text, {one: t.say.get(name) for one, t in self._others.items()}) if text else None

    def variants(self, name: str) -> dict[str, Words]:
        """Return what each normal variant of a finding means."""
        return {
            value: self._with(text, {one: t.variant.get((name, value)) for one, t in self._others.items()})
            for value, text in self._pack.findings[name].variant.items()
        }

    def value(self, name: str, value: str) -> Words:
        """Return what a recorded value is called."""
        label = self._pack.label_of_value(name, value)
        return {"en": value.replace("_", " ")} if label is None else {"en": label.en, "es": label.es}

    def word(self, word: str) -> Words:
        """Return what a word that is no value of a finding is called, such as where a temperature was taken."""
        label = self._pack.value_labels.get(word)
        return {"en": word.replace("_", " ")} if label is None else {"en": label.en, "es": label.es}

    @staticmethod
    def _with(english: str, others: Mapping[str, Said | None]) -> Words:
        return {"en": english} | {language: said.text for language, said in others.items() if said}
