"""What the family is asked before the visit, as a form to fill in on a phone or on paper.

One self-contained page that sends nothing and keeps nothing: its answers are given as a file, which the exam page opens
as told by the family (`mapping/pages/exam/told.py`). When to call instead stands first. Every question is the pack's.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, NamedTuple

from markupsafe import Markup

from layette.engine.api import Pack
from layette.engine.pack.written.spoken import Said
from layette.engine.pack.written.spoken import filled as with_settings
from layette.mapping.pages.exam.told import VERSION
from layette.mapping.pages.family_words import FamilyWords, family_words
from layette.mapping.pages.form_questions import MAY_SKIP, Asked, asked_of_family, question, sections
from layette.mapping.pages.frame import filled, script, style
from layette.mapping.words.speech import Speech

SCRIPT = "family_form.js"
"""The one script of the page, under `/assets/` where it is served."""

_DANGER = ("when_to_call", "fever_call")
_TO_FILL_IN = "_" * 24


class Section(NamedTuple):
    """One part of the form; ``skip``: not to answer is offered as an answer."""

    heading: str
    intro: str
    questions: list[Asked]
    skip: bool


@lru_cache(maxsize=16)
def family_form(pack: Pack, language: str = "en", *, apart: bool = False, served: bool = False) -> str:
    """Return a form as HTML. ``apart``: the one that is filled in alone. ``served``: its script is asked for."""
    words = family_words(language)
    choices = pack.site.choices(pack.settings)
    own = {**words["form"], **(words["form"]["apart"] if apart else {})}

    def say(text: str) -> str:
        return with_settings(Said(text), language, pack.settings, choices).text if "{setting." in text else text

    parts = [("alone", asked_of_family(pack, apart=True))] if apart else list(sections(pack))
    return filled(
        "family_form",
        style=Markup(style("paper") + style("family_form")),
        script="" if served else Markup(script("family_form")),
        words={name: say(text) if isinstance(text, str) else text for name, text in own.items()},
        language=words.language,
        awaits=words["awaits"],
        urgent=say(own["danger"]) if apart else _danger(pack, Speech(pack, language, choices)),
        numbers=_numbers(pack, words, say),
        warning=say(own["warning"]),
        born="" if apart else own["born"],
        sections=[_section(pack, part, names, own["sections"][part], words) for part, names in parts],
        apart=apart,
        told=VERSION,
        file=own["file"],
    )


def _section(pack: Pack, part: str, names: list[str], said: dict[str, Any], words: FamilyWords) -> Section:
    asked = [question(pack, name, words) for name in names]
    return Section(said["heading"], said.get("intro", ""), asked, part in MAY_SKIP)


def _danger(pack: Pack, speech: Speech) -> str:
    """Return the signs for which to call and not to fill anything in, in the words of the pack."""
    told = [speech.plain(name) for name in _DANGER if name in pack.targets]
    return " ".join(one.text for one in told if one)


def _numbers(pack: Pack, words: FamilyWords, say: Any) -> str:
    """Return the numbers to call; a clinic that gave none has a line to write its own on."""
    clinic = "; ".join(f"{who} {how}" for who, how in pack.site.contacts.items())
    clinic = clinic or (say("{setting.clinic_line}") if "clinic_line" in pack.settings else "")
    clinic = clinic if any(sign.isdigit() for sign in clinic) else _TO_FILL_IN
    emergency = say("{setting.emergency_number}") if "emergency_number" in pack.settings else _TO_FILL_IN
    return words.say("call", emergency=emergency, clinic=clinic)
