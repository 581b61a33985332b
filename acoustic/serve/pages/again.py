"""Put right what was said with a recording, or tap its turns along while it is played: it is judged anew.

What was judged before stays in the book, taken out of lists with the reason.
"""

from __future__ import annotations

import asyncio
import secrets
import shutil
from pathlib import Path
from typing import Any

from litestar import Request, Response, get, post
from litestar.params import FromPath
from litestar.response import Redirect

from acoustic.book.visits import remove
from acoustic.errors import InputError
from acoustic.serve.access import read_form
from acoustic.serve.judging import recording_in
from acoustic.serve.pages.checks import known_bikes, question_of, require_check
from acoustic.serve.question import GYRO, MARKS
from acoustic.serve.shop import Shop, device_of, shop_of
from acoustic.serve.store import Check
from acoustic.serve.view import page

WHY = "put right on the counter page: judged anew with other words"


@get("/checks/{uid:str}/again", sync_to_thread=True, include_in_schema=False)
def ask(request: Request[Any, Any, Any], uid: FromPath[str]) -> Response[str]:
    """Show what was said, to be put right."""
    shop = shop_of(request)
    check = require_check(shop, uid)
    return page(request, "again", check=check, said=check.question, bikes=known_bikes(shop))


@post("/checks/{uid:str}/anew", status_code=303, include_in_schema=False)
async def judge_anew(request: Request[Any, Any, Any], uid: FromPath[str]) -> Redirect:
    """Judge the same recording with other words."""
    fields, shop = await read_form(request), shop_of(request)
    check = require_check(shop, uid)
    if check.is_open:
        raise InputError("this recording is being judged still", hint="Wait for its grade, or stop the check.")
    made = await asyncio.to_thread(_send_anew, shop, check, fields, device_of(request).name)
    return Redirect(f"/checks/{made.uid}", status_code=303)


def _send_anew(shop: Shop, check: Check, fields: dict[str, str], device: str) -> Check:
    shop.queue.require_room(device)
    question = question_of({**fields, "kind": check.question.get("kind", "check")})
    folder, uid = shop.queue.folder_of(check.uid), secrets.token_hex(16)
    copy = shop.settings.folder / f".{uid}.upload"
    try:
        shutil.copyfile(recording_in(folder), copy)

        def beside(new: Path) -> None:
            if fields.get("marks", "").strip():
                (new / MARKS).write_text(fields["marks"], encoding="utf-8")
            for name in (MARKS, GYRO):
                if (folder / name).is_file() and not (new / name).is_file():
                    shutil.copyfile(folder / name, new / name)

        # First, since the book takes no recording twice.
        if check.visit is not None:
            with shop.book.writing() as connection:
                remove(connection, check.visit, WHY)
        return shop.queue.accept(uid, copy, question, name=check.file, device=device, beside=beside)
    finally:
        copy.unlink(missing_ok=True)


HANDLERS = [ask, judge_anew]
