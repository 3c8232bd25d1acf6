"""Pages for people."""

from __future__ import annotations

from html import escape
from importlib import import_module
from importlib.util import find_spec

from layette.engine.api import Pack
from layette.mapping.service.reply import HTML, Reply
from layette.mapping.service.work.job import Job

_EXAM = "layette.mapping.pages.exam"


def exam(pack: Pack, job: Job) -> Reply:
    """Return the exam page of the pack."""
    if find_spec(_EXAM) is None:
        return Reply(200, HTML, _placeholder(pack).encode())
    made: str = import_module(_EXAM).page(pack)
    return Reply(200, HTML, made.encode())


def _placeholder(pack: Pack) -> str:
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>{escape(pack.id)}</title>'
        "<h1>Layette</h1><p>The engine answers here; this installation has no exam page. "
        'The interface is described at <a href="/openapi.json">/openapi.json</a>.</p></html>'
    )
