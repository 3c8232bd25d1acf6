"""What the exam page asks, and what keeps a server running."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from layette.mapping.service.assets import asset, schema
from layette.mapping.service.reply import FHIR_JSON, plain
from layette.mapping.service.routes.asked import ask, read_as, sent
from layette.mapping.service.routes.described import ANSWER, FILE, HTML_PAGE, VISIT, problems

router = APIRouter(default_response_class=Response, responses=problems())

JSON_TYPES = ("application/json",)
FILE_TYPES = (
    "application/octet-stream", "application/json", FHIR_JSON, "application/xml", "application/fhir+xml", "text/xml",
    "application/yaml",
)  # fmt: skip


@router.get("/", responses=HTML_PAGE)
async def exam_page(request: Request) -> Response:
    """The exam page, made from the pack."""
    return await ask(request, "exam-page")


@router.get("/assets/{name}")
async def asset_of_the_page(name: str) -> Response:
    """A script, a style or a drawing of the exam page."""
    return sent(asset(name))


@router.get("/schemas/{name}")
async def published_schema(name: str) -> Response:
    """A published JSON Schema, such as visit.schema.json."""
    return sent(schema(name))


@router.get("/health")
async def health(request: Request) -> Response:
    """Whether there are workers to answer."""
    ready = request.app.state.pool.ready
    return sent(plain({"status": "ok" if ready else "no workers", "workers": ready}, 200 if ready else 503))


@router.post("/assess", openapi_extra=VISIT, responses=ANSWER)
async def assess(request: Request, page: Annotated[Literal["text", "exam"] | None, Query()] = None) -> Response:
    """The answer for a flat visit. `page=text` adds the page of text; `page=exam` gives what the exam page shows."""
    read_as(request, *JSON_TYPES)
    return await ask(request, "assess", {"page": page})


@router.post("/report", openapi_extra=VISIT, responses=HTML_PAGE)
async def report(request: Request) -> Response:
    """The report of a visit, as one self-contained page."""
    read_as(request, *JSON_TYPES)
    return await ask(request, "report")


@router.post("/family-sheet", openapi_extra=VISIT, responses=HTML_PAGE)
async def family_sheet(request: Request, language: str | None = None) -> Response:
    """The sheet that the family keeps, as one self-contained page; `language` is such as es."""
    read_as(request, *JSON_TYPES)
    return await ask(request, "family-sheet", {"language": language})


@router.get("/form", responses=HTML_PAGE)
async def family_form(
    request: Request, language: str | None = None, apart: Literal["true", "false"] | None = None
) -> Response:
    """What the family is asked before the visit; `apart=true` is what is asked alone, `language` is such as es."""
    return await ask(request, "family-form", {"language": language, "apart": apart})


@router.post("/visits/read", openapi_extra=FILE)
async def read_a_visit(
    request: Request, at: str | None = None, subject: str | None = None, encounter: str | None = None
) -> Response:
    """A file (FHIR, HL7 v2, a flat visit) as a flat visit, with earlier findings, and what was refused of it."""
    read_as(request, *FILE_TYPES)
    return await ask(request, "read", {"at": at, "subject": subject, "encounter": encounter})


@router.post("/exam/open", openapi_extra=FILE)
async def open_in_the_exam_page(
    request: Request, chosen: Annotated[Literal["earlier"] | None, Query(alias="as")] = None, born: str | None = None
) -> Response:
    """A file as the exam page takes it: as this visit, or with `as=earlier` to put beside it."""
    read_as(request, *FILE_TYPES)
    return await ask(request, "open", {"as": chosen, "born": born})


@router.post("/exam/fhir", openapi_extra=VISIT)
async def flat_visit_as_fhir(request: Request) -> Response:
    """A flat visit as a FHIR Bundle, to keep as a file; `/exam/open` reads it again."""
    read_as(request, *JSON_TYPES)
    return await ask(request, "fhir-of-flat", form=FHIR_JSON)
