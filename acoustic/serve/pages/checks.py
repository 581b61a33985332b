"""A new check, and its result."""

from __future__ import annotations

import asyncio
import base64
import mimetypes
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec
from litestar import Request, Response, get, post
from litestar.exceptions import NotFoundException
from litestar.params import FromPath, FromQuery
from litestar.response import File, Redirect

from acoustic.book.bikes import all_bikes, bearings_of
from acoustic.book.visits import list_visits
from acoustic.check.document import decode
from acoustic.errors import InputError
from acoustic.languages import ENGLISH, LANGUAGES
from acoustic.report.bike_sections import bike_lead
from acoustic.report.page import page_of_slip
from acoustic.report.page.bench import Bench
from acoustic.serve.access import read_form, require_token
from acoustic.serve.judging import DETAILS, read_document, read_progress, recording_in
from acoustic.serve.question import GYRO, MARKS, MOST_LETTERS, Question, require_known
from acoustic.serve.shop import Shop, device_of, shop_of
from acoustic.serve.store import Check
from acoustic.serve.uploads import receive
from acoustic.serve.view import page
from acoustic.typed import number_in

MOST = 1e7  # judgement: no count of turns, no kilometres and no millimetres reach it
# The slip bears its own style, and no script.
SLIP_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'"
BESIDE = {"marks": MARKS, "gyro": GYRO}
# The form's token and these are the fields; the recording comes last.
TEXTS = ("bike", "bearing", "way", "kind", "recorder", "notes")


@get("/new", sync_to_thread=True, include_in_schema=False)
def new(
    request: Request[Any, Any, Any],
    bike: FromQuery[str] = "",
    bearing: FromQuery[str] = "",
    kind: FromQuery[str] = "",
) -> Response[str]:
    """Ask what is needed for a check."""
    return page(request, "new", bikes=known_bikes(shop_of(request)), bike=bike, bearing=bearing, kind=kind)


@get("/record", sync_to_thread=True, include_in_schema=False)
def record(
    request: Request[Any, Any, Any],
    bike: FromQuery[str] = "",
    bearing: FromQuery[str] = "",
    kind: FromQuery[str] = "",
) -> Response[str]:
    """Record a spin in the page."""
    return page(request, "record", bikes=known_bikes(shop_of(request)), bike=bike, bearing=bearing, kind=kind)


def known_bikes(shop: Shop) -> list[str]:
    """Names of the book's bikes, to choose from."""
    with shop.book.reading() as connection:
        return [one.name for one in all_bikes(connection)]


@post("/checks", request_max_body_size=None, status_code=303, include_in_schema=False)
async def send(request: Request[Any, Any, Any]) -> Redirect:
    """Take a recording in; on the answer it is safe."""
    check = await take_upload(request)
    return Redirect(f"/checks/{check.uid}", status_code=303)


async def take_upload(request: Request[Any, Any, Any]) -> Check:
    """Read a form with a recording, and put it into the queue.

    Raises
    ------
    InputError
        Something is missing or not understood.
    PermissionDeniedException
        The form is not ours.
    """
    shop, uid = shop_of(request), secrets.token_hex(16)
    who = device_of(request).name
    shop.queue.require_room(who)
    target = shop.settings.folder / f".{uid}.upload"

    def wanted(fields: dict[str, str]) -> None:
        if not request.state.from_program:
            require_token(request, fields)
        question_of(fields)

    try:
        upload = await receive(request.stream(), request.headers.get("content-type", ""), target, wanted=wanted)
        question = question_of(upload.fields)

        def beside(folder: Path) -> None:
            for name, file in BESIDE.items():
                if upload.fields.get(name, "").strip():
                    (folder / file).write_text(upload.fields[name], encoding="utf-8")

        name = upload.name[-MOST_LETTERS:]
        # In a thread: it waits for the disk, and other phones are not to wait with it.
        return await asyncio.to_thread(
            shop.queue.accept, uid, target, question, name=name, device=who, beside=beside
        )
    finally:
        target.unlink(missing_ok=True)


def question_of(fields: Mapping[str, str]) -> Question:
    """Read what was said with a recording.

    Raises
    ------
    InputError
        A number is none, a bearing is not known, or a choice is not among those offered.
    """
    said: dict[str, Any] = {
        name: fields.get(name, "").strip()[:MOST_LETTERS] for name in TEXTS if fields.get(name)
    }
    if not said.get("bike"):
        raise InputError("the bike is missing", hint="Give the ticket number, or any name for the bike.")
    said["turns"] = number(fields.get("turns", ""), "the number of turns")
    said["distance_km"] = number(fields.get("distance_km", ""), "the distance", thousands=True)
    said["side"] = fields.get("side") or None
    if said.get("way") == "turns" and said["turns"] is None:
        raise InputError("the number of turns is missing", hint="Count the whole turns of the spin by eye.")
    try:
        question = msgspec.convert(said, Question)
    except msgspec.ValidationError as error:
        raise InputError(f"the form was not understood ({error})", hint="Use the page's own form.") from None
    require_known(question.bearing)
    return question


def number(text: str, what: str, *, thousands: bool = False) -> float | None:
    """Read a number as people type it, with point or comma; None where nothing was typed.

    Raises
    ------
    InputError
        It is no number, or none above 0.
    """
    if not text.strip():
        return None
    try:
        value = number_in(text[:MOST_LETTERS], thousands=thousands)
    except ValueError as error:
        raise InputError(f"{what}: {error}", hint="Put it right, and send it again.") from None
    if not 0 < value < MOST:
        raise InputError(f"{what} is {text[:20].strip()}", hint="Write a number above 0, such as 9,5 or 9.5.")
    return value


def require_check(shop: Shop, uid: str) -> Check:
    """Look a check up.

    Raises
    ------
    NotFoundException
        There is none.
    """
    check = shop.store.check(uid)
    if check is None:
        raise NotFoundException("there is no such check")
    return check


@get("/checks/{uid:str}", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any], uid: FromPath[str]) -> Response[str]:
    """Show how far a check is, or what it found."""
    return page(request, "check", **_known(shop_of(request), uid))


@get("/checks/{uid:str}/rows", sync_to_thread=True, include_in_schema=False)
def rows(request: Request[Any, Any, Any], uid: FromPath[str]) -> Response[str]:
    """Show the part of the page that changes, for a page that is open."""
    return page(request, "check_rows", **_known(shop_of(request), uid))


def _known(shop: Shop, uid: str) -> dict[str, Any]:
    check = require_check(shop, uid)
    folder = shop.queue.folder_of(uid)
    return {
        "check": check,
        "doing": read_progress(folder) if check.is_open else "",
        "document": None if check.is_open else read_document(folder),
        "languages": LANGUAGES,
    }


@post("/checks/{uid:str}/stop", status_code=303, include_in_schema=False)
async def stop(request: Request[Any, Any, Any], uid: FromPath[str]) -> Redirect:
    """Stop a check that is open."""
    await read_form(request)
    shop = shop_of(request)
    shop.queue.cancel(require_check(shop, uid).uid)
    return Redirect(f"/checks/{uid}", status_code=303)


@get("/checks/{uid:str}/details", sync_to_thread=True, include_in_schema=False)
def details(request: Request[Any, Any, Any], uid: FromPath[str]) -> Response[str]:
    """Show pictures, sounds and evidence, once they are drawn."""
    shop = shop_of(request)
    check = require_check(shop, uid)
    bench = _bench(shop, check) if check.state in ("judged", "unusable") and shop.queue.draw(uid) else None
    return page(request, "details", check=check, bench=bench)


def _bench(shop: Shop, check: Check) -> Bench:
    return msgspec.json.decode((shop.queue.folder_of(check.uid) / DETAILS).read_bytes(), type=Bench)


@get("/checks/{uid:str}/picture/{number:int}", sync_to_thread=True, include_in_schema=False)
def picture(request: Request[Any, Any, Any], uid: FromPath[str], number: FromPath[int]) -> Response[bytes]:
    """One picture of a check."""
    shop = shop_of(request)
    return _part(_bench_or_none(shop, uid), "pictures", number)


@get("/checks/{uid:str}/sound/{number:int}", sync_to_thread=True, include_in_schema=False)
def sound(request: Request[Any, Any, Any], uid: FromPath[str], number: FromPath[int]) -> Response[bytes]:
    """One sound of a check."""
    shop = shop_of(request)
    return _part(_bench_or_none(shop, uid), "sounds", number)


def _bench_or_none(shop: Shop, uid: str) -> Bench | None:
    check = require_check(shop, uid)
    return _bench(shop, check) if (shop.queue.folder_of(uid) / DETAILS).is_file() else None


def _part(bench: Bench | None, kind: str, number: FromPath[int]) -> Response[bytes]:
    parts = getattr(bench, kind, ())
    if not 0 <= number < len(parts):
        raise NotFoundException("there is no such picture or sound")
    head, _, coded = parts[number].uri.partition(",")
    media_type = head.removeprefix("data:").removesuffix(";base64")
    return Response(
        base64.b64decode(coded), media_type=media_type, headers={"cache-control": "private, max-age=86400"}
    )


@get("/checks/{uid:str}/recording", sync_to_thread=True, include_in_schema=False)
def recording(request: Request[Any, Any, Any], uid: FromPath[str]) -> File:
    """The recording itself."""
    shop = shop_of(request)
    require_check(shop, uid)
    path = recording_in(shop.queue.folder_of(uid))
    # Never shown as a page of ours, whatever is in it: browsers play it, or save it.
    return File(path, filename=path.name, content_disposition_type="attachment", media_type=_media_type(path))


def _media_type(path: Path) -> str:
    kind = mimetypes.guess_type(path.name)[0] or ""
    return kind if kind.startswith(("audio/", "video/")) else "application/octet-stream"


@get("/checks/{uid:str}/slip", sync_to_thread=True, include_in_schema=False)
def slip(request: Request[Any, Any, Any], uid: FromPath[str], language: FromQuery[str] = ENGLISH) -> Response[str]:
    """The rider's half alone, in the rider's language, to print or to show."""
    shop = shop_of(request)
    check = require_check(shop, uid)
    document = None if check.is_open else read_document(shop.queue.folder_of(uid))
    if document is None:
        raise NotFoundException("there is nothing to tell a rider yet")
    with shop.book.reading() as connection:
        visits, bearings = list_visits(connection, bike=check.bike), bearings_of(connection, check.bike)
    until = [one for one in visits if check.visit is not None and one.number <= check.visit]
    text = page_of_slip(
        [decode(document)],
        language if language in LANGUAGES else ENGLISH,
        bike=check.bike,
        on=check.received.date(),
        lead=bike_lead(until, bearings) if until else None,
    )
    return Response(text, media_type="text/html", headers={"content-security-policy": SLIP_POLICY})


HANDLERS = [new, record, send, show, rows, stop, details, picture, sound, recording, slip]
