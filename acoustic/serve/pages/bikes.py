"""The bikes of the book; one bike with its bearings, visits and trends; what falls due."""

from __future__ import annotations

from datetime import date
from typing import Any

from litestar import Request, Response, get
from litestar.exceptions import NotFoundException
from litestar.params import FromPath

from acoustic.book.bikes import all_bearings, all_bikes, bearings_of, find_bike_by_uid
from acoustic.book.due import due_list
from acoustic.book.series import all_series
from acoustic.book.visits import list_visits
from acoustic.report.bike_sections import bike_lead, bike_sections
from acoustic.report.due_text import due_sentences
from acoustic.serve.drawing import ONE_AT_A_TIME
from acoustic.serve.shop import Shop, shop_of
from acoustic.serve.view import page

DUE_WITHIN_DAYS = 30.0  # a month: parts are ordered and a day is found within it


@get("/bikes", sync_to_thread=True, include_in_schema=False)
def all_of_them(request: Request[Any, Any, Any]) -> Response[str]:
    """List the bikes."""
    with shop_of(request).book.reading() as connection:
        return page(request, "bikes", bikes=all_bikes(connection))


@get("/bikes/{uid:str}", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any], uid: FromPath[str]) -> Response[str]:
    """Show one bike: what counts last, its trends, its bearings, its visits."""
    with shop_of(request).book.reading() as connection:
        bike = find_bike_by_uid(connection, uid)
        if bike is None:
            raise NotFoundException("the book has no such bike")
        fitted, visits = bearings_of(connection, bike.name), list_visits(connection, bike=bike.name)
    series = all_series(visits, fitted, None, date.today())
    with ONE_AT_A_TIME:
        sections = bike_sections(visits, fitted, series)
    return page(
        request,
        "bike",
        bike=bike,
        bearings=fitted,
        visits=visits[::-1],
        lead=bike_lead(visits, fitted),
        sections=sections,
    )


@get("/due", sync_to_thread=True, include_in_schema=False)
def due(request: Request[Any, Any, Any]) -> Response[str]:
    """List what falls due within a month, soonest first."""
    return page(request, "due", due=due_soon(shop_of(request)), days=round(DUE_WITHIN_DAYS))


def due_soon(shop: Shop) -> list[dict[str, Any]]:
    """What falls due within a month, soonest first."""
    with shop.book.reading() as connection:
        visits, bearings = list_visits(connection), all_bearings(connection)
        uids = {one.name: one.uid for one in all_bikes(connection)}
    found = due_list(visits, bearings, date.today(), within_days=DUE_WITHIN_DAYS)
    return [{"bike": bike, "uid": uids[bike], "sentences": told} for bike, told in due_sentences(found)]


HANDLERS = [all_of_them, show, due]
