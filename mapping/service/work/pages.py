"""Pages for people."""

from __future__ import annotations

from layette.engine.api import Pack
from layette.mapping.pages.exam import page
from layette.mapping.pages.family_form import family_form as form
from layette.mapping.pages.family_sheet import family_sheet as sheet
from layette.mapping.pages.report import report as reported
from layette.mapping.service.reply import HTML, Reply
from layette.mapping.service.work.choices import language_of
from layette.mapping.service.work.flat import answered
from layette.mapping.service.work.job import Job


def exam(pack: Pack, job: Job) -> Reply:
    """Return the exam page of the pack."""
    return _page(page(pack))


def report(pack: Pack, job: Job) -> Reply:
    """Return the report of a visit."""
    found = answered(pack, job)
    return _page(reported(found.assessment, pack, found.visit))


def family_form(pack: Pack, job: Job) -> Reply:
    """Return what the family is asked before the visit; with ``apart=true`` what is asked alone."""
    return _page(form(pack, language_of(pack, job), apart=job.chosen.get("apart") == "true", served=True))


def family_sheet(pack: Pack, job: Job) -> Reply:
    """Return the sheet that the family keeps, in the language that was chosen."""
    language = language_of(pack, job)
    found = answered(pack, job)
    return _page(sheet(found.assessment, pack, found.visit, language))


def _page(content: str) -> Reply:
    return Reply(200, HTML, content.encode())
