"""A flat visit in, an answer out."""

from __future__ import annotations

from layette.engine.api import Pack
from layette.mapping.answering import answer
from layette.mapping.service.reply import JSON, Reply
from layette.mapping.service.work.job import Job


def assess(pack: Pack, job: Job) -> Reply:
    """Answer a visit as `{"assessment", "account", "problems": []}`; with ``page=text`` the page of text beside it."""
    import json

    found = answer(job.body, pack)
    parts = [
        f'"assessment": {found.assessment.to_json(None)}',
        f'"account": {json.dumps(str(found.account), ensure_ascii=False)}',
        '"problems": []',
    ]
    if job.chosen.get("page") == "text":
        parts.append(f'"page": {json.dumps(found.to_text(pack), ensure_ascii=False)}')
    return Reply(200, JSON, ("{" + ", ".join(parts) + "}").encode())
