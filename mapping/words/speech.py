"""The words of a pack in the language asked for, in English where it has none in it, with the choices in force."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from layette.engine.answer.laid.told import AWAITS
from layette.engine.api import Pack
from layette.engine.pack.family_texts import family_texts
from layette.engine.pack.written.spoken import Said, filled, said
from layette.engine.pack.written.translations import Translations


def marked(one: Said) -> str:
    """Return a text with its mark, if nobody who speaks the language has read it yet."""
    return one.text + (AWAITS if one.review else "")


@dataclass(frozen=True)
class Speech:
    """What a pack says in one language; ``choices`` is the choice in force for every setting."""

    pack: Pack
    language: str
    choices: Mapping[str, str]

    def say(self, finding: str) -> Said | None:
        """Return what is said while looking at a finding; None where nothing is."""
        own = self.pack.findings[finding].say
        return self._filled(self._translated.say.get(finding), own)

    def own_say(self, finding: str) -> Said | None:
        """Return what is said while looking in this very language; None where it has none."""
        is_first = self.language == self.pack.shape.languages[0]
        return self.say(finding) if is_first or finding in self._translated.say else None

    def variant(self, finding: str, value: str) -> Said | None:
        """Return what a normal variant means; None where the value is none."""
        own = self.pack.findings[finding].variant.get(value)
        return self._filled(self._translated.variant.get((finding, value)), own)

    def plain(self, target: str) -> Said | None:
        """Return a target's words for the family; None where it has none."""
        words = self.pack.targets[target].plain
        for language in dict.fromkeys((self.language, *self.pack.shape.languages)):
            one = said(words, language)
            if one is not None:
                return filled(one, language, self.pack.settings, self.choices)
        return None

    def topic(self, target: str, label: str) -> str:
        """Return the name of what is told, else ``label``."""
        one = self._translated.topics.get(target)
        return label if one is None else one.text

    def heading(self, words: str) -> str:
        """Return a heading over what is told, else ``words`` themselves."""
        one = self._translated.headings.get(words)
        return words if one is None else one.text

    @property
    def awaits_review(self) -> bool:
        """Whether there is a text in this language that nobody who speaks it has read yet."""
        return any(self.language in one.texts and one.texts[self.language].review for one in family_texts(self.pack))

    @property
    def _translated(self) -> Translations:
        return self.pack.translations.get(self.language, Translations())

    def _filled(self, translated: Said | None, own: str | None) -> Said | None:
        if own is None:
            return None
        first = self.pack.shape.languages[0]
        one, language = (Said(own), first) if translated is None else (translated, self.language)
        return filled(one, language, self.pack.settings, self.choices)
