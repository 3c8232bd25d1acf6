"""FHIR XML in and out, with the same content as the JSON: decimal digits, ids of list items, extensions, order.

One resource is a dict as ``fhir_json.loads`` returns it. Both ways are driven by the element order of the
published schema (``fhir_types``). XML is read safely: no DTD, no entities, nothing fetched, limited in size.
A narrative keeps its content as XML; the spelling of its tags (quotes, ``<br></br>``) is made uniform.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import zip_longest
from pathlib import Path
from typing import Any

from lxml import etree

from layette.mapping.fhir.json import SIZE_LIMIT, decimal_text
from layette.mapping.fhir.types import Element, elements, resource_types
from layette.mapping.fhir.xml_reading import FHIR, NUMERIC, XHTML, Resource, fault, from_xml, parse

__all__ = ["FHIR", "XHTML", "Resource", "from_xml", "to_xml", "validate_xsd"]

_FHIR_MAP: Any = {None: FHIR}


def to_xml(resource: Resource) -> bytes:
    """Return ``resource`` as a UTF-8 XML document.

    Raises ``InputError`` (code ``structure``) with the path of anything that R4 has no place for, so that
    nothing is left out without a word: an unknown element, a string where a boolean is due, a bare control
    character. What is merely invalid (a missing element, a wrong code) is written; the validator finds it.
    """
    kind = _kind_of(resource, "input")
    root = etree.Element(f"{{{FHIR}}}{kind}", nsmap=_FHIR_MAP)
    _write_children(root, resource, kind, kind)
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True)


def validate_xsd(data: bytes, xsd: Path) -> list[str]:
    """Return what the published XML Schema finds wrong in a document, a line each; empty when it is valid.

    ``xsd`` is ``fhir-single.xsd`` of R4 4.0.1 with ``fhir-xhtml.xsd`` and ``xml.xsd`` beside it. It takes about
    a second to load and is kept. Raises ``OSError`` or ``lxml.etree.XMLSchemaParseError`` if it cannot be used.
    """
    schema = _schema(xsd.resolve())
    schema.validate(parse(data, SIZE_LIMIT))
    log: Any = schema.error_log
    return [f"line {entry.line}: {entry.message}" for entry in log]


_SCHEMAS: dict[Path, etree.XMLSchema] = {}


def _schema(path: Path) -> etree.XMLSchema:
    if path not in _SCHEMAS:
        parser = etree.XMLParser(no_network=True, resolve_entities=False)
        _SCHEMAS[path] = etree.XMLSchema(etree.parse(str(path), parser))
    return _SCHEMAS[path]


def _kind_of(resource: object, at: str) -> str:
    kind = resource.get("resourceType") if isinstance(resource, dict) else None
    if not isinstance(kind, str) or kind not in resource_types():
        raise fault(f"{at}.resourceType", "This names no resource type of R4.", str(kind))
    return kind


def _write_children(parent: etree._Element, node: object, kind: str, at: str) -> None:
    """Append the elements of ``node``, an object of definition ``kind``, in schema order."""
    if not isinstance(node, dict):
        raise fault(at, f"An object of type {kind} is due here.", type(node).__name__)
    known = elements(kind)
    _refuse_unknown(node, known, kind, at)
    for name, element in known.items():
        if name in node or f"_{name}" in node:
            _write_element(parent, node, element, kind, f"{at}.{name}")


def _refuse_unknown(node: Resource, known: Any, kind: str, at: str) -> None:
    for name in node:
        plain = name[1:] if name.startswith("_") else name
        fits = plain in known and (plain == name or known[plain].primitive)
        if not fits and not (name == "resourceType" and kind in resource_types()):
            raise fault(f"{at}.{name}", f"{kind} has no such element in R4.")


def _write_element(parent: etree._Element, node: Resource, element: Element, kind: str, at: str) -> None:
    values, companions = node.get(element.name), node.get(f"_{element.name}")
    for name in (element.name, f"_{element.name}"):
        if name in node and (node[name] is None or node[name] == []):
            raise fault(at, "A null or an empty list stands for nothing and has no form in XML.")
    if (element.name == "id" and kind not in resource_types()) or (element.name, kind) == ("url", "Extension"):
        _write_attribute(parent, element, values, companions, at)
        return
    if not element.many:
        _write_one(parent, element, values, companions, at)
        return
    for index, (value, companion) in enumerate(_pairs(values, companions, at)):
        _write_one(parent, element, value, companion, f"{at}[{index}]")


def _pairs(values: object, companions: object, at: str) -> Iterator[tuple[Any, Any]]:
    """Pair the items of a list with those of its ``_`` companion; either may be missing."""
    for given in (values, companions):
        if given is not None and not isinstance(given, list):
            raise fault(at, "A list is due here.", type(given).__name__)
    left: list[Any] = values if isinstance(values, list) else []
    right: list[Any] = companions if isinstance(companions, list) else []
    if left and right and len(left) != len(right):
        raise fault(at, "This list and that of its extensions must be of one length.")
    yield from zip_longest(left, right)


def _write_attribute(parent: etree._Element, element: Element, value: object, companion: object, at: str) -> None:
    if companion is not None:
        raise fault(at, "This is an attribute in XML and can carry no extension.")
    if not isinstance(value, str):
        raise fault(at, "A string is due here.", type(value).__name__)
    _set(parent, element.name, value, at)


def _write_one(parent: etree._Element, element: Element, value: object, companion: object, at: str) -> None:
    if value is None and companion is None:
        raise fault(at, "A null stands for nothing and cannot be written.")
    if element.type == "xhtml":
        parent.append(_narrative(value, at))
        return
    child = etree.SubElement(parent, f"{{{FHIR}}}{element.name}")
    if element.type == "ResourceList":
        kind = _kind_of(value, at)
        _write_children(etree.SubElement(child, f"{{{FHIR}}}{kind}"), value, kind, at)
    elif element.primitive:
        _write_primitive(child, element, value, companion, at)
    else:
        _write_children(child, value, element.type, at)


def _write_primitive(child: etree._Element, element: Element, value: object, companion: object, at: str) -> None:
    if companion is not None:
        _write_children(child, companion, "Element", at)
    if value is not None:
        _set(child, "value", _primitive_text(value, element.type, at), at)


def _primitive_text(value: object, kind: str, at: str) -> str:
    if kind == "boolean":
        if isinstance(value, bool):
            return "true" if value else "false"
    elif kind in NUMERIC:
        if isinstance(value, Decimal):
            return decimal_text(value)
        if isinstance(value, int) and not isinstance(value, bool):
            return str(value)
    elif isinstance(value, str):
        return value
    raise fault(at, f"A value of type {kind} is due here.", type(value).__name__)


def _set(node: etree._Element, name: str, value: str, at: str) -> None:
    try:
        node.set(name, value)
    except ValueError:
        raise fault(at, "The text holds a control character, which FHIR and XML forbid.") from None


def _narrative(value: object, at: str) -> etree._Element:
    if not isinstance(value, str):
        raise fault(at, "A narrative is due here, as a string.", type(value).__name__)
    root = parse(value.encode("utf-8"), SIZE_LIMIT, at)
    if root.tag != f"{{{XHTML}}}div":
        raise fault(at, "A narrative is one div in the namespace of XHTML.", str(root.tag))
    return root
