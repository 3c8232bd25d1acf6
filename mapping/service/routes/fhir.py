"""What a record system asks, as FHIR R4. Errors are an OperationOutcome."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter, Request, Response

from layette.mapping.service.routes.asked import FHIR_TYPES, ask, fhir_form, read_as
from layette.mapping.service.routes.described import FHIR_BODY, FHIR_REPLY, outcomes

router = APIRouter(prefix="/fhir", default_response_class=Response, responses=FHIR_REPLY | outcomes())


def _asked(request: Request) -> str:
    """Return the form of the reply, and hold the body to the forms of FHIR."""
    form = request.state.form = fhir_form(request)
    read_as(request, *FHIR_TYPES)
    return form


def _base(request: Request) -> str:
    """Return the address by which the caller reached this server; the guard knows that the name is its own."""
    return f"{request.url.scheme}://{request.headers['host']}/fhir"


@router.post("/$assess", openapi_extra=FHIR_BODY)
async def assess_bundle(
    request: Request,
    at: str | None = None,
    subject: str | None = None,
    encounter: str | None = None,
    parts: Literal["care", "inbox", "all"] = "care",
    language: str | None = None,
) -> Response:
    """A visit as a Bundle in, what is proposed as a transaction Bundle out."""
    form = _asked(request)
    chosen = {"at": at, "subject": subject, "encounter": encounter, "parts": parts, "language": language}
    return await ask(request, "fhir-assess", chosen, form)


@router.post("/$validate", openapi_extra=FHIR_BODY)
async def validate_resource(request: Request, advice: Literal["true", "false"] = "false") -> Response:
    """Anyone's resource in, an OperationOutcome out; with `advice=true` also what R4 only recommends."""
    form = _asked(request)
    return await ask(request, "validate", {"advice": advice}, form)


@router.get("/metadata")
async def capability_statement(request: Request) -> Response:
    """What this server can do, as a CapabilityStatement."""
    return await ask(request, "capabilities", {"base": _base(request)}, fhir_form(request))


@router.get("/{kind}")
async def resources_of_a_type(request: Request, kind: str, url: str | None = None) -> Response:
    """What the pack publishes of one type, such as its PlanDefinition, as a searchset; `url` or `_id` ask for one."""
    chosen = {"kind": kind, "base": _base(request), "url": url, "_id": request.query_params.get("_id")}
    return await ask(request, "resources", chosen, fhir_form(request))


@router.get("/{kind}/{name}")
async def resource_of_the_pack(request: Request, kind: str, name: str) -> Response:
    """One resource that the pack publishes, such as the exam as a Questionnaire."""
    return await ask(request, "resource", {"kind": kind, "id": name}, fhir_form(request))
