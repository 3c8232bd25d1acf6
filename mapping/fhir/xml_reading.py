"""Reading FHIR XML: safely (no DTD, no entities, nothing fetched, limited in size and depth) and completely.

What R4 has no place for is an error, with its path, never left out. ``fhir_xml`` gives ``from_xml`` to others.
"""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache
from typing import Any

from lxml import etree

from layette.engine.errors import InputError, InputProblem
from layette.mapping.fhir.json import DEPTH_LIMIT, NUMBER_LIMIT, SIZE_LIMIT
from layette.mapping.fhir.types import Element, elements, resource_types

FHIR = "http://hl7.org/fhir"
XHTML = "http://www.w3.org/1999/xhtml"

NUMERIC = frozenset({"decimal", "integer", "positiveInt", "unsignedInt"})
"""The primitive types that JSON writes as numbers."""

Resource = dict[str, Any]
Pair = tuple[Any, Any]
"""The value of an element and, for a primitive, what its ``_`` companion holds."""

ATTRIBUTE_LIMIT = 32
"""The most attributes of one element: R4 gives three to its own, and a narrative hardly more."""

_OF_ANY = frozenset({"id"})
_OF_EXTENSION = frozenset({"id", "url"})
_XHTML_MAP: Any = {None: XHTML}
_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?", re.ASCII)
_INTEGER = re.compile(r"-?(?:0|[1-9][0-9]*)", re.ASCII)


def from_xml(data: bytes, *, limit: int = SIZE_LIMIT) -> Resource:
    """Return the resource in an XML document, shaped as its JSON form: numbers as ``int`` and ``Decimal``.

    A value that does not fit its type ("yes" for a boolean) stays a string, for the validator to name.
    Raises ``InputError``: ``too-large`` above ``limit`` bytes, ``structure`` for XML that is not well formed,
    has a DTD, or holds elements, attributes or text that R4 has no place for.
    """
    root = parse(data, limit)
    name = etree.QName(root)
    if name.namespace != FHIR:
        raise fault("input", "The root element is not in the namespace of FHIR.", str(name), FHIR)
    if name.localname not in resource_types():
        raise fault("input", "The root element is not a resource type of R4.", name.localname)
    problems: list[InputProblem] = []
    resource = _read_resource(root, name.localname, problems)
    if problems:
        raise InputError(problems)
    return resource


def parse(data: bytes, limit: int, at: str = "input") -> etree._Element:
    """Parse UTF-8 XML without DTD, entities or network, and not nested deeper than JSON may be."""
    if len(data) > limit:
        raise fault(at, f"The input has {len(data)} bytes; the limit is {limit}.", code="too-large")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise fault(f"byte {error.start}", "The bytes are not UTF-8, which FHIR XML must be.") from None
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise fault(at, "A document type declaration is not read.")
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, remove_pis=True)
    try:
        root = etree.fromstring(re.sub(r"\A\s*<\?xml.*?\?>", "", text, flags=re.S).encode(), parser)
    except etree.XMLSyntaxError as error:
        if "depth" in str(error.msg):  # the library's own words name a switch of the library
            message = "The elements are nested too deeply; the limit is 256 levels."
            raise fault(f"line {error.lineno}", message) from None
        raise fault(f"line {error.lineno}", f"This is not well-formed XML: {error.msg}.") from None
    _check_shape(root, at)
    return root


def _check_shape(root: etree._Element, at: str) -> None:
    level = [root]
    for _ in range(DEPTH_LIMIT):
        crowded = next((node for node in level if len(node.attrib) > ATTRIBUTE_LIMIT), None)
        if crowded is not None:  # looking at them one by one takes time that grows with their square
            message = f"An element has {len(crowded.attrib)} attributes; the limit is {ATTRIBUTE_LIMIT}."
            raise fault(f"line {crowded.sourceline}", message, str(etree.QName(crowded).localname))
        level = [child for node in level for child in node]
        if not level:
            return
    raise fault(at, f"The input is nested deeper than {DEPTH_LIMIT} levels.")


def _read_resource(node: etree._Element, kind: str, problems: list[InputProblem], at: str = "") -> Resource:
    return {"resourceType": kind} | _read_children(node, kind, at or kind, problems)


def _read_children(node: etree._Element, kind: str, at: str, problems: list[InputProblem]) -> Resource:
    """Read the attributes and elements of one node of definition ``kind``."""
    by_name: dict[str, list[Pair]] = {}
    known = elements(kind)
    written = _attributes(kind)
    order = Order(kind)
    _read_attributes(node, kind, at, by_name, problems)
    _refuse_text(node, at, problems)
    for child in node.iterchildren(tag=etree.Element):
        name = etree.QName(child)
        element = None if name.localname in written else known.get(name.localname)
        fits = element is not None and name.namespace == (XHTML if element.type == "xhtml" else FHIR)
        if element is None or not fits:
            problems.append(InputProblem(f"{at}.{name.localname}", "structure", f"{kind} has no such element in R4."))
            continue
        order.see(element, at, problems)
        index = f"[{len(by_name.get(element.name, ()))}]" if element.many else ""
        pair = _read_one(child, element, f"{at}.{element.name}{index}", problems)
        by_name.setdefault(element.name, []).append(pair)
    return _assembled(by_name, kind, at, problems)


class Order:
    """The order of the elements of one node: XML has one, that of the schema, and receivers refuse any other."""

    def __init__(self, kind: str) -> None:
        """Begin a node of definition ``kind``."""
        self.places = _places(kind)
        self.last = ""

    def see(self, element: Element, at: str, problems: list[InputProblem]) -> None:
        """Take the next element; one that belongs before the last is a problem."""
        if self.last and self.places[element.name] < self.places[self.last]:
            message = f"In XML this element stands before {self.last}: R4 gives the elements one order."
            problems.append(InputProblem(f"{at}.{element.name}", "structure", message))
        else:
            self.last = element.name


@cache
def _places(kind: str) -> dict[str, int]:
    """Return the place of each element in XML; types of one choice follow each other."""
    return {name: number for number, name in enumerate(elements(kind))}


def _attributes(kind: str) -> frozenset[str]:
    """Return the elements that XML writes as attributes."""
    return frozenset() if kind in resource_types() else _OF_EXTENSION if kind == "Extension" else _OF_ANY


def _read_attributes(
    node: etree._Element, kind: str, at: str, found: dict[str, list[Pair]], problems: list[InputProblem]
) -> None:
    allowed = _attributes(kind)
    for name, value in ((str(key), str(given)) for key, given in node.attrib.items()):
        if name in allowed:
            found[name] = [(value, None)]
        elif not name.startswith("{http://www.w3.org/2001/XMLSchema-instance}"):
            problems.append(InputProblem(f"{at}.{name}", "structure", f"{kind} has no such attribute in R4."))


def _refuse_text(node: etree._Element, at: str, problems: list[InputProblem]) -> None:
    texts = [node.text, *(child.tail for child in node)]
    if any(text and not text.isspace() for text in texts):
        problems.append(InputProblem(at, "structure", "Text between elements has no place in FHIR XML."))


def _read_one(node: etree._Element, element: Element, at: str, problems: list[InputProblem]) -> Pair:
    """Return the value of one element and, for a primitive, what its ``_`` companion holds."""
    if element.type == "xhtml":
        return _div_text(node), None
    if element.type == "ResourceList":
        return _read_inner(node, at, problems), None
    if not element.primitive:
        return _read_children(node, element.type, at, problems), None
    text = node.get("value")
    if text is not None:
        del node.attrib["value"]
    companion = _read_children(node, "Element", at, problems) if len(node) or node.attrib or node.text else {}
    return (None if text is None else _primitive(str(text), element.type)), companion or None


def _read_inner(node: etree._Element, at: str, problems: list[InputProblem]) -> Resource | None:
    inner = list(node.iterchildren(tag=etree.Element))
    kind = etree.QName(inner[0]).localname if len(inner) == 1 else ""
    if kind not in resource_types():
        problems.append(InputProblem(at, "structure", "Exactly one resource of R4 is due here."))
        return None
    return _read_resource(inner[0], kind, problems, at)


def _div_text(node: etree._Element) -> str:
    """Return a narrative as text, with the namespace of XHTML as default and no other declared in vain."""
    tail, node.tail = node.tail, None
    copy = etree.fromstring(etree.tostring(node))
    node.tail = tail
    if copy.nsmap.get(None) != XHTML or len(copy.nsmap) > 1:
        copy = _renamespaced(copy)
    return etree.tostring(copy, encoding="unicode")


def _renamespaced(node: etree._Element) -> etree._Element:
    fresh = etree.Element(
        node.tag, attrib={str(key): str(value) for key, value in node.attrib.items()}, nsmap=_XHTML_MAP
    )
    fresh.text = node.text
    fresh.extend(list(node))
    etree.cleanup_namespaces(fresh)
    return fresh


def _primitive(text: str, kind: str) -> str | bool | int | Decimal:
    if kind == "boolean" and text in ("true", "false"):
        return text == "true"
    if kind in NUMERIC and len(text) <= NUMBER_LIMIT and _NUMBER.fullmatch(text):
        number = Decimal(text)
        if _INTEGER.fullmatch(text) and text != "-0":
            return int(text)
        return number if abs(number.adjusted()) <= NUMBER_LIMIT else text
    return text


def _assembled(by_name: dict[str, list[Pair]], kind: str, at: str, problems: list[InputProblem]) -> Resource:
    """Put values and companions under their JSON names, in the order of the schema."""
    result: Resource = {}
    for name, element in elements(kind).items():
        pairs = by_name.get(name)
        if pairs is None:
            continue
        if len(pairs) > 1 and not element.many:
            problems.append(InputProblem(f"{at}.{name}", "structure", "This element may be given once only."))
        values, companions = [pair[0] for pair in pairs], [pair[1] for pair in pairs]
        if any(value is not None for value in values):
            result[name] = values if element.many else values[0]
        if any(companion is not None for companion in companions):
            result[f"_{name}"] = companions if element.many else companions[0]
    return result


def fault(path: str, message: str, value: str = "", expected: str = "", code: str = "structure") -> InputError:
    """Return an error with one problem."""
    return InputError([InputProblem(path, code, message, value, expected)])
