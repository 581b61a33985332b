"""The bikes of the book, and one bike: its bearings and its visits."""

from __future__ import annotations

from typing import Any

from litestar import Request, Response, get
from litestar.exceptions import NotFoundException
from litestar.params import FromPath

from acoustic.book.bikes import all_bikes, bearings_of
from acoustic.book.visits import list_visits
from acoustic.serve.shop import shop_of
from acoustic.serve.view import page


@get("/bikes", sync_to_thread=True, include_in_schema=False)
def all_of_them(request: Request[Any, Any, Any]) -> Response[str]:
    """List the bikes."""
    with shop_of(request).book.reading() as connection:
        return page(request, "bikes", bikes=all_bikes(connection))


@get("/bikes/{uid:str}", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any], uid: FromPath[str]) -> Response[str]:
    """Show one bike."""
    with shop_of(request).book.reading() as connection:
        bike = next((one for one in all_bikes(connection) if one.uid == uid), None)
        if bike is None:
            raise NotFoundException("the book has no such bike")
        fitted, visits = bearings_of(connection, bike.name), list_visits(connection, bike=bike.name)
    return page(request, "bike", bike=bike, bearings=fitted, visits=visits[::-1])


HANDLERS = [all_of_them, show]
