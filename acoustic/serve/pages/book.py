"""The book: what it holds, the whole of it out as one file, and what an archive would bring in."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path
from typing import Any

from litestar import Request, Response, get, post
from litestar.background_tasks import BackgroundTask
from litestar.response import File, Redirect

from acoustic import __version__
from acoustic.book.archive import export
from acoustic.book.bikes import all_bearings, all_bikes
from acoustic.book.importing import import_archive
from acoustic.book.visits import list_visits
from acoustic.serve.access import read_form, require_token
from acoustic.serve.shop import Shop, device_of, shop_of
from acoustic.serve.uploads import receive
from acoustic.serve.view import page


@get("/book", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any]) -> Response[str]:
    """Show what the book holds."""
    return page(request, "book", **_known(shop_of(request)))


def _known(shop: Shop) -> dict[str, Any]:
    with shop.book.reading() as connection:
        counts = {
            "bikes": len(all_bikes(connection)),
            "bearings": len(all_bearings(connection)),
            "visits": len(list_visits(connection)),
        }
    folder = shop.book.files.folder
    size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) if folder.is_dir() else 0
    return {
        "counts": counts,
        "megabytes": round(size / 1e6, 1),
        "place": shop.book.place,
        "version": __version__,
        "told": None,
        "held": False,
    }


@get("/book/archive", sync_to_thread=True, include_in_schema=False)
def download(request: Request[Any, Any, Any]) -> File:
    """The whole book as one file."""
    shop = shop_of(request)
    target = Path(tempfile.mkdtemp(dir=shop.settings.folder)) / "book.zip"
    export(shop.book, target)
    return File(
        target,
        filename="book.zip",
        content_disposition_type="attachment",
        background=BackgroundTask(_forget, target),
    )


def _held(request: Request[Any, Any, Any]) -> Path:
    """Where the archive lies that this device had looked into, until it is taken in or sends another one."""
    return shop_of(request).settings.folder / f"import-{device_of(request).uid}.zip"


def _forget(path: Path) -> None:
    path.unlink(missing_ok=True)
    path.parent.rmdir()


@post("/book/look", request_max_body_size=None, status_code=200, include_in_schema=False)
async def look(request: Request[Any, Any, Any]) -> Response[str]:
    """Say what an archive would bring in, without taking it in."""
    shop = shop_of(request)
    target = _held(request)
    target.unlink(missing_ok=True)
    content_type = request.headers.get("content-type", "")
    await receive(request.stream(), content_type, target, wanted=lambda fields: require_token(request, fields))
    done = await asyncio.to_thread(import_archive, shop.book, target, dry_run=True)
    known = await asyncio.to_thread(_known, shop)
    return page(request, "book", **{**known, "told": done, "held": True})


@post("/book/import", status_code=303, include_in_schema=False)
async def take_in(request: Request[Any, Any, Any]) -> Redirect:
    """Take in the archive that was looked into."""
    await read_form(request)
    shop = shop_of(request)
    target = _held(request)
    await asyncio.to_thread(import_archive, shop.book, target)
    target.unlink(missing_ok=True)
    shop.changes.tell()
    return Redirect("/book", status_code=303)


HANDLERS = [show, download, look, take_in]
