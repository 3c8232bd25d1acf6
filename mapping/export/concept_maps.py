"""Where the dictionary names codes of published systems: ConceptMaps from our own codes to them.

Only verified codes are mapped. Nobody has verified that two codes mean exactly the same, so a code is said to be
related; where one published code stands for several of our values it is said to be wider.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from layette.engine.pack.written.shapes import CodeValue
from layette.mapping.codes import OWN, display, is_verified, uri
from layette.mapping.export.publication import Publication, Resource


class _Row(NamedTuple):
    """One of our codes and one published code that the dictionary gives it."""

    code: str
    label: str
    system: str
    target: str


def concept_maps(pub: Publication) -> Iterator[Resource]:
    """Yield the map of findings and the map of targets, where there is something to map."""
    findings = [row for row in _findings(pub) if is_verified(row.system, row.target)]
    targets = [row for row in _targets(pub) if is_verified(row.system, row.target)]
    if findings:
        about = "Findings, values and measures in codes of published systems."
        yield _map(pub, "findings-to-published-codes", about, OWN["findings"], findings)
    if targets:
        yield _map(pub, "targets-to-published-codes", "Targets in published codes.", OWN["targets"], targets)


def _findings(pub: Publication) -> Iterator[_Row]:
    for name, shape in pub.pack.findings.items():
        yield from _rows(name, shape.label, shape.codes)
        for side, codes in shape.side_codes.items():
            yield from _rows(f"{name}.{side}", f"{shape.label}, {side}", codes)
        for part, codes in shape.part_codes.items():
            yield from _rows(f"{name}.{part}", f"{shape.label}, {part}", codes)
        for value, codes in shape.means.items():
            yield from _rows(f"{name}.{value}", value.replace("_", " "), codes)
    for name, measure in pub.pack.measures.items():
        yield from _rows(name, measure.label, measure.codes)


def _targets(pub: Publication) -> Iterator[_Row]:
    for name, shape in pub.pack.targets.items():
        yield from _rows(name, shape.label, shape.codes)


def _rows(code: str, label: str, codes: Mapping[str, CodeValue]) -> Iterator[_Row]:
    for system, several in codes.items():
        for one in [several] if isinstance(several, str) else several:
            yield _Row(code, label, uri(system), one)


def _map(pub: Publication, name: str, about: str, path: str, rows: list[_Row]) -> Resource:
    title = name.replace("-", " ").capitalize()
    systems = sorted({row.system for row in rows})
    groups = [_group(pub.system(path), system, [row for row in rows if row.system == system]) for system in systems]
    about += " Related means that nobody has verified more than an overlap of meaning."
    return pub.head("ConceptMap", name, title, about) | {"group": groups}


def _group(source: str, target: str, rows: list[_Row]) -> Resource:
    used = Counter(row.target for row in rows)
    by_code: dict[tuple[str, str], list[_Row]] = {}
    for row in rows:
        by_code.setdefault((row.code, row.label), []).append(row)
    elements = [
        {"code": code, "display": label, "target": _mapped(several, used)} for (code, label), several in by_code.items()
    ]
    return {"source": source, "target": target, "element": elements}


def _mapped(rows: Iterable[_Row], used: Mapping[str, int]) -> list[Resource]:
    found = []
    for row in rows:
        words = display(row.system, row.target)
        target = {"code": row.target} | ({"display": words} if words else {})
        found.append(target | {"equivalence": "wider" if used[row.target] > 1 else "relatedto"})
    return found
