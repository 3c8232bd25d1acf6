"""The application: routes, what guards them, and the workers behind them."""

from __future__ import annotations

from collections.abc import Iterable

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from layette.engine import __version__
from layette.mapping.service.guard import Guard, form_of_path
from layette.mapping.service.limits import Limits
from layette.mapping.service.names import LOOPBACK
from layette.mapping.service.reply import Refusal
from layette.mapping.service.routes import fhir, plain, sent
from layette.mapping.service.workers import Pool

_STATUSES = {404: ("not-found", "there is nothing here"), 405: ("method", "this is not asked in that way")}


def application(pool: Pool, limits: Limits, names: Iterable[str] = LOOPBACK) -> Guard:
    """Return the ASGI application; whoever runs it begins and ends ``pool``, before which no request can come."""
    app = FastAPI(
        title="Layette", version=__version__, docs_url=None, redoc_url=None, redirect_slashes=False,
        description="Proposals for the newborn's first office visits, for a clinician to judge. Nothing is kept.",
    )  # fmt: skip
    app.state.pool = pool
    app.include_router(plain.router)
    app.include_router(fhir.router)
    app.add_exception_handler(Refusal, _refused)
    app.add_exception_handler(HTTPException, _by_status)
    app.add_exception_handler(RequestValidationError, _by_query)
    app.add_exception_handler(Exception, _broken)
    return Guard(app, limits, names)


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refusal)
    return sent(error.reply(getattr(request.state, "form", form_of_path(request.url.path))))


async def _by_status(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    code, message = _STATUSES.get(error.status_code, ("not-found", str(error.detail)))
    reply = await _refused(request, Refusal(code, message, expected="what /openapi.json lists"))
    reply.headers.update(error.headers or {})
    return reply


async def _broken(request: Request, _: Exception) -> Response:
    """Tell of a fault of ours without its words; the guard logs where it lies."""
    return await _refused(request, Refusal("fault", "a fault of the program, not of the input; nothing was decided"))


async def _by_query(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    names = ", ".join(str(part["loc"][-1]) for part in error.errors())
    return await _refused(request, Refusal("query", f"not usable: {names}", expected="what /openapi.json lists"))
