"""From a request to a job, and from its reply to a response."""

from __future__ import annotations

from collections.abc import Mapping
from email.message import Message

from fastapi import Request, Response

from layette.mapping.service.reply import FHIR_JSON, FHIR_XML, JSON, Refusal, Reply
from layette.mapping.service.work import Job
from layette.mapping.service.workers import Pool

_FORMS = {
    FHIR_JSON: (FHIR_JSON, "application/json", "text/json", "json", "*/*", "application/*"),
    FHIR_XML: (FHIR_XML, "application/xml", "text/xml", "xml"),
}
_FORM: Mapping[str, str] = {media: form for form, several in _FORMS.items() for media in several}
FHIR_TYPES = (FHIR_JSON, "application/json", FHIR_XML, "application/xml", "text/xml")


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
    said = _media(request.headers.get("content-type", ""))
    if said not in media:
        raise Refusal("media-type", "a body of this kind is not read here", said[:80], f"Content-Type: {media[0]}")
    return said


def fhir_form(request: Request) -> str:
    """Return the form of FHIR that the caller wants back: by `_format`, `Accept`, else that of what was sent.

    Raises `Refusal` where it can be none.
    """
    asked = request.query_params.get("_format") or request.headers.get("accept", "")
    wanted = sorted((_weighed(part) for part in asked.replace(" ", "+").split(",") if part), key=lambda one: -one[0])
    sent_as = _FORM.get(_media(request.headers.get("content-type", "")), FHIR_JSON)
    for weight, media in wanted or [(1.0, "*/*")]:
        if weight > 0 and media in _FORM:
            return sent_as if "*" in media else _FORM[media]
    raise Refusal("accept", "FHIR is not given in that form", asked[:80], f"Accept: {FHIR_JSON} or {FHIR_XML}")


def _weighed(part: str) -> tuple[float, str]:
    """Return one part of an `Accept` header with its weight, 1 where it has none that is a number."""
    header = Message()
    header["content-type"] = part.strip("+").replace(";+", ";")
    try:
        weight = float(str(header.get_param("q", "1")))
    except ValueError:
        weight = 1.0
    return weight, part.partition(";")[0].strip("+").lower()


def _media(header: str) -> str:
    """Return the media type in a header, without its parameters."""
    return header.partition(";")[0].strip().lower()
