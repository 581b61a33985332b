"""Today: what came in, newest first, and the stream of changes that keeps it up to date."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Any

from litestar import Request, Response, get
from litestar.response import ServerSentEvent

from acoustic.serve.judging import read_progress
from acoustic.serve.pages.bikes import due_soon
from acoustic.serve.shop import Shop, shop_of
from acoustic.serve.view import page

MOST_DUE = 5  # judgement: a day's work too; all of them stand on their own page
SHOWN = 30  # judgement: a day's work; older ones stand with their bikes


@get("/", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any]) -> Response[str]:
    """Show the page."""
    shop = shop_of(request)
    return page(request, "today", rows=_rows(shop), due=due_soon(shop)[:MOST_DUE])


@get("/today/rows", sync_to_thread=True, include_in_schema=False)
def rows(request: Request[Any, Any, Any]) -> Response[str]:
    """Show the list alone, for a page that is open."""
    return page(request, "today_rows", rows=_rows(shop_of(request)))


@get("/more", sync_to_thread=False, include_in_schema=False)
def more(request: Request[Any, Any, Any]) -> Response[str]:
    """Show the way to what is needed less often."""
    return page(request, "more")


@get("/changes", sync_to_thread=False, include_in_schema=False)
def changes(request: Request[Any, Any, Any]) -> ServerSentEvent:
    """Tell a page that is open of every change."""

    async def told() -> AsyncIterator[dict[str, str]]:
        async for count in shop_of(request).changes.follow():
            yield {"event": "change", "data": str(count)}

    return ServerSentEvent(told())


def _rows(shop: Shop) -> list[dict[str, Any]]:
    found = shop.store.newest_checks(SHOWN)
    return [
        {"check": one, "doing": read_progress(shop.queue.folder_of(one.uid)) if one.is_open else ""}
        for one in found
    ]


HANDLERS = [show, rows, more, changes]
