"""Files that are served as they are: the parts of the exam page, the published schemas."""

from __future__ import annotations

from functools import cache
from importlib import resources

from layette.mapping import pages
from layette.mapping.pages import exam
from layette.mapping.pages.family_form import SCRIPT
from layette.mapping.service.reply import Refusal, Reply

_MEDIA = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
    "woff2": "font/woff2",
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
    place, beside = resources.files(exam), resources.files(pages)
    form = Reply(200, _MEDIA["js"], (beside / SCRIPT).read_bytes())
    return {SCRIPT: form} | {
        name: Reply(200, _MEDIA[name.rpartition(".")[2]], (place / name).read_bytes()) for name in exam.ASSETS
    }
