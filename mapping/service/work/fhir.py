"""FHIR in, FHIR out."""

from __future__ import annotations

from typing import Any, cast

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
from layette.mapping.answering import answer
from layette.mapping.intake import parse
from layette.mapping.pages.exam.saved import as_fhir
from layette.mapping.service.reply import Reply, fhir
from layette.mapping.service.work.choices import language_of
from layette.mapping.service.work.flat import answered
from layette.mapping.service.work.job import Job
from layette.mapping.write.run.context import Parts

_SPACE = b" \t\r\n\xef\xbb\xbf"


def assess(pack: Pack, job: Job) -> Reply:
    """Answer a Bundle with a transaction Bundle; see `Answer.to_fhir`."""
    chosen = job.chosen
    found = answer(
        _resource(job.body, "bundle"), pack, at=chosen.get("at"), subject=chosen.get("subject"),
        encounter=chosen.get("encounter"),
    )  # fmt: skip
    parts = cast(Parts, chosen.get("parts", "care"))
    return fhir(found.to_fhir(pack, parts=parts, language=language_of(pack, job)), job.form)


def of_flat(pack: Pack, job: Job) -> Reply:
    """Return a flat visit as FHIR, such as the exam page opens again: the baby, the visit, each recording."""
    return fhir(as_fhir(answered(pack, job), pack), job.form)


def validate(pack: Pack, job: Job) -> Reply:
    """Check a resource of anyone's; what is wrong is the answer, not an error."""
    from layette.mapping.validate import validate as checked
    from layette.mapping.validate.report import operation_outcome

    content = _resource(job.body, "resource")
    resource = parse(content) if isinstance(content, bytes) else content
    issues = checked(resource, advice=job.chosen.get("advice") == "true")
    return fhir(operation_outcome(issues), job.form)


def _resource(body: bytes, parameter: str) -> Any:
    """Return the body, or the resource that lies in it in the Parameters by which an operation may be asked."""
    if body.lstrip(_SPACE)[:1] not in (b"{", b"<"):
        raise InputError([InputProblem("$", "not-json", "this is no FHIR resource", expected="one as JSON or XML")])
    if b"Parameters" not in body:  # bytes are read faster than what was parsed already
        return body
    content = parse(body)
    if content.get("resourceType") != "Parameters":
        return content
    parts = content.get("parameter")
    named = [part for part in parts if _is(part, parameter)] if isinstance(parts, list) else []
    return named[0]["resource"] if len(named) == 1 else content


def _is(part: Any, parameter: str) -> bool:
    return isinstance(part, dict) and part.get("name") == parameter and isinstance(part.get("resource"), dict)
