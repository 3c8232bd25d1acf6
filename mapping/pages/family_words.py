"""The words of the pages for families that are not the pack's own, in each language that they are written in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

import yaml

_DAY, _WEEK = 24, 7 * 24


@dataclass(frozen=True)
class FamilyWords:
    """The words of one language, by name; a name that is not there is a KeyError."""

    language: str
    texts: dict[str, Any]

    def __getitem__(self, name: str) -> Any:
        """Return a text, or the texts of one kind."""
        return self.texts[name]

    def say(self, name: str, **values: object) -> str:
        """Return a text with its values."""
        return str(self.texts[name]).format(**values)

    def day(self, when: datetime) -> str:
        """Return a day as people say it."""
        month = self.texts["months"][when.month - 1]
        return self.say("date", weekday=self.texts["days"][when.weekday()], month=month, day=when.day)

    def age(self, hours: float) -> str:
        """Return an age in the largest unit of which there are at least two."""
        for size, name in ((_WEEK, "weeks_old"), (_DAY, "days_old")):
            if hours >= 2 * size:
                return self.say(name, n=int(hours // size))
        return self.say("hours", n=int(hours))


@cache
def _all() -> dict[str, dict[str, Any]]:
    text = (files(__package__) / "family_words.yaml").read_text("utf-8")
    return dict(yaml.safe_load(text))


def family_words(language: str) -> FamilyWords:
    """Return the words of a language, in English where this page has none in it."""
    return FamilyWords(language if language in _all() else "en", _all().get(language) or _all()["en"])


def languages() -> tuple[str, ...]:
    """Return the languages in which there are words."""
    return tuple(_all())
