"""What the examiner can say to the family while looking, in the order of the exam."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.api import Pack
from layette.engine.pack.written.shapes import FindingsFile
from layette.engine.pack.written.spoken import Said
from layette.engine.terms import PRIORITIES
from layette.engine.visit.recordings import Readings
from layette.engine.visit.visit import Recorded, Visit
from layette.mapping.text.layout import Page
from layette.mapping.words.speech import Speech, marked

_FEW = 2
_NOTHING_FOUND = "none"
_NO_WORDS = "Nothing was recorded and nothing is open that there are words for."
_NOT_REVIEWED = (
    "[awaits review]: not for the family yet, since nobody who speaks the language has read it beside the English."
)


@dataclass(frozen=True)
class _Look:
    """What to say while looking, and how pressing the finding is (0: an emergency may wait for it)."""

    rank: int
    words: Said


@dataclass(frozen=True)
class _Talk:
    """What the words of a visit are chosen from: what was found, what is open, what reassures."""

    pack: Pack
    readings: Readings
    open: Mapping[str, int]
    """Finding -> place of the most pressing priority that waits for it."""
    reassurance: Mapping[str, Recommendation]
    speech: Speech


def render_saying(
    assessment: Assessment, pack: Pack, visit: Visit, *, width: int = 100, language: str = "en", full: bool = False
) -> str:
    """Return the words for the family, area by area, as text no wider than ``width`` columns (at least 40).

    ``assessment`` is the answer for ``visit``, by ``pack``. An area is printed where something was recorded at this
    visit or is open: first what was found and is normal, with what it means and when it goes, then up to two things
    to say while looking, chosen by how pressing the finding is; ``full`` gives all. ``language`` (``en``, ``es``)
    chooses the words where the pack has them; the others are in English. A text that awaits review says so behind it,
    and the top of the page says what that means; neither is read out.
    """
    speech = Speech(pack, language, {**pack.site.choices(pack.settings), **visit.settings})
    talk = _Talk(pack, Readings(visit, pack.findings), _open(assessment), _reassurance(assessment), speech)
    page = Page(max(width, 40), colour=False, full=full)
    page.put("TO SAY WHILE EXAMINING, in the order of the exam. These words explain; they decide nothing.", "")
    if language != "en":
        page.put(f"Language: {language}; English where the pack has no words in it.", "")
        if speech.awaits_review:
            page.put(_NOT_REVIEWED, "")
    _first(page, assessment)
    parts = [
        (area, variants, looks) for area in pack.areas for variants, looks in [_words(area, talk)] if variants or looks
    ]
    for area, variants, looks in parts:
        _area(page, area, variants, looks)
    if not parts:
        page.put(_NO_WORDS, "")
    return page.text()


def _area(page: Page, area: FindingsFile, found: Sequence[Said], looks: Sequence[_Look]) -> None:
    chosen = looks if page.full else sorted(sorted(looks, key=lambda one: one.rank)[:_FEW], key=looks.index)
    more = f" ({len(chosen)} of {len(looks)}, --all)" if len(chosen) < len(looks) else ""
    page.heading(f"{area.label}: {area.step}{more}" if looks else area.label)
    for words in found:
        page.put(marked(words), "  * ")
    page.several([marked(one.words) for one in chosen], len(chosen))


def _first(page: Page, assessment: Assessment) -> None:
    """Nothing is explained away before what cannot wait."""
    pressing = [one.label for one in assessment.recommendations if one.priority == "stat"]
    pressing += [one.label for one in assessment.to_chase]
    if pressing:
        page.put(f"ACT FIRST on what cannot wait: {'; '.join(dict.fromkeys(pressing))}.", "")


def _open(assessment: Assessment) -> dict[str, int]:
    found: dict[str, int] = {}
    for question in (one for step in assessment.steps for one in step.questions):
        name = question.finding.split(".")[0]
        found[name] = min(found.get(name, len(PRIORITIES)), PRIORITIES.index(question.worst))
    return found


def _reassurance(assessment: Assessment) -> dict[str, Recommendation]:
    """Return what reassures, by the finding that it is about: the first that its rule names; the rest are provisos."""
    return {
        reason.values[0].subject: one
        for one in assessment.reassurance
        for reason in one.reasons
        if reason.status == "fired" and reason.values
    }


def _words(area: FindingsFile, talk: _Talk) -> tuple[list[Said], list[_Look]]:
    """Return the words for what was found in an area, and those for looking."""
    found = list(dict.fromkeys(line for name in area.findings for line in _found(name, talk)))
    looks = [
        _Look(talk.open.get(name, len(PRIORITIES)), words)
        for name in area.findings
        if (words := talk.speech.say(name)) and _is_talked_about(name, talk)
    ]
    return found, looks


def _found(name: str, talk: _Talk) -> Iterator[Said]:
    """Yield the words for a normal variant, with the sides on which it was seen."""
    by_words: dict[Said, list[str]] = {}
    for reading in _recorded(name, talk):
        words = _variant(name, reading, talk)
        if words is not None:
            by_words.setdefault(words, []).append(reading.side)
    for words, sides in by_words.items():
        where = f", {' and '.join(sides)}" if all(sides) else ""
        yield words._replace(text=f"{talk.pack.findings[name].label}{where}: {words.text}")


def _variant(name: str, reading: Recorded, talk: _Talk) -> Said | None:
    """Return the words for a recorded value, None where it is no variant or not known exactly."""
    if not isinstance(reading.possible, frozenset) or len(reading.possible) != 1:
        return None
    (value,) = reading.possible
    own, reassuring = talk.speech.variant(name, value), talk.reassurance.get(name)
    return own if own is not None or reassuring is None else talk.speech.plain(reassuring.target)


def _is_talked_about(name: str, talk: _Talk) -> bool:
    """Whether a finding is open, or was recorded as something; a plain "none" needs no words."""
    return name in talk.open or any(reading.given != _NOTHING_FOUND for reading in _recorded(name, talk))


def _recorded(name: str, talk: _Talk) -> Iterable[Recorded]:
    """Return what counts of a finding, made at this visit, side by side."""
    shape = talk.pack.findings[name]
    if shape.readings:
        return ()
    latest = (talk.readings.latest(name, side).valued for side in shape.sides or ("",))
    return [reading for reading in latest if reading is not None and reading.here]
