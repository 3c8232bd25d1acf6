"""The invariants of questionnaires, capability statements and terminology: what defines other things."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from layette.mapping.validate.rules.registry import Node, has, objects, rule, string


def _items(node: Node) -> Iterator[Node]:
    """Yield all items below a questionnaire or response, those of answers too."""
    for item in objects(node, "item"):
        yield item
        yield from _items(item)
        for answer in objects(item, "answer"):
            yield from _items(answer)


def _twice(values: Iterable[str]) -> str:
    """Return the first value that comes a second time, else nothing."""
    seen: set[str] = set()
    for value in values:
        if value in seen:
            return value
        seen.add(value)
    return ""


@rule("que-2", "Questionnaire", at="item")
def que_2(node: Node) -> str | None:
    """linkIds tell items apart."""
    twice = _twice(string(item, "linkId") for item in _items(node) if has(item, "linkId"))
    return f"The linkId {twice} is given twice; each must be unique in the questionnaire." if twice else None


@rule("que-1", "Questionnaire.item")
def que_1(node: Node) -> str | None:
    """Groups hold items, displays none."""
    kind = string(node, "type")
    if kind == "group" and not has(node, "item"):
        return "An item of type group holds at least one item."
    if kind == "display" and has(node, "item"):
        return "An item of type display holds no items."
    return None


def _not_on_display(key: str, names: tuple[str, ...], kinds: tuple[str, ...] = ("display",)) -> None:
    """Register that items of some kinds do not have some elements."""

    def test(node: Node) -> str | None:
        if string(node, "type") not in kinds:
            return None
        wrong = [name for name in names if has(node, name)]
        return f"An item of type {string(node, 'type')} has no {' and no '.join(wrong)}." if wrong else None

    rule(key, "Questionnaire.item")(test)


_not_on_display("que-3", ("code",))
_not_on_display("que-6", ("required", "repeats"))
_not_on_display("que-8", ("initial",), ("group", "display"))
_not_on_display("que-9", ("readOnly",))

_OPTIONAL_ANSWERS = frozenset(
    {"choice", "date", "dateTime", "decimal", "integer", "open-choice", "quantity", "string", "time"}
)
_WITH_LENGTH = frozenset({"boolean", "decimal", "integer", "open-choice", "string", "text", "url"})


@rule("que-5", "Questionnaire.item")
def que_5(node: Node) -> str | None:
    """Only some types offer answers to choose from."""
    if string(node, "type") in _OPTIONAL_ANSWERS or not (has(node, "answerOption") or has(node, "answerValueSet")):
        return None
    return "Answers to choose from need type choice, open-choice or another type that allows them."


@rule("que-10", "Questionnaire.item", at="maxLength")
def que_10(node: Node) -> str | None:
    """Only what is written has a length."""
    if has(node, "maxLength") and string(node, "type") not in _WITH_LENGTH:
        return f"maxLength is for {', '.join(sorted(_WITH_LENGTH))}."
    return None


@rule("que-12", "Questionnaire.item", at="enableBehavior")
def que_12(node: Node) -> str | None:
    """Several conditions need to be joined; the published expression says so for more than two."""
    if sum(1 for _ in objects(node, "enableWhen")) > 2 and not has(node, "enableBehavior"):
        return "With several enableWhen, enableBehavior says whether all or any must hold."
    return None


@rule("que-13", "Questionnaire.item", at="initial")
def que_13(node: Node) -> str | None:
    """Only a repeating item starts with several values."""
    if node.get("repeats") is not True and sum(1 for _ in objects(node, "initial")) > 1:
        return "Several initial values need repeats true."
    return None


@rule("que-7", "Questionnaire.item.enableWhen")
def que_7(node: Node) -> str | None:
    """exists is asked with true or false."""
    if string(node, "operator") == "exists" and not has(node, "answerBoolean"):
        return "The operator exists needs an answerBoolean."
    return None


@rule("cpb-3", "CapabilityStatement", at="messaging")
def cpb_3(node: Node) -> str | None:
    """Only an instance has an address."""
    if string(node, "kind") != "instance" and any(has(one, "endpoint") for one in objects(node, "messaging")):
        return "messaging.endpoint is for a statement of kind instance."
    return None


@rule("cpb-7", "CapabilityStatement", at="document")
def cpb_7(node: Node) -> str | None:
    """Each profile once a mode."""
    pairs = [string(one, "profile") + " " + string(one, "mode") for one in objects(node, "document")]
    return "The same document profile and mode is given twice." if len(set(pairs)) < len(pairs) else None


@rule("cpb-9", "CapabilityStatement.rest", at="resource")
def cpb_9(node: Node) -> str | None:
    """Each resource type once."""
    twice = _twice(string(one, "type") for one in objects(node, "resource"))
    return f"The resource type {twice} is given twice; give it once." if twice else None


@rule("cpb-12", "CapabilityStatement.rest.resource", at="searchParam")
def cpb_12(node: Node) -> str | None:
    """Each search parameter once."""
    twice = _twice(string(one, "name") for one in objects(node, "searchParam"))
    return f"The search parameter {twice} is given twice; give it once." if twice else None


@rule("cpb-14", "CapabilityStatement", at="implementation")
@rule("tcp-3", "TerminologyCapabilities", at="implementation")
def cpb_14(node: Node) -> str | None:
    """An instance describes itself."""
    if string(node, "kind") == "instance" and not has(node, "implementation"):
        return "A statement of kind instance needs implementation."
    return None


@rule("cpb-15", "CapabilityStatement", at="software")
@rule("tcp-4", "TerminologyCapabilities", at="software")
def cpb_15(node: Node) -> str | None:
    """A capability is of software, not of an installation."""
    if string(node, "kind") == "capability" and (has(node, "implementation") or not has(node, "software")):
        return "A statement of kind capability has software and no implementation."
    return None


@rule("cpb-16", "CapabilityStatement")
@rule("tcp-5", "TerminologyCapabilities")
def cpb_16(node: Node) -> str | None:
    """Requirements are of no software yet."""
    if string(node, "kind") == "requirements" and (has(node, "implementation") or has(node, "software")):
        return "A statement of kind requirements has neither software nor implementation."
    return None


@rule("csd-1", "CodeSystem", at="concept")
def csd_1(node: Node) -> str | None:
    """Codes tell concepts apart."""
    twice = _twice(string(concept, "code") for concept in _concepts(node))
    return f"The code {twice} is defined twice; each must be unique in the code system." if twice else None


def _concepts(node: Node) -> Iterator[Node]:
    for concept in objects(node, "concept"):
        yield concept
        yield from _concepts(concept)


@rule("vsd-9", "ValueSet.expansion.contains")
def vsd_9(node: Node) -> str | None:
    """What has no code cannot be chosen."""
    if has(node, "code") or node.get("abstract") is True:
        return None
    return "An entry without code must be abstract."


@rule("cmd-1", "ConceptMap.group.element.target", at="comment")
def cmd_1(node: Node) -> str | None:
    """A loose match is explained."""
    if string(node, "equivalence") in {"narrower", "inexact"} and not has(node, "comment"):
        return "An equivalence of narrower or inexact needs a comment."
    return None


@rule("cmd-2", "ConceptMap.group.unmapped", at="code")
def cmd_2(node: Node) -> str | None:
    """A fixed answer is given."""
    return "The mode fixed needs a code." if node.get("mode") == "fixed" and not has(node, "code") else None


@rule("cmd-3", "ConceptMap.group.unmapped", at="url")
def cmd_3(node: Node) -> str | None:
    """The other map is named."""
    return "The mode other-map needs a url." if node.get("mode") == "other-map" and not has(node, "url") else None
