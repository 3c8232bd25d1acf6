"""What could not be used, and which finding it would have told of: that may not be passed over in silence."""

from __future__ import annotations

from collections.abc import Mapping

from layette.mapping.read.bundle.parts import Resource, codings, mapping, text, words
from layette.mapping.read.codes.amounts import RuledOut, in_words, unit_of
from layette.mapping.read.codes.answers import as_set
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


def named_by(index: CodeIndex, holder: Resource, person: str) -> str:
    """Return the finding of which an Observation, a component or a diagnosis under an unknown code tells, by its words.

    A finding is named by its whole name, its label or the wording of one of its codes, up to where that says of what.
    Beside a number in one of its units it is enough that what is measured is named: a temperature, wherever it was
    taken. Of several, the one of which most words stand there, then the one that has codes and is a laboratory's.
    """
    code = holder.get("code")
    texts = (*words(code), *(code for _, code, _ in codings(code)))
    whole, heads = ({tuple(said_words(one)) for one in several} for several in (texts, map(head_of, texts)))
    for said in (whole, heads):
        for finding in index.named(said):
            name = finding.name
            if finding.person == person:
                return told_under(finding, CodeMeaning(name, 0), holder) if has_value(holder) else name
    close = [
        ((words, bool(finding.shape.codes), finding.shape.awaited), finding.name)
        for words, finding in index.measuring({word for one in whole for word in one})
        if finding.person == person and _in_its_unit(holder, finding)
    ]
    return max(close, key=lambda one: one[0])[1] if close else ""


def _in_its_unit(holder: Resource, finding: Finding) -> bool:
    if finding.units is None:
        return False
    given, written = mapping(holder.get("valueQuantity")), text(holder.get("valueString"))
    bare = "value" in given and not given.keys() & {"unit", "code"}
    return bare or isinstance(unit_of(given, finding.units), str) or bool(in_words(written, finding.units))
