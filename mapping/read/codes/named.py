"""What could not be used, and which finding it would have told of: that may not be passed over in silence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from layette.mapping.codes import FindingWords, display
from layette.mapping.read.bundle.parts import Resource, codings, mapping, text, words
from layette.mapping.read.codes.amounts import RuledOut, in_words, unit_of
from layette.mapping.read.codes.answers import as_set
from layette.mapping.read.codes.charted import charted, cleared, denied, of_the_mother
from layette.mapping.read.codes.index import CodeIndex, CodeMeaning, Finding
from layette.mapping.read.codes.spoken import head_of, said_words
from layette.mapping.read.codes.values import answer, has_value


def told_of(finding: Finding, said: object) -> str:
    """Return the finding's name where ``said``, as it was read, could be anything but as expected; else nothing.

    A reason why there is no value tells nothing; what rules out one value alone leaves the rest to the other answers.
    """
    if isinstance(said, RuledOut):
        return ""
    if not isinstance(said, Mapping):
        return finding.name
    value, expected = said.get("value"), as_set(finding.shape.expected)
    return "" if "absent" in said or (isinstance(value, str) and value in expected) else finding.name


def told_under(finding: Finding, meaning: CodeMeaning, holder: Resource) -> str:
    """Return the finding's name where an Observation or component could tell anything but as expected under a code."""
    return told_of(finding, answer(holder, meaning, finding)[0])


def named_by(index: CodeIndex, holder: Resource, person: str) -> str | None:
    """Return the finding of which an Observation, a component or a diagnosis under an unknown code tells, by its words.

    A finding is named by its whole name, its label or the wording of one of its codes, up to where that says of what;
    by words in use in charts; or by the code of its answer, where that states a value. Beside a number in one of its
    units it is enough that what is measured is named: a temperature, wherever it was taken. Of several, the one of
    which most words stand there, then the one that has codes and is a laboratory's.
    What only the mother is asked is named in the baby's record too. Empty where what is named is as expected; None
    where nothing is named.
    """
    code = holder.get("code")
    texts = worded(code)
    whole, heads = ({tuple(said_words(one)) for one in several} for several in (texts, map(head_of, texts)))
    for said in (whole, heads):
        fitting = [one for one in index.named(said) if one.person == person or one.person == "mother"]
        for finding in sorted(fitting, key=lambda one: one.person != person):
            name = finding.name
            return told_under(finding, CodeMeaning(name, 0), holder) if has_value(holder) else name
    close = [
        ((words, bool(finding.shape.codes), finding.shape.awaited), finding.name)
        for words, finding in index.measuring({word for one in whole for word in one})
        if finding.person == person and _in_its_unit(holder, finding)
    ]
    return max(close, key=lambda one: one[0])[1] if close else _charted(index, texts, holder, person)


def _charted(index: CodeIndex, texts: list[str], holder: Resource, person: str) -> str | None:
    for row, finding in _rows(index, texts, person):
        if row.sign:
            return "" if denied(holder) else finding.name
        if "valueQuantity" in holder and not _in_its_unit(holder, finding):
            continue
        return "" if cleared(holder) or not told_under(finding, CodeMeaning(finding.name, 0), holder) else finding.name
    return _answered(index, holder.get("valueCodeableConcept"), person)


def _answered(index: CodeIndex, value: object, person: str) -> str | None:
    """Return the finding that a coded answer states by itself, or the sign that it names."""
    stated = index.stated(codings(value))
    if stated:
        return stated[0].finding
    return next((row.finding for row, _ in _rows(index, worded(value), person) if row.sign), None)


def _rows(index: CodeIndex, texts: list[str], person: str) -> Iterator[tuple[FindingWords, Finding]]:
    """Yield the words of charts that stand in texts and name a finding of this person, or one of the mother."""
    hers = person == "mother" or of_the_mother(texts)
    for row in charted(texts):
        finding = index.findings.get(row.finding)
        if finding is not None and not (hers and finding.person == "baby"):
            yield row, finding


def named_as_member(index: CodeIndex, panel: object, holder: Resource) -> str | None:
    """Return the finding on which a part of a panel may tell: what the panel is of, or asks where no part says it."""
    known = index.meanings(codings(panel))
    if known:
        return known[0].finding
    rows = () if words(holder.get("code")) else charted(worded(panel))
    return next((row.member for row in rows if row.member in index.findings), None)


def worded(concept: object) -> list[str]:
    """Return what a concept says in words, published wording of its codes and the codes themselves among them."""
    found = codings(concept)
    published = (display(system, code) or "" for system, code, _ in found)
    return [one for one in (*words(concept), *published, *(code for _, code, _ in found)) if one]


def says_something(holder: Resource) -> bool:
    """Whether an Observation or component says anything but that all is normal, or why nothing is said."""
    return not cleared(holder)


def _in_its_unit(holder: Resource, finding: Finding) -> bool:
    if finding.units is None:
        return False
    given, written = mapping(holder.get("valueQuantity")), text(holder.get("valueString"))
    bare = "value" in given and not given.keys() & {"unit", "code"}
    return bare or isinstance(unit_of(given, finding.units), str) or bool(in_words(written, finding.units))
