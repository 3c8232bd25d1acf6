"""The exam as a Questionnaire: the areas in exam order, a question for each finding and side, no answer presumed.

Each question can be answered with a reason why there is no answer; what is left open is not examined. A system that is
as expected is one touch. An answer may carry its own time where that decides; what is looked at has that of the visit.

A form server that turns answers into Observations looks at the answer alone, so it is told to do so only where nothing
stands beside an answer that would be lost: its own time, its route, that the family told it. Else a weight of last week
would become one of today. `mapping.read` reads the response itself, with all that is in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from layette.engine.pack.written.shapes import FindingsFile, FindingShape, NormalShape, Side
from layette.engine.pack.written.subjects import SEX, SEXES
from layette.mapping.codes import ABSENT_REASON, OWN, SYSTEMS
from layette.mapping.export.enabled import enabled
from layette.mapping.export.publication import Publication, Resource
from layette.mapping.export.value_sets import ABSENT, ABSENT_SET, answers
from layette.mapping.read.codes.exam_form import exam_id, link
from layette.mapping.words.rules import UNITS
from layette.mapping.words.speech import Speech, marked
from layette.mapping.write.words import concepts, spoken

_EXTENSION = "http://hl7.org/fhir/StructureDefinition/"
_CONTROL = "http://hl7.org/fhir/questionnaire-item-control"
_ABOUT = "about"
_EXTRACT = "http://hl7.org/fhir/uv/sdc/StructureDefinition/sdc-questionnaire-observationExtract"
"""Says that a coded question may be turned into an Observation of that code.

Read in HL7's guide Structured Data Capture 3.0.0 and 4.0.0 (built on R4): on the Questionnaire or an item, a boolean.
"""


def questionnaire(pub: Publication) -> Resource:
    """Return the Questionnaire of a pack's exam; `mapping.read` reads the responses to it."""
    name = exam_id(pub.pack.id)
    about = "The exam in its order: what is looked at, asked and measured. A question left open counts as not examined."
    return pub.head("Questionnaire", name, f"{pub.pack.shape.title}: the exam", about) | {
        "subjectType": ["Patient"],
        "effectivePeriod": {"start": pub.pack.shape.valid_from},
        "item": [_baby(pub), *(_area(pub, area) for area in pub.pack.areas)],
    }


def _baby(pub: Publication) -> Resource:
    options = [_option(pub, f"{SEX}.{one}", one) for one in SEXES]
    question = {
        "linkId": SEX,
        "text": "Sex at birth, where the patient's record does not say it",
        "type": "choice",
        "answerOption": options,
    }
    return {"linkId": f"area:{_ABOUT}", "text": "The newborn", "type": "group", "item": [question]}


def _area(pub: Publication, area: FindingsFile) -> Resource:
    name = f"area:{area.area}"
    step = {"linkId": f"{name}.step", "text": area.step, "type": "display"}
    touches = [_touch(pub, system, normal) for system, normal in area.normal.items() if normal.spreads]
    items = [item for finding, shape in area.findings.items() for item in _finding(pub, finding, shape)]
    return {"linkId": name, "text": area.label, "type": "group", "item": [step, *touches, *items]}


def _touch(pub: Publication, system: str, normal: NormalShape) -> Resource:
    """Return the question that stands for all that a system's normal fills; what is answered by itself comes first."""
    filled = "; ".join(pub.pack.findings[name].label for name in normal.spreads)
    text = f"{normal.label}: looked at or asked, and as expected ({filled})"
    options = [_option(pub, f"{system}.{answer}", answer) for answer in ("normal", "abnormal")]
    return {"linkId": system, "text": text, "type": "choice", "answerOption": options}


def _finding(pub: Publication, name: str, shape: FindingShape) -> Iterator[Resource]:
    if shape.readings is not None:
        yield _attempt(pub, name, shape) | enabled(pub, shape)
    elif shape.sides:
        sides = [item for side in shape.sides for item in _question(pub, name, shape, side)]
        group = {
            "linkId": name,
            "code": _codes(pub, name, shape.label, shape.codes),
            "text": shape.label,
            "type": "group",
        }
        yield group | {"item": [*_help(pub, name, name), *sides]} | enabled(pub, shape)
    else:
        yield from (item | enabled(pub, shape) for item in _question(pub, name, shape, None))


def _question(pub: Publication, name: str, shape: FindingShape, side: Side | None) -> Iterator[Resource]:
    here = link(name, side)
    label = f"{shape.label}, {side}" if side else shape.label
    published = {**shape.codes, **(shape.side_codes.get(side, {}) if side else {})}
    item = {"linkId": here, "code": _codes(pub, here, label, published), "text": label}
    item |= _asked(pub, name, shape)
    beside = _beside(pub, here, name, shape)
    if not beside:
        item["extension"] = [*item.get("extension", ()), {"url": _EXTRACT, "valueBoolean": True}]
    below: list[Resource] = [*([] if side else _help(pub, here, name)), *beside]
    yield item | ({"item": below} if below else {})
    if shape.number is not None:
        yield _why_not(pub, here, label)


def _asked(pub: Publication, name: str, shape: FindingShape) -> Resource:
    """Return type and options of a question: a quantity in any accepted unit, or one of the named values."""
    if shape.number is not None:
        units = dict.fromkeys((shape.number.unit, *shape.number.accepts))
        return {"extension": [_unit(unit) for unit in units], "type": "quantity", "repeats": True}
    named = [_option(pub, code, display) for code, display in answers(pub, name).items()]
    return {"type": "choice", "answerOption": [*named, *_no_answers()]}


def _unit(unit: str) -> Resource:
    coding = {"system": SYSTEMS["ucum"], "code": unit, "display": UNITS.get(unit) or unit}
    return {"url": f"{_EXTENSION}questionnaire-unitOption", "valueCoding": coding}


def _option(pub: Publication, code: str, display: str) -> Resource:
    return {"valueCoding": {"system": pub.system(OWN["findings"]), "code": code, "display": display}}


def _no_answers() -> list[Resource]:
    return [
        {"valueCoding": {"system": ABSENT_REASON, "code": code, "display": display}} for code, display in ABSENT.items()
    ]


def _why_not(pub: Publication, here: str, label: str) -> Resource:
    return {
        "linkId": link(here, "absent"),
        "text": f"{label}: why there is no value",
        "type": "choice",
        "answerValueSet": pub.canonical("ValueSet", ABSENT_SET),
    }


def _attempt(pub: Publication, name: str, shape: FindingShape) -> Resource:
    """Return a repeating group: one attempt at a finding that is read in parts."""
    assert shape.readings is not None
    items: list[Resource] = _help(pub, name, name)
    for part in shape.readings.parts:
        here, label = link(name, part), f"{shape.label}, {part.replace('_', ' ')}"
        code = _codes(pub, here, label, shape.part_codes.get(part, {}))
        asked = _asked(pub, name, shape) | {"repeats": False}
        items += [{"linkId": here, "code": code, "text": label} | asked, _why_not(pub, here, label)]
    items += [_why_not(pub, name, shape.label), *_beside(pub, name, name, shape)]
    head = {"linkId": name, "code": _codes(pub, name, shape.label, shape.codes), "text": shape.label, "type": "group"}
    return head | {"repeats": True, "item": items}


def _beside(pub: Publication, here: str, name: str, shape: FindingShape) -> list[Resource]:
    """Return what may go along with an answer: its time, its qualifiers, and whether the family told it."""
    items = [_qualifier(pub, here, name, one, values) for one, values in shape.qualifier.items()]
    if shape.reported:
        told = "Told by the family, not seen by the examiner"
        items.append({"linkId": link(here, "reported"), "text": told, "type": "boolean"})
    return [*items, *_time(here, shape)]


def _qualifier(pub: Publication, here: str, name: str, one: str, values: list[str]) -> Resource:
    options = [_option(pub, f"{name}.{one}.{value}", value.replace("_", " ")) for value in values]
    text = one.replace("_", " ").capitalize()
    return {"linkId": link(here, one), "text": text, "type": "choice", "answerOption": options}


def _time(here: str, shape: FindingShape) -> list[Resource]:
    """Return the item for a time, where it can be another than the visit's; `mapping.read` takes one anywhere."""
    if shape.number or shape.carries_over or shape.awaited:
        text = "Date or time, if not at this visit"
        return [{"linkId": link(here, "time"), "text": text, "type": "dateTime"}]
    return []


def _help(pub: Publication, here: str, name: str) -> list[Resource]:
    """Return help texts: what the examiner can tell the family, in every language, what to ask them, how it is done."""
    pack, shape = pub.pack, pub.pack.findings[name]
    control = {"coding": [{"system": _CONTROL, "code": "help", "display": "Help-Button"}]}
    shown = {"extension": [{"url": f"{_EXTENSION}questionnaire-itemControl", "valueCodeableConcept": control}]}
    choices = pack.site.choices(pack.settings)
    told = {one: Speech(pack, one, choices).own_say(name) for one in pack.shape.languages}
    words = {language: marked(one) for language, one in told.items() if one is not None}
    items: list[Resource] = []
    if words:
        first = words[pack.shape.languages[0]]
        items.append({"linkId": link(here, "say"), **shown, **spoken.text("text", first, words), "type": "display"})
    if shape.question is not None:
        asked: Resource = {"linkId": link(here, "ask"), **shown, "text": shape.question.en, "type": "display"}
        items.append(asked | {"_text": {"extension": [_spanish(shape.question.spanish)]}})
    if shape.how is not None:
        items.append({"linkId": link(here, "how"), **shown, "text": shape.how.text, "type": "display"})
    return items


def _spanish(text: str) -> Resource:
    parts = [{"url": "lang", "valueCode": "es"}, {"url": "content", "valueString": text}]
    return {"url": f"{_EXTENSION}translation", "extension": parts}


def _codes(pub: Publication, code: str, label: str, published: Mapping[str, Any]) -> list[Resource]:
    ours = concepts.coding(pub.system(OWN["findings"]), code, label)
    return [*concepts.published(published), ours]
