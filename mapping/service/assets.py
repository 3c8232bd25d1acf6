"""Files that are served as they are: the parts of the exam page, the published schemas."""

from __future__ import annotations

from functools import cache
from importlib import resources
from importlib.util import find_spec

from layette.mapping.service.reply import Refusal, Reply

_PACKAGE = "layette.mapping.pages.exam"
_MEDIA = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".woff2": "font/woff2",
}
_SCHEMA = "application/schema+json"


def asset(name: str) -> Reply:
    """Return one asset. Raises `Refusal` for a name that is none."""
    found = _assets().get(name)
    if found is None:
        raise Refusal("not-found", "the exam page has no asset of that name")
    return found


def schema(name: str) -> Reply:
    """Return one of our published JSON Schemas. Raises `Refusal` for a name that is none."""
    found = _schemas().get(name)
    if found is None:
        raise Refusal("not-found", "no schema is published by that name", expected=" or ".join(sorted(_schemas())))
    return found


@cache
def _schemas() -> dict[str, Reply]:
    files = [file for file in resources.files("layette.schemas").iterdir() if file.name.endswith(".schema.json")]
    return {file.name: Reply(200, _SCHEMA, file.read_bytes()) for file in files}


@cache
def _assets() -> dict[str, Reply]:
    """Return all assets by name, so that a name is looked up and never becomes a path."""
    if find_spec(_PACKAGE) is None:
        return {}
    top = resources.files(_PACKAGE)
    places = [top, *(part for part in top.iterdir() if part.name == "assets" and part.is_dir())]
    files = [file for place in places for file in place.iterdir() if file.is_file()]
    kinds = {file.name: "." + file.name.rpartition(".")[2] for file in files}
    return {f.name: Reply(200, _MEDIA[kinds[f.name]], f.read_bytes()) for f in files if kinds[f.name] in _MEDIA}
