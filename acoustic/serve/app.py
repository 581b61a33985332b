"""The application: its pages, who may see them, and what is said where something goes wrong."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from pathlib import Path
from typing import Any

from litestar import Litestar, Request, Response
from litestar.datastructures import State
from litestar.exceptions import HTTPException
from litestar.static_files import create_static_files_router

from acoustic.errors import AcousticError, InputError
from acoustic.serve.access import API, Access
from acoustic.serve.interface import OPENAPI, ROUTER, Problem
from acoustic.serve.pages import (
    again,
    bikes,
    book,
    changes_to_bikes,
    checks,
    creak,
    devices,
    fit,
    guide,
    helping,
    lifetimes,
    today,
)
from acoustic.serve.shop import Shop
from acoustic.serve.view import page

STATIC = Path(__file__).parent / "static"
# Judgement: forms are short; uploads are bounded where they are read, by the byte.
MOST_FORM_BYTES = 5_000_000


def create_app(shop: Shop) -> Litestar:
    """Put the pages together.

    Parameters
    ----------
    shop : Shop
        Closed by whoever opened it.

    Returns
    -------
    Litestar
    """
    return Litestar(
        route_handlers=[
            *today.HANDLERS,
            *checks.HANDLERS,
            *again.HANDLERS,
            *bikes.HANDLERS,
            *changes_to_bikes.HANDLERS,
            *creak.HANDLERS,
            *fit.HANDLERS,
            *lifetimes.HANDLERS,
            *book.HANDLERS,
            *devices.HANDLERS,
            *guide.HANDLERS,
            *helping.HANDLERS,
            ROUTER,
            create_static_files_router(path="/static", directories=[STATIC], cache_control=None),
        ],
        middleware=[partial(Access, settings=shop.settings, pairing=shop.pairing)],
        exception_handlers={HTTPException: _refused, AcousticError: _wrong, Exception: _fault},
        lifespan=[_running],
        state=State({"shop": shop}),
        request_max_body_size=MOST_FORM_BYTES,
        openapi_config=OPENAPI,
        debug=False,
    )


@asynccontextmanager
async def _running(app: Litestar) -> AsyncIterator[None]:
    shop: Shop = app.state.shop
    shop.changes.bind()
    shop.queue.start()
    yield


def _refused(request: Request[Any, Any, Any], error: HTTPException) -> Response[Any]:
    if _is_program(request):
        return _problem(error.status_code, _sentence(error.detail), "See /api/schema/openapi.json.")
    if error.status_code == 401:
        return page(request, "unpaired", status=401)
    return page(request, "wrong", status=error.status_code, found=_sentence(error.detail), hint="")


def _wrong(request: Request[Any, Any, Any], error: AcousticError) -> Response[Any]:
    status = 400 if isinstance(error, InputError) else 500
    if _is_program(request):
        return _problem(status, _sentence(error.found), error.hint)
    return page(request, "wrong", status=status, found=_sentence(error.found), hint=error.hint)


def _fault(request: Request[Any, Any, Any], error: Exception) -> Response[Any]:
    import logging

    logging.getLogger("acoustic.serve").error("%s: %s", request.url.path, type(error).__name__, exc_info=error)
    if _is_program(request):
        return _problem(500, "A fault of the program, not yours.", "Tell whoever looks after the program.")
    return page(
        request,
        "wrong",
        status=500,
        found="A fault of the program, not yours.",
        hint="Go back and try once more; if it stays, tell whoever looks after the program what you did.",
    )


def _is_program(request: Request[Any, Any, Any]) -> bool:
    return request.url.path.startswith(API)


def _problem(status: int, found: str, hint: str) -> Response[Any]:
    return Response(Problem(found=found, hint=hint), status_code=status)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"
