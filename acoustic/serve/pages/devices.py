"""Pairing a phone, and the list of devices that may ask."""

from __future__ import annotations

from typing import Any

import segno
from litestar import Request, Response, get, post
from litestar.params import FromPath
from litestar.response import Redirect

from acoustic.serve.access import read_form, session_cookie
from acoustic.serve.question import MOST_LETTERS
from acoustic.serve.shop import device_of, shop_of
from acoustic.serve.view import page

NAMELESS = "a phone without a name"
MOST_SHOWN = 3  # judgement: more codes at once, and nobody knows which to scan


@get("/pair", sync_to_thread=False, include_in_schema=False)
def pair(request: Request[Any, Any, Any]) -> Response[str]:
    """Ask for the code."""
    return page(request, "pair", wrong="")


@post("/pair", status_code=303, include_in_schema=False)
async def redeem(request: Request[Any, Any, Any]) -> Response[Any]:
    """Take a code in exchange for a session."""
    shop, fields = shop_of(request), await read_form(request, token=False)
    if shop.pairing.is_paused():
        return page(request, "pair", status=429, wrong="Too many wrong codes. Wait a minute, then try again.")
    name = fields.get("name", "").strip()[:MOST_LETTERS] or NAMELESS
    secret = shop.pairing.redeem(fields.get("code", ""), name=name)
    if secret is None:
        return page(
            request, "pair", status=403, wrong="This code is not good, or was used already. Ask for a new one."
        )
    cookie = session_cookie(secret, shop.settings)
    return Redirect("/", status_code=303, cookies=[cookie])


@get("/devices", sync_to_thread=True, include_in_schema=False)
def devices(request: Request[Any, Any, Any]) -> Response[str]:
    """List the devices."""
    shop = shop_of(request)
    return page(request, "devices", devices=shop.store.all_devices(), me=device_of(request).uid, codes=())


@post("/devices/code", status_code=200, include_in_schema=False)
async def new_code(request: Request[Any, Any, Any]) -> Response[str]:
    """Show a code for one more device."""
    await read_form(request)
    shop = shop_of(request)
    code = shop.pairing.new_code()
    addresses = shop.settings.shared_addresses[:MOST_SHOWN]
    shown = [{"address": address, "picture": qr_of(pair_address(address, code))} for address in addresses]
    return page(
        request, "devices", devices=shop.store.all_devices(), me=device_of(request).uid, codes=shown, code=code
    )


@post("/devices/{uid:str}/end", status_code=303, include_in_schema=False)
async def end(request: Request[Any, Any, Any], uid: FromPath[str]) -> Redirect:
    """End a device's session."""
    await read_form(request)
    shop_of(request).store.end_device(uid)
    return Redirect("/devices", status_code=303)


@post("/devices/program", status_code=200, include_in_schema=False)
async def new_program(request: Request[Any, Any, Any]) -> Response[str]:
    """Make a token for shop software, and show it this once."""
    fields, shop = await read_form(request), shop_of(request)
    name = fields.get("name", "").strip()[:MOST_LETTERS] or "shop software"
    secret = shop.pairing.open_session(name=name, kind="program")
    return page(
        request, "devices", devices=shop.store.all_devices(), me=device_of(request).uid, codes=(), program=secret
    )


def pair_address(address: str, code: str) -> str:
    """What the QR holds: the code stands behind the #, which browsers send nowhere."""
    return f"{address}/pair#{code}"


def qr_of(text: str) -> str:
    """A QR as SVG, for the page."""
    return segno.make(text, error="m").svg_data_uri(scale=6, border=3, light="#fff", dark="#000")


HANDLERS = [pair, redeem, devices, new_code, new_program, end]
