"""A value of an Observation or of one of its components, whatever form it has."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from layette.mapping.codes import ABSENT_REASON, INTERPRETATION, answer_words
from layette.mapping.read.bundle.parts import Resource, codings, described, items, shown, words
from layette.mapping.read.codes.amounts import (
    ReadValue,
    RuledOut,
    Unclear,
    Units,
    Wrong,
    a_range,
    in_words,
    quantity,
    whole,
)
from layette.mapping.read.codes.answers import plain
from layette.mapping.read.codes.index import CodeMeaning, Finding

_ABSENT = frozenset(
    (
        "unknown", "asked-unknown", "temp-unknown", "not-asked", "asked-declined", "masked", "not-applicable",
        "unsupported", "as-text", "error", "not-a-number", "negative-infinity", "positive-infinity", "not-performed",
        "not-permitted",
    )
)  # fmt: skip
_VALUES = frozenset(
    (
        "valueAttachment", "valueBoolean", "valueCodeableConcept", "valueDateTime", "valueDecimal", "valueInteger",
        "valuePeriod", "valueQuantity", "valueRange", "valueRatio", "valueReference", "valueSampledData",
        "valueString", "valueTime",
    )
)  # fmt: skip
_SAYING = _VALUES | {"dataAbsentReason", "interpretation"}
_YES = ("present", "positive", "detected", "abnormal", "yes", "out_of_range")
_NO = ("absent", "negative", "not_detected", "no", "none", "normal", "in_range")


def has_value(holder: Resource) -> bool:
    """Whether an Observation or component says anything by itself."""
    return not _SAYING.isdisjoint(holder)


def answer(holder: Resource, meaning: CodeMeaning, finding: Finding) -> tuple[ReadValue, str]:
    """Return what is said, and the element that says it.

    At most one value[x], no reason for its absence beside it; an interpretation counts only where no value is given.
    """
    if meaning.qualifier:
        return _qualifier(holder, meaning.qualifier, finding), ".valueCodeableConcept"
    keys = sorted(_VALUES & holder.keys())
    if len(keys) > 1:
        return Wrong("contradiction", "two values in one resource", ", ".join(keys), "one value"), f".{keys[0]}"
    if "dataAbsentReason" in holder:
        if keys:
            return Wrong(
                "contradiction", "a value and a reason why there is none", keys[0], "one of the two"
            ), f".{keys[0]}"
        return absent(holder["dataAbsentReason"]), ".dataAbsentReason"
    if keys:
        found = _value(keys[0], holder[keys[0]], meaning, finding)
        return _not_understood(found, finding), f".{keys[0]}"
    if "interpretation" in holder:
        return _by_interpretation(holder["interpretation"], meaning, finding), ".interpretation"
    return _without_value(meaning, finding), ""


def _not_understood(found: ReadValue, finding: Finding) -> ReadValue:
    """Return the answer; one that is not understood is a value of its own where the finding has one for it."""
    value = finding.shape.not_understood
    if value is None or not isinstance(found, Unclear):
        return found
    given = " ".join(word for word in (found.text, found.code) if word)
    return {"value": value, "given": given} if given else {"value": value}


def _by_interpretation(given: object, meaning: CodeMeaning, finding: Finding) -> ReadValue:
    """Read an interpretation without a value; of a screen it is none, since many an abnormal result carries `N`."""
    found = _interpretation(given, meaning, finding)
    if finding.shape.not_understood is None or isinstance(found, Unclear):
        return _not_understood(found, finding)
    said = ", ".join(code for concept in items(given) for _, code, _ in codings(concept))
    return _not_understood(Unclear("an interpretation alone", text=f"interpretation {said} alone"), finding)


def _qualifier(holder: Resource, name: str, finding: Finding) -> ReadValue:
    """Read the value of a qualifier such as a route: by our own code, or by its name."""
    given = holder.get("valueCodeableConcept")
    said = [*(code.rsplit(".", 1)[-1] for _, code, _ in codings(given)), *words(given), holder.get("valueString")]
    names = {plain(value): value for value in finding.shape.qualifier[name]}
    found = {names[plain(word)] for word in said if isinstance(word, str) and plain(word) in names}
    if len(found) == 1:
        return {"value": found.pop()}
    return Unclear(f"no {name} of this finding", *described(given))


def absent(concept: object) -> ReadValue:
    """Read a dataAbsentReason; one in words alone says no more than that there is no value."""
    for system, code, _ in codings(concept):
        if system in (ABSENT_REASON, "") and code in _ABSENT:
            return {"absent": code}
    return {"absent": "unknown"}


def _value(key: str, value: object, meaning: CodeMeaning, finding: Finding) -> ReadValue:
    if meaning.values:
        return _stated(key, value, meaning, finding)
    units = finding.units_with(meaning.unit)
    if units is not None:
        return _number(key, value, units, finding)
    reader = _WORDS.get(key)
    if reader is not None:
        return reader(value, finding)
    if key in ("valueQuantity", "valueInteger", "valueRange"):
        shape = shown(value.get("value") if isinstance(value, dict) else value)
        return Wrong("value", "a number where a named value is due", shape, finding.sheet.expected)
    return Unclear(f"{key} is not read for this finding", text=shown(value))


def _number(key: str, value: object, units: Units, finding: Finding) -> ReadValue:
    if key in _NUMBERS:
        return _NUMBERS[key](value, units)
    if key == "valueCodeableConcept":
        code, said = described(value)
        general = [answer_words().get((system, one)) for system, one, _ in codings(value)]
        if "unknown" in general or "not_performed" in general:
            return {"absent": "unknown" if "unknown" in general else "not-performed"}
        return Unclear("words where a number is due", code, said)
    if key == "valueString" and isinstance(value, str) and (written := in_words(value, units)):
        return written
    return Unclear("no number that can be read", text=shown(value))


_NUMBERS: Mapping[str, Callable[[object, Units], ReadValue]] = {
    "valueQuantity": quantity,
    "valueRange": a_range,
    "valueInteger": whole,
}


def _concept(value: object, finding: Finding) -> ReadValue:
    return finding.sheet.concept(value)


def _string(value: object, finding: Finding) -> ReadValue:
    return finding.sheet.string(value) if isinstance(value, str) else Unclear("this is no text", text=shown(value))


def _boolean(value: object, finding: Finding) -> ReadValue:
    if not isinstance(value, bool):
        return Wrong("structure", "this is neither true nor false", shown(value), "true or false")
    found = finding.sheet.word("yes" if value else "no")
    if isinstance(found, Wrong):
        return Unclear("true or false does not say which of the values", text=str(value).lower())
    return found


_WORDS: Mapping[str, Callable[[object, Finding], ReadValue]] = {
    "valueCodeableConcept": _concept,
    "valueString": _string,
    "valueBoolean": _boolean,
}


def _interpretation(value: object, meaning: CodeMeaning, finding: Finding) -> ReadValue:
    meant = {answer_words().get((INTERPRETATION, code)) for concept in items(value) for _, code, _ in codings(concept)}
    said = ", ".join(
        word for concept in items(value) for word in (*(code for _, code, _ in codings(concept)), *words(concept))
    )
    known = {word for word in meant if word}
    if len(known) != 1 or None in meant:
        return Unclear("an interpretation alone, which does not say which value", text=said)
    word = known.pop()
    if meaning.values:
        return _presence(word, meaning, finding)
    if finding.units is not None:
        return Unclear("an interpretation where a number is due", text=said)
    return finding.sheet.word(word)


def _without_value(meaning: CodeMeaning, finding: Finding) -> ReadValue:
    if meaning.values and not meaning.asked:
        return _presence("present", meaning, finding)
    return Unclear("no value, and no reason why there is none")


def _stated(key: str, value: object, meaning: CodeMeaning, finding: Finding) -> ReadValue:
    """Read the value beside a code that states one by itself: present or absent, or the value once more."""
    if key == "valueBoolean" and isinstance(value, bool):
        return _presence("yes" if value else "no", meaning, finding)
    if key == "valueCodeableConcept":
        for system, code, _ in codings(value):
            word = answer_words().get((system, code))
            if word is not None:
                return _presence(word, meaning, finding)
        read = finding.sheet.concept(value)
        return read if not isinstance(read, Unclear) else _by_words(words(value), meaning, finding)
    if key == "valueString":
        return _by_words([shown(value)], meaning, finding)
    return Unclear(f"{key} is not read beside a code that states a value", text=shown(value))


def _by_words(said: list[str], meaning: CodeMeaning, finding: Finding) -> ReadValue:
    plain = {word.casefold().replace(" ", "_") for word in said} & {*_YES, *_NO}
    if len(plain) == 1:
        return _presence(plain.pop(), meaning, finding)
    return Unclear("a text that is none of the values", text=", ".join(said))


def _presence(word: str, meaning: CodeMeaning, finding: Finding) -> ReadValue:
    value = finding.sheet.together(set(meaning.values))
    if word in _YES and value is not None:
        return {"value": value}
    if word in _NO and value is not None:
        other = finding.sheet.other_than(value)
        if other is not None:
            return {"value": other}
        if meaning.asked:
            return RuledOut(f"it rules out {value.replace('_', ' ')} alone; the overall result decides")
    if word in ("not_performed", "unknown"):
        return {"absent": word.replace("_", "-")}
    return Unclear(f"'{word}' beside a code that states a value does not say which value", text=word)
