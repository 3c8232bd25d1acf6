"""The tasks by name, and the one place where a task's errors become a reply."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from contextlib import suppress

from layette.engine.api import Pack
from layette.engine.errors import LayetteError
from layette.mapping.answering import answer
from layette.mapping.service.reply import Refusal, Reply, refused
from layette.mapping.service.work import fhir, flat, opening, pages, published
from layette.mapping.service.work.job import Job

TASKS: Mapping[str, Callable[[Pack, Job], Reply]] = {
    "assess": flat.assess,
    "capabilities": published.capabilities,
    "exam-page": pages.exam,
    "family-form": pages.family_form,
    "family-sheet": pages.family_sheet,
    "fhir-assess": fhir.assess,
    "fhir-of-flat": fhir.of_flat,
    "open": opening.open_for_exam,
    "read": opening.read,
    "report": pages.report,
    "resource": published.read_one,
    "resources": published.search,
    "validate": fhir.validate,
}


def perform(pack: Pack, job: Job) -> Reply:
    """Do a job; whatever goes wrong is a reply. A fault of ours is told without a word of the visit."""
    try:
        return TASKS[job.task](pack, job)
    except Refusal as refusal:
        return refusal.reply(job.form)
    except LayetteError as error:
        return refused(error, job.form)
    except Exception as error:
        return Refusal("fault", _fault(error)).reply(job.form)


def _fault(error: Exception) -> str:
    place = error.__traceback__
    while place is not None and place.tb_next is not None:
        place = place.tb_next
    where = f"{os.path.basename(place.tb_frame.f_code.co_filename)}:{place.tb_lineno}" if place else "unknown place"
    return f"a fault of the program, not of the input ({type(error).__name__} at {where}); nothing was decided"


def warm(pack: Pack) -> None:
    """Answer an empty visit, so that what is made once is made before the first caller waits for it."""
    with suppress(LayetteError):
        found = answer({"born": "2026-01-01T08:00:00Z", "at": "2026-01-04T08:00:00Z", "findings": {}}, pack)
        found.to_text(pack)
        answer(found.to_fhir(pack), pack)
