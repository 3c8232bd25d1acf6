"""The pack itself as a Library: every file of it attached as it stands, with its digest."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from importlib.resources.abc import Traversable
from pathlib import Path

from layette.mapping.export.publication import Publication, Resource, legal_id
from layette.mapping.write.run.keys import PACK_DIGEST

_FORMS = {".yaml": "application/yaml", ".yml": "application/yaml", ".csv": "text/csv"}
_TYPE = {
    "system": "http://terminology.hl7.org/CodeSystem/library-type",
    "code": "logic-library",
    "display": "Logic Library",
}


def library(pub: Publication) -> Resource:
    """Return the Library of a pack: YAML and CSV in base64, which R4 systems carry along without reading them."""
    about = "The rule pack as its authors wrote it (YAML and CSV), which the rules engine reads."
    name = library_id(pub)
    return pub.head("Library", name, pub.pack.shape.title, about) | {
        "identifier": [digest(pub)],
        "type": {"coding": [_TYPE]},
        "effectivePeriod": {"start": pub.pack.shape.valid_from},
        "content": [_attachment(name, place) for name, place in sorted(_files(pub.pack.folder, ""))],
    }


def library_id(pub: Publication) -> str:
    """Return the id of the Library, which is that of the pack."""
    return legal_id(pub.pack.id)


def digest(pub: Publication) -> Resource:
    """Return the digest that every answer of this pack carries, as an identifier."""
    return {"system": pub.system(PACK_DIGEST), "value": pub.pack.digest}


def _files(folder: Traversable | Path, prefix: str) -> Iterator[tuple[str, Traversable | Path]]:
    """Yield every data file of the pack; the loader has refused any that the pack does not list."""
    for place in folder.iterdir():
        if place.is_dir():
            yield from _files(place, f"{prefix}{place.name}/")
        elif "." + place.name.rsplit(".", 1)[-1] in _FORMS:
            yield f"{prefix}{place.name}", place


def _attachment(name: str, place: Traversable | Path) -> Resource:
    data = place.read_bytes()
    return {
        "contentType": _FORMS["." + name.rsplit(".", 1)[-1]],
        "data": base64.b64encode(data).decode("ascii"),
        "size": len(data),
        "hash": base64.b64encode(hashlib.sha1(data, usedforsecurity=False).digest()).decode("ascii"),
        "title": name,
    }
