"""Opening a file: what is read of it, as the flat visit that the exam page and programs go on from."""

from __future__ import annotations

from typing import Any

from layette.engine.api import Pack
from layette.engine.visit.carried import PART, written
from layette.mapping.codes import OWN_BASE
from layette.mapping.fhir.json import dumps
from layette.mapping.intake import CallerSays, take
from layette.mapping.pages.exam.opened import opened
from layette.mapping.service.reply import JSON, Reply, plain
from layette.mapping.service.work.job import Job


def read(pack: Pack, job: Job) -> Reply:
    """Return `{"visit", "earlier", "account", "notices", "problems"}` of a file of any kind that is read.

    ``visit`` is the flat visit, ``earlier`` its findings of other visits. What was refused is not in it: it stands in
    ``problems``, as a visit carries them; whoever takes the visit without them has to tell of them himself.
    """
    chosen = job.chosen
    says = CallerSays(chosen.get("at"), chosen.get("subject"), chosen.get("encounter"))
    intake = take(job.body, pack, pack.site.canonical or OWN_BASE, says)
    visit = {name: part for name, part in intake.visit.items() if name != PART}
    history = visit.get("history")
    made: dict[str, Any] = {
        "visit": visit,
        "earlier": history.get("findings", {}) if isinstance(history, dict) else {},
        "account": str(intake.account()),
        "notices": list(intake.notices),
        "problems": written(intake.problems),
    }
    return Reply(200, JSON, dumps(made).encode())


def open_for_exam(pack: Pack, job: Job) -> Reply:
    """Return what the exam page makes of a file: this visit, or with ``as=earlier`` one to put beside it."""
    earlier = job.chosen.get("as") == "earlier"
    return plain(opened(job.body, pack, earlier=earlier, born=job.chosen.get("born")))
