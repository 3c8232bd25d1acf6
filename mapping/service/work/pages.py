"""Pages for people."""

from __future__ import annotations

from html import escape
from importlib import import_module
from importlib.util import find_spec

from layette.engine.api import Pack
from layette.mapping.service.reply import HTML, Refusal, Reply
from layette.mapping.service.work.flat import answered
from layette.mapping.service.work.job import Job

_PAGES = "layette.mapping.pages"


def exam(pack: Pack, job: Job) -> Reply:
    """Return the exam page of the pack."""
    if find_spec(f"{_PAGES}.exam") is None:
        return Reply(200, HTML, _placeholder(pack).encode())
    made: str = import_module(f"{_PAGES}.exam").page(pack)
    return Reply(200, HTML, made.encode())


def report(pack: Pack, job: Job) -> Reply:
    """Return the report of a visit."""
    if find_spec(f"{_PAGES}.report") is None:
        raise Refusal("not-found", "this installation makes no reports")
    found = answered(pack, job)
    made: str = import_module(f"{_PAGES}.report").report(found.assessment, pack, found.visit)
    return Reply(200, HTML, made.encode())


def _placeholder(pack: Pack) -> str:
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(pack.id)}</title>'
        "<h1>Layette</h1><p>The engine answers here; this installation has no exam page. "
        'The interface is described at <a href="/openapi.json">/openapi.json</a>.</p></html>'
    )
