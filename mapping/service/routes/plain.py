"""What the exam page asks, and what keeps a server running."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request, Response

from layette.mapping.service.assets import asset
from layette.mapping.service.reply import plain
from layette.mapping.service.routes.asked import ask, read_as, sent

router = APIRouter()

JSON_TYPES = ("application/json",)


@router.get("/", response_class=Response)
async def exam_page(request: Request) -> Response:
    """The exam page, made from the pack."""
    return await ask(request, "exam-page")


@router.get("/assets/{name}", response_class=Response)
async def asset_of_the_page(name: str) -> Response:
    """A script, a style or a drawing of the exam page."""
    return sent(asset(name))


@router.get("/health")
async def health(request: Request) -> Response:
    """Whether there are workers to answer."""
    ready = request.app.state.pool.ready
    return sent(plain({"status": "ok" if ready else "no workers", "workers": ready}, 200 if ready else 503))


@router.post("/assess", response_class=Response)
async def assess(request: Request, page: Annotated[Literal["text"] | None, Query()] = None) -> Response:
    """The answer for a flat visit."""
    read_as(request, *JSON_TYPES)
    return await ask(request, "assess", {"page": page})
