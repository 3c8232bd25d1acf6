"""What the family keeps: two pages at most, in large type and plain words.

Every sentence about the baby is the pack's own (`plain`, in the language asked for); what is not written for families
is not put on the sheet. Nothing that the mother answered stands on it, nor anything that follows from it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from itertools import zip_longest
from typing import Any, NamedTuple

from markupsafe import Markup

from layette.engine.answer.laid.told import AWAITS
from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.api import Pack
from layette.mapping.pages.diapers import expected_diapers
from layette.mapping.pages.family_pictures import PICTURES
from layette.mapping.pages.family_words import FamilyWords, family_words
from layette.mapping.pages.figures.readings import value
from layette.mapping.pages.frame import filled, print_size, style
from layette.mapping.text.about import About
from layette.mapping.words.speech import Speech

MOST_LETTERS = 3300
"""Letters that two pages hold in large type beside the table and the drawings; a topic beyond them is named alone."""

PRINTED = (11.4, 10.0)
"""The size of the type on paper, and the least to which it goes where much is to be done."""
_REST_OF_A_LINE = 40
"""Letters for which there were room on the last line of a thing."""

_FIRST = ("when_to_call",)
_TO_FILL_IN = "_" * 24
"""Where a number is written by hand, of a clinic that gave none."""

_NOW, _FAR = "now", "by a date"
"""The deadlines of the answer that the sheet words otherwise than by their day."""
_Days = tuple[str, str]
"""From when and until when, in ISO times; an end that is not known is empty."""
_ORDER = ("when to call", "feeding", "safety", "daily care", "parents")


class Told(NamedTuple):
    """One thing with its words; ``when`` is a day in words, or nothing."""

    name: str
    words: str
    when: str = ""


def family_sheet(assessment: Assessment, pack: Pack, flat: Mapping[str, Any], language: str = "en") -> str:
    """Return the sheet as HTML that needs nothing else. ``flat`` is the visit that ``pack`` assessed."""
    words = family_words(language)
    choices = {one.id: one.choice for one in assessment.settings}
    sheet = _Sheet(assessment, pack, flat, words, Speech(pack, language, choices))
    urgent, next_steps, saw, come = sheet.urgent(), list(sheet.next()), sheet.saw(), sheet.come_back()
    room = MOST_LETTERS - len(urgent) - _letters(next_steps + saw + come)
    spoken, named = sheet.advice(room)
    return filled(
        "family_sheet",
        style=Markup(style("paper") + style("family_sheet") + print_size(PRINTED, MOST_LETTERS - room, MOST_LETTERS)),
        words=words,
        visit=words.say("visit", day=words.day(sheet.today), age=words.age(sheet.hours)),
        numbers=words.say("call", emergency=sheet.setting("emergency_number"), clinic=sheet.clinic()),
        urgent=urgent,
        next=next_steps,
        saw=saw,
        diapers=list(expected_diapers(pack, assessment)),
        come=come,
        advice=spoken,
        also=words.say("also", what=" · ".join(named)) if named else "",
        pictures=[(Markup(PICTURES[name]), text) for name, text in words["pictures"].items() if sheet.shows(name)],
        pack=assessment.pack,
    )


class _Sheet:
    """What the parts of one sheet are made of."""

    def __init__(
        self, assessment: Assessment, pack: Pack, flat: Mapping[str, Any], words: FamilyWords, speech: Speech
    ) -> None:
        self.assessment, self.pack, self.words, self.speech = assessment, pack, words, speech
        self._about = About.of(pack, None)
        self.today = datetime.fromisoformat(assessment.at)
        born = datetime.fromisoformat(assessment.born)
        born = born if born.tzinfo else born.replace(tzinfo=self.today.tzinfo)
        self.hours = (self.today - born).total_seconds() / 3600
        self._fed = value(pack.read_visit(flat, assessment.at), "feeding_type")
        self._hers = {name for name, shape in pack.findings.items() if shape.private or shape.subject == "mother"}
        blind = pack.assess(_without(flat, self._hers), assessment.at)
        self._due_anyhow = {due.target for due in blind.due}
        self._asked_anyhow = {(one.target, one.side) for one in blind.recommendations} | {
            (due.target, None) for due in blind.due
        }

    def shows(self, picture: str) -> bool:
        """Whether a picture says something to this family: that of the breast not where the baby has formula alone."""
        return picture != "latch" or self._fed != "formula_only"

    def setting(self, name: str) -> str:
        """Return the words of the choice in force of a setting, such as a number to call."""
        choice = self.pack.settings[name].choices[self.speech.choices[name]] if name in self.pack.settings else None
        said = (choice.words or {}).get(self.words.language) if choice else None
        return str(getattr(said, "text", said) or "")

    def clinic(self) -> str:
        """Return how families reach the clinic: by the words of the setting, else by the site's contacts."""
        contacts = "; ".join(f"{who} {how}" for who, how in self.assessment.contacts.items())
        numbered = [told for told in (self.setting("clinic_line"), contacts) if any(sign.isdigit() for sign in told)]
        return numbered[0] if numbered else _TO_FILL_IN

    def urgent(self) -> str:
        """Return the signs for which to get help at once."""
        said = [self._words(one) for one in self.assessment.guidance if one.target in _FIRST]
        return said[0] if said else next((self._plain(name) for name in _FIRST if name in self.pack.targets), "")

    def next(self) -> Iterator[Told]:
        """Yield what is done for the baby now and by the next days, where it can be said to a family."""
        for group in self.assessment.do:
            for one in group.items:
                later = group.deadline == _FAR and self._is_ahead(one)
                if not later and self._may_be_told(one) and not self._is_done_here(one):
                    yield Told(self._named(one), self._words(one), self._when(one, now=group.deadline == _NOW))

    def saw(self) -> list[Told]:
        """Return what was found and is normal, with what it means and when it goes."""
        return [
            Told(self._topic(one), self._words(one))
            for one in self.assessment.reassurance if self._may_be_told(one)
        ]  # fmt: skip

    def come_back(self) -> list[Told]:
        """Return each visit to come and each thing that is to be done by a date, by their days, with what it is for."""
        told = sorted([*self._visits(), *self._ordered()], key=lambda one: (one[0][1] or one[0][0], one[0][0]))
        return list(dict.fromkeys(Told(self._days(start, until), what) for (start, until), what in told))

    def _ordered(self) -> Iterator[tuple[_Days, str]]:
        """Yield what is ordered for the baby by a later date, such as the picture of the hips at six weeks."""
        for one in (one for group in self.assessment.do if group.deadline == _FAR for one in group.items):
            if one.kind != "recheck" and self._is_ahead(one) and not self._is_done_here(one):
                days = one.window.start or self.assessment.at, one.window.until or ""
                if self._may_be_told(one):
                    yield days, self._named(one)
                elif self._is_the_babys(one):
                    yield days, str(self.words["unnamed"])

    def _visits(self) -> Iterator[tuple[_Days, str]]:
        """Yield each visit with what it is for; one that follows from what is the mother's has its days alone."""
        hidden = {(one.target, one.side) for one in self.assessment.recommendations if not self._may_be_told(one)}
        later = [due for due in self.assessment.due if due.state == "later"]
        babys = [due for due in later if due.subject == "baby" and due.target in self._due_anyhow]
        mothers = {due.label for due in later} - {due.label for due in babys}
        unnamed = {due.label for due in later if due.subject == "baby"} - {due.label for due in babys}
        kept_apart = {one.target for one in self.assessment.recommendations if self._is_the_babys(one)}
        for visit in self.assessment.come_back:
            names = [
                name
                for item in visit.items
                if (item.target, item.side) not in hidden and (item.target or item.label not in mothers)
                for name in self._about.visit_names(item, visit, babys, self.speech.topic, self.words["sides"])
            ]
            days = visit.start, visit.until or ""
            if names:
                yield days, " · ".join(dict.fromkeys(names))
            elif any(item.target in kept_apart if item.target else item.label in unnamed for item in visit.items):
                yield days, str(self.words["unnamed"])

    def advice(self, room: int) -> tuple[list[tuple[str, list[Told]]], list[str]]:
        """Return the advice owed by heading, as much as there is room for in letters, and the names of the rest.

        Each heading gives its first topic, then each its second, so that no heading takes all the room.
        """
        groups = sorted(self.assessment.tell_family, key=lambda group: _place(group.heading))
        topics = [
            [one for one in group.topics if one.target not in _FIRST and self._may_be_told(one)] for group in groups
        ]
        kept = set[str]()
        for one in (one for row in zip_longest(*topics) for one in row if one is not None):
            length = _letters([Told(self._topic(one), self._words(one))])
            if self._words(one) and length <= room:
                kept.add(one.target)
                room -= length
            else:
                room -= len(self._topic(one)) // 2
        spoken = [
            (
                self.speech.heading(group.heading),
                [Told(self._topic(one), self._words(one)) for one in mine if one.target in kept],
            )
            for group, mine in zip(groups, topics, strict=True)
        ]
        named = [self._topic(one) for mine in topics for one in mine if one.target not in kept]
        return [(heading, told) for heading, told in spoken if told], named

    def _topic(self, one: Recommendation) -> str:
        return self.speech.topic(one.target, one.label)

    def _may_be_told(self, one: Recommendation) -> bool:
        """Whether it may go home on paper: one of its reasons reads nothing that is the mother's or was asked alone.

        The sheet gives no reasons: what is also asked for because of hers is said for the baby's, else an emergency
        would be left off it.
        """
        shape = self.pack.targets.get(one.target)
        if shape is not None and shape.private:
            return False
        read = [{used.subject.partition(".")[0] for used in reason.values} for reason in one.reasons]
        general = one.kind == "guide"  # words that every family hears, whoever they are about
        anyhow = (one.target, one.side) in self._asked_anyhow  # of every such baby, whatever she answered
        told = anyhow or not read or any(not subjects & self._hers for subjects in read)
        return told and (one.subject == "baby" or general)

    def _is_the_babys(self, one: Recommendation) -> bool:
        """Whether it is care of the baby, though the sheet may not say what for."""
        shape = self.pack.targets.get(one.target)
        return one.subject == "baby" and not (shape is not None and shape.private)

    def _is_done_here(self, one: Recommendation) -> bool:
        return one.performer == "examiner" and not self._words(one)

    def _is_ahead(self, one: Recommendation) -> bool:
        """Whether it is for another day: it begins later, or ends later."""
        return max(one.window.start or "", one.window.until or "")[:10] > self.assessment.at[:10]

    def _named(self, one: Recommendation) -> str:
        shape = self.pack.targets.get(one.target)
        kinds = {"refer": "first" if shape is not None and shape.foremost else "specialist", "recheck": "again"}
        what = self._topic(one) + (f", {self.words['sides'][one.side]}" if one.side else "")
        return self.words.say(kinds[one.kind], what=what) if one.kind in kinds else what

    def _when(self, one: Recommendation, *, now: bool) -> str:
        until = one.window.until
        if until is None or until[:10] <= self.assessment.at[:10]:
            return str(self.words["right_now" if now else "today"])
        return self.words.say("by", day=self._day(until))

    def _days(self, start: str, until: str) -> str:
        first, last = self._day(start), self._day(until) if until else ""
        if not last:
            return self.words.say("from", day=first)
        if start[:10] <= self.assessment.at[:10]:
            return self.words.say("by", day=last)
        return first if first == last else f"{first} – {last}"

    def _day(self, time: str) -> str:
        return self.words.day(datetime.fromisoformat(time))

    def _words(self, one: Recommendation) -> str:
        return self._plain(one.target) or one.plain.get(self.words.language, "").removesuffix(AWAITS)

    def _plain(self, target: str) -> str:
        said = self.speech.plain(target) if target in self.pack.targets else None
        return said.text if said else ""


def _without(flat: Mapping[str, Any], hers: set[str]) -> dict[str, Any]:
    """Return a visit as it would be had the mother been asked nothing: what is due then tells nothing of her."""
    told = {name: part for name, part in flat.items() if name != "history"}
    told["findings"] = _of_others(flat.get("findings"), hers)
    history = dict(flat.get("history") or {})
    return told | {"history": history | {"findings": _of_others(history.get("findings"), hers)}}


def _of_others(findings: Mapping[str, Any] | None, hers: set[str]) -> dict[str, Any]:
    return {key: part for key, part in (findings or {}).items() if key.partition(".")[0] not in hers}


def _letters(parts: Iterable[Told]) -> int:
    return sum(len(part.name) + len(part.words) + _REST_OF_A_LINE for part in parts)


def _place(heading: str) -> int:
    return _ORDER.index(heading) if heading in _ORDER else len(_ORDER)
