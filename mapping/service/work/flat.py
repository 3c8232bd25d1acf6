"""A flat visit in, an answer out."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
from layette.mapping.answering import Answer, answer
from layette.mapping.pages.exam.live import live
from layette.mapping.service.reply import JSON, Reply
from layette.mapping.service.work.job import Job

_SPACE = b" \t\r\n\xef\xbb\xbf"


def assess(pack: Pack, job: Job) -> Reply:
    """Answer a visit as `{"assessment", "account", "problems": []}`.

    ``page`` as the caller chose: `text` adds the page of text; `exam` gives, in place of the assessment, what the exam
    page shows of it.
    """
    parts = dict(_parts(answered(pack, job), pack, job.chosen.get("page")))
    return Reply(200, JSON, ("{" + ", ".join(f'"{name}": {made}' for name, made in parts.items()) + "}").encode())


def _parts(found: Answer, pack: Pack, page: str | None) -> Iterator[tuple[str, str]]:
    if page == "exam":
        yield "answer", _json(live(found.assessment, pack))
    else:
        yield "assessment", found.assessment.to_json(None)
    yield "account", _json(str(found.account))
    yield "problems", "[]"
    if page == "text":
        yield "page", _json(found.to_text(pack))


def answered(pack: Pack, job: Job) -> Answer:
    """Return the answer for the body of a job: a flat visit as JSON, and nothing else. Raises `InputError`."""
    if job.body.lstrip(_SPACE)[:1] != b"{":
        raise InputError([InputProblem("$", "not-json", "this is no flat visit", expected="a JSON object")])
    return answer(job.body, pack)


def _json(content: Any) -> str:
    return json.dumps(content, ensure_ascii=False)
