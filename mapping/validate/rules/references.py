"""References: their spelling, the type they lead to, and whether anything answers to them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from layette.mapping.fhir.types import resource_types
from layette.mapping.validate.rules.issue import At, Issue, issue
from layette.mapping.validate.rules.registry import Node, string
from layette.mapping.validate.rules.shapes import Slot

_LITERAL = re.compile(
    r"(?:https?://\S*/)?([A-Z][A-Za-z]+)/([A-Za-z0-9.-]{1,64})(?:/_history/[A-Za-z0-9.-]{1,64})?(?:#\S*)?", re.ASCII
)
_CONDITIONAL = re.compile(r"([A-Z][A-Za-z]+)\?\S+=\S*", re.ASCII)
_ABSOLUTE = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:\S+", re.ASCII)
_UUID = re.compile(r"urn:uuid:[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.I | re.ASCII)


class Holder:
    """A resource with what it contains: which ids are there and which are referred to."""

    __slots__ = ("contained", "inside", "used")

    def __init__(self, contained: dict[str, str]) -> None:
        """Take id -> resource type of the contained resources."""
        self.contained = contained
        self.used: set[str] = set()
        self.inside = ""

    def use(self, fragment: str) -> None:
        """Note a reference to ``#fragment``; from inside, a bare # means the holder and counts for both."""
        self.used.add(fragment or self.inside)


def reference_issues(node: Node, slot: Slot, at: At, holder: Holder, urls: dict[str, str] | None) -> Iterator[Issue]:
    """Yield what is wrong with one Reference.

    ``urls`` maps the fullUrls of the Bundle around it to resource types, ``None`` outside a Bundle.
    """
    text = string(node, "reference")
    kind = ""
    if text.startswith("#"):
        holder.use(text[1:])
        kind = holder.contained.get(text[1:], "")
        if text != "#" and text[1:] not in holder.contained:
            yield issue((at, "reference", -1), "ref-1", f"No contained resource has the id {text[1:]}; add it.")
    elif _ABSOLUTE.fullmatch(text) and not text.startswith(("http://", "https://")):
        kind = (urls or {}).get(text, "")
        yield from _absolute_issues(text, (at, "reference", -1), urls)
    elif text:
        match = _LITERAL.fullmatch(text) or _CONDITIONAL.fullmatch(text)
        kind = match[1] if match and match[1] in resource_types() else ""
        if not kind and not text.startswith(("http://", "https://")):
            yield _misspelt(text, (at, "reference", -1))
        if urls and text in urls:
            kind = urls[text] or kind
    yield from _target_issues(node, slot, at, kind)


def plainly_right(node: Node, slot: Slot, urls: Mapping[str, str] | None) -> bool:
    """Settle the common case, a good literal reference, at once; of any other it says nothing."""
    text = node.get("reference")
    if "type" in node or type(text) is not str or not text.isprintable():
        return False
    if urls and text in urls:
        kind = urls[text] if _UUID.fullmatch(text) else ""
    else:
        match = _LITERAL.fullmatch(text)
        kind = match[1] if match and match[1] in resource_types() else ""
    return bool(kind) and (slot.targets is None or kind in slot.targets)


def _absolute_issues(text: str, at: At, urls: dict[str, str] | None) -> Iterator[Issue]:
    """Yield what is wrong with a reference of another scheme than http: only a fullUrl can answer to it."""
    if text.startswith("urn:uuid:") and not _UUID.fullmatch(text):
        yield issue(at, "reference-format", "After urn:uuid: a UUID is due, 8-4-4-4-12 hexadecimal digits.")
    elif urls is None:
        message = "Such a reference is answered by an entry of the same Bundle, and this resource is in none."
        yield issue(at, "unresolved", message, "warning")
    elif text not in urls:
        yield issue(at, "dangling", "No entry of the Bundle has this fullUrl; add it or refer to another.")


def _misspelt(text: str, at: At) -> Issue:
    named = text.partition("/")[0]
    if named[:1].isupper() and named.isalpha() and named not in resource_types():
        return issue(at, "reference-format", f"{named} is no resource type of R4; a reference is written Type/id.")
    return issue(at, "reference-format", "A relative reference is written Type/id, such as Patient/p1.")


def _target_issues(node: Node, slot: Slot, at: At, kind: str) -> Iterator[Issue]:
    said = string(node, "type")
    claimed = said.removeprefix("http://hl7.org/fhir/StructureDefinition/")
    if said and claimed not in resource_types() and "/" not in claimed:
        yield issue((at, "type", -1), "reference-type", f"{claimed} is no resource type of R4.")
    elif kind and said and claimed != kind and "/" not in claimed:
        yield issue((at, "type", -1), "reference-type", f"The type says {claimed}, the reference leads to {kind}.")
    target = kind or (claimed if claimed in resource_types() else "")
    if slot.targets is not None and target and target not in slot.targets:
        allowed = ", ".join(sorted(slot.targets))
        place: At = (at, "reference" if kind else "type", -1)
        yield issue(place, "reference-target", f"{slot.name} may refer to {allowed}, not to {target}.")
