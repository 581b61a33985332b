"""What is written down about a bike by hand: a bearing replaced, a name put right, a visit taken out of lists."""

from __future__ import annotations

from datetime import date
from typing import Any

from litestar import Request, post
from litestar.exceptions import NotFoundException
from litestar.params import FromPath
from litestar.response import Redirect

from acoustic.bearings.catalogue import load_catalogue
from acoustic.bearings.names import Settled, settle
from acoustic.book.bikes import find_bike_by_uid
from acoustic.book.distance import refuse_count
from acoustic.book.records import Bike, Fitted
from acoustic.book.replacing import replace_bearing
from acoustic.book.slips import rename_bike
from acoustic.book.visits import remove, require_visit
from acoustic.errors import InputError
from acoustic.serve.access import read_form
from acoustic.serve.pages.checks import number
from acoustic.serve.question import MOST_LETTERS
from acoustic.serve.shop import Shop, shop_of


@post("/bikes/{uid:str}/replaced", status_code=303, include_in_schema=False)
async def replaced(request: Request[Any, Any, Any], uid: FromPath[str]) -> Redirect:
    """Write down that the bearing was replaced today."""
    fields, shop = await read_form(request), shop_of(request)
    words = {name: fields.get(name, "").strip()[:MOST_LETTERS] for name in ("bearing", "because", "seal", "side")}
    km = number(fields.get("km", ""), "the kilometres", thousands=True)
    kind = settle(load_catalogue(None), words["bearing"]) if words["bearing"] else Settled("")
    with shop.book.writing() as connection:
        bike = _require(connection, uid)
        refuse_count(connection, bike.name, date.today(), km)
        new = Fitted(
            bike=bike.name,
            installed_on=date.today(),
            designation=kind.designation,
            seal=words["seal"] or kind.seal,
            side=words["side"] if words["side"] in ("drive", "non-drive") else "",
            installed_km=km,
        )
        replace_bearing(connection, new, because=words["because"] or "worn")
    return _back(shop, uid)


@post("/bikes/{uid:str}/name", status_code=303, include_in_schema=False)
async def rename(request: Request[Any, Any, Any], uid: FromPath[str]) -> Redirect:
    """Give a bike another name; the old one leads on to it."""
    fields, shop = await read_form(request), shop_of(request)
    with shop.book.writing() as connection:
        bike = _require(connection, uid)
        rename_bike(connection, bike.name, fields.get("name", "")[:MOST_LETTERS], _because(fields))
    return _back(shop, uid)


@post("/bikes/{uid:str}/visits/{number:int}/remove", status_code=303, include_in_schema=False)
async def take_back(request: Request[Any, Any, Any], uid: FromPath[str], number: FromPath[int]) -> Redirect:
    """Take a visit out of lists and trends; it is kept with the reason."""
    fields, shop = await read_form(request), shop_of(request)
    with shop.book.writing() as connection:
        bike = _require(connection, uid)
        if require_visit(connection, number).bike != bike.name:
            raise NotFoundException("this bike has no such visit")
        remove(connection, number, _because(fields))
    return _back(shop, uid)


def _require(connection: Any, uid: str) -> Bike:
    bike = find_bike_by_uid(connection, uid)
    if bike is None:
        raise NotFoundException("the book has no such bike")
    return bike


def _because(fields: dict[str, str]) -> str:
    because = fields.get("because", "").strip()[:MOST_LETTERS]
    if not because:
        raise InputError("the reason is missing", hint="Say in a few words why; it is kept with what was there.")
    return because


def _back(shop: Shop, uid: str) -> Redirect:
    shop.changes.tell()
    return Redirect(f"/bikes/{uid}", status_code=303)


HANDLERS = [replaced, rename, take_back]
