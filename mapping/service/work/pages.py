"""Pages for people."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec

from layette.engine.api import Pack
from layette.mapping.pages.exam import page
from layette.mapping.service.reply import HTML, Refusal, Reply
from layette.mapping.service.work.choices import language_of
from layette.mapping.service.work.flat import answered
from layette.mapping.service.work.job import Job

_PAGES = "layette.mapping.pages"


def exam(pack: Pack, job: Job) -> Reply:
    """Return the exam page of the pack."""
    return _page(page(pack))


def report(pack: Pack, job: Job) -> Reply:
    """Return the report of a visit."""
    found = answered(pack, job)
    return _page(_maker("report")(found.assessment, pack, found.visit))


def family_sheet(pack: Pack, job: Job) -> Reply:
    """Return the sheet that the family keeps, in the language that was chosen."""
    language = language_of(pack, job)
    found = answered(pack, job)
    return _page(_maker("family_sheet")(found.assessment, pack, found.visit, language))


def _maker(name: str) -> Callable[..., str]:
    """Return what makes a page, from the module of its name."""
    module = f"{_PAGES}.{name}"
    if find_spec(module) is None:
        raise Refusal("not-found", "this installation does not make that page")
    made: Callable[..., str] = getattr(import_module(module), name)
    return made


def _page(content: str) -> Reply:
    return Reply(200, HTML, content.encode())
