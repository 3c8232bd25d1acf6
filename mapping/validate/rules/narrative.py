"""The narrative of a resource: well-formed XHTML of formatting only, nothing that runs, something to read."""

from __future__ import annotations

import re
from collections.abc import Iterator

from lxml import etree

XHTML = "{http://www.w3.org/1999/xhtml}"

_ELEMENTS = (
    "a abbr acronym address area b bdo big blockquote br caption cite code col colgroup dd dfn div dl dt "
    "em h1 h2 h3 h4 h5 h6 hr i img kbd li map ol p pre q samp small span strong sub sup table tbody td "
    "tfoot th thead tr tt ul var"
)
ELEMENTS = frozenset(_ELEMENTS.split())
"""The elements that R4 allows: basic formatting of HTML 4.0, links, images, tables."""

_ATTRIBUTES = (
    "abbr accesskey align alt axis border cellhalign cellpadding cellspacing cellvalign char charoff "
    "charset cite class colspan compact coords dir frame headers height href hreflang id ismap lang "
    "longdesc name nohref noshade nowrap rel rev rowspan rules scope shape size span src start style "
    "summary tabindex title type usemap valign value width {http://www.w3.org/XML/1998/namespace}lang "
    "{http://www.w3.org/XML/1998/namespace}space"
)
ATTRIBUTES = frozenset(_ATTRIBUTES.split())
"""The attributes that go with them; none that listens to events."""


_SCRIPTS = ("javascript:", "vbscript:", "data:text", "data:application")
_STYLES = ("expression(", "javascript:", "vbscript:", "@import", "behavior:", "-moz-binding:")
_COMMENT = re.compile(r"/\*.*?(?:\*/|\Z)", re.DOTALL)
_ESCAPE = re.compile(r"\\(?:([0-9a-fA-F]{1,6})\s?|(.))", re.DOTALL)
_FRAGMENT = re.compile(r"""\s(?:src|href)\s*=\s*["']#([^"'\s]+)""")


def pointed_at(div: str) -> Iterator[str]:
    """Yield each id that a narrative shows or links to as ``#id``: a contained image is used by being shown."""
    return (match[1] for match in _FRAGMENT.finditer(div))


def problem(div: str) -> tuple[str, str] | None:
    """Return ``(key, sentence)`` for the first thing wrong with a narrative div, else ``None``."""
    if "<!DOCTYPE" in div or "<!ENTITY" in div:
        return "txt-1", "A narrative has no document type declaration."
    try:
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
        root = etree.fromstring(div.encode("utf-8", "replace"), parser)
    except (etree.XMLSyntaxError, ValueError):
        return "xhtml", "This is not well-formed XML; write one div with every tag closed and & written as &amp;."
    if root.tag != f"{XHTML}div":
        return "xhtml", 'A narrative is one div with xmlns="http://www.w3.org/1999/xhtml".'
    wrong = next(filter(None, map(_node_problem, root.iter())), None)
    if wrong:
        return "txt-1", wrong
    if not "".join(map(str, root.itertext())).strip() and root.find(f".//{XHTML}img") is None:
        return "txt-2", "A narrative has something to read; this one is empty."
    return None


def _node_problem(node: etree._Element) -> str | None:
    if not isinstance(node.tag, str):
        return None if node.tag is etree.Comment else "A narrative has no processing instructions and no entities."
    name = node.tag.removeprefix(XHTML)
    if name not in ELEMENTS:
        return f"The element {name[:40]} has no place in a narrative; it is for formatted text only."
    for attribute, value in ((str(key), str(text)) for key, text in node.attrib.items()):
        if attribute not in ATTRIBUTES:
            return f"The attribute {attribute[:40]} has no place in a narrative; it is for formatted text only."
        if _runs(attribute, value):
            return f"The attribute {attribute} holds something that runs or is fetched; take it out."
    return None


def _runs(name: str, value: str) -> bool:
    """Return whether an attribute holds a script in disguise, or a style that brings one or another style sheet.

    A picture in a style, ``url(data:image/png;…)``, is a picture as in ``img``.
    """
    if name in {"href", "src", "cite", "longdesc", "usemap"}:
        return "".join(value.split()).lower().startswith(_SCRIPTS)
    if name != "style":
        return False
    plain = "".join(_unescaped(value).split()).lower()
    return any(word in plain for word in _STYLES) or any(
        address.lstrip("\"'").startswith(_SCRIPTS) for address in plain.split("url(")[1:]
    )


def _unescaped(style: str) -> str:
    """Return a style as a browser reads it: comments gone, ``\\75rl`` as ``url``."""
    return _ESCAPE.sub(_character, _COMMENT.sub("", style))


def _character(match: re.Match[str]) -> str:
    number = int(match[1], 16) if match[1] else 0
    return chr(number) if 0 < number < 0x110000 else match[2] or " "
