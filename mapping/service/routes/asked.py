"""From a request to a job, and from its reply to a response."""

from __future__ import annotations

from collections.abc import Mapping
from email.message import Message

from fastapi import Request, Response

from layette.mapping.service.reply import JSON, Refusal, Reply
from layette.mapping.service.work import Job
from layette.mapping.service.workers import Pool


async def ask(
    request: Request, task: str, chosen: Mapping[str, str | None] | None = None, form: str = JSON
) -> Response:
    """Let a worker do a task with the body of the request; None in ``chosen`` is what the caller left out."""
    request.state.form = form
    pool: Pool = request.app.state.pool
    said = {name: value for name, value in (chosen or {}).items() if value is not None}
    return sent(await pool.ask(Job(task, await request.body(), said, form)))


def sent(reply: Reply) -> Response:
    """Return a reply as a response."""
    return Response(reply.body, reply.status, dict(reply.headers), reply.media)


def read_as(request: Request, *media: str) -> str:
    """Return the media type of the body. Raises `Refusal` where it is none of ``media``.

    A page elsewhere can send only the types of a form without asking first, and these are never among them.
    """
    header = Message()
    header["content-type"] = request.headers.get("content-type", "")
    said = header.get_content_type() if header["content-type"] else ""
    if said not in media:
        raise Refusal("media-type", "a body of this kind is not read here", said[:80], f"Content-Type: {media[0]}")
    return said
