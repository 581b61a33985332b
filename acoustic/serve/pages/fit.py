"""Bore readings typed once, the sheet at once, and which kind of unit suits the frame and its rider.

What was typed stands in the address, so that a sheet can be kept and gone back to.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from typing import Any, get_args

from litestar import Request, Response, get

from acoustic.book.bikes import all_bearings
from acoustic.book.lives import began_on, lives, readings_of
from acoustic.errors import InputError
from acoustic.install.choose import Choice, Situation, rank_units, spindle_of, with_seat
from acoustic.install.fit.asked import Asked, asked_sheet, bore_mm
from acoustic.install.units import Upkeep, Use
from acoustic.report.choose_text import record_words
from acoustic.report.fit_text import fit_text
from acoustic.serve.pages.checks import number
from acoustic.serve.shop import Shop, shop_of
from acoustic.serve.view import page

# As the command has them where nothing is said.
USUAL: Mapping[str, Any] = {
    "readings": (),
    "gauge_um": None,
    "limits": None,
    "offset": None,
    "shell_width": None,
    "catalogue": None,
    "group": "CN",
    "rings": "steel",
    "rows": 1,
    "balls": "steel",
    "shell": "aluminium",
    "shell_outside": None,
    "finish": "turned",
    "cup": None,
    "spindle": None,
    "spindle_bore": 0.0,
    "spindle_metal": "steel",
    "shell_temp": None,
    "ride_temp": None,
    "press_temp": None,
    "warmer": 0.0,
    "sure": False,
}
SHELLS = ("aluminium", "steel", "stainless", "titanium", "magnesium", "carbon")
GROUPS = ("CN", "C2", "C3", "C4")
# Two directions at the mouth, two deeper, as the seat is to be measured.
PLACES = (
    ("mouth, upright", "5/0"),
    ("mouth, across", "5/90"),
    ("deeper, upright", "10/0"),
    ("deeper, across", "10/90"),
)
SHOWN_UNITS = 5  # judgement: what is listed farther down is not fitted


@get("/fit", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any]) -> Response[str]:
    """Ask for the readings; where they were given, show the sheet and what suits."""
    said, wrong, sheet = defaultdict(str, request.query_params), None, None
    chosen: tuple[Choice, ...] = ()
    if said:
        try:
            sheet = _sheet(said) if said.get("bearing") and any(said.get(f"bore-{n}") for n in range(4)) else None
            chosen = _ranked(shop_of(request), said, sheet)
        except InputError as error:
            wrong = error
    return page(
        request,
        "fit",
        said=said,
        places=[words for words, _ in PLACES],
        shells=SHELLS,
        groups=GROUPS,
        uses=get_args(Use),
        upkeeps=get_args(Upkeep),
        wrong=wrong,
        text=fit_text(sheet.sheet, sheet.taken) if sheet else "",
        chosen=[
            {"one": one, "shop": record_words(one.record) if one.record else ""} for one in chosen[:SHOWN_UNITS]
        ],
    )


def _words(said: Mapping[str, str]) -> dict[str, Any]:
    """What was typed, as the sheet takes it."""
    readings = tuple(
        f"{said[f'bore-{n}'].strip()}@{place}"
        for n, (_, place) in enumerate(PLACES)
        if said.get(f"bore-{n}", "").strip()
    )
    shell = said.get("shell") if said.get("shell") in SHELLS else "aluminium"
    group = said.get("group") if said.get("group") in GROUPS else "CN"
    return {
        **USUAL,
        "readings": readings,
        "shell": shell,
        "group": group,
        "rows": 2 if said.get("rows") == "2" else 1,
        "shell_outside": said.get("outside", "").strip() or None,
        "spindle": number(said.get("spindle", ""), "the spindle"),
        "shell_temp": number(said.get("warm", ""), "the shell's temperature"),
        "sure": said.get("sure") == "yes",
    }


def _sheet(said: Mapping[str, str]) -> Asked:
    return asked_sheet(said["bearing"], _words(said))


def _ranked(shop: Shop, said: Mapping[str, str], sheet: Asked | None) -> tuple[Choice, ...]:
    words = _words(said)
    bore = bore_mm(said["bearing"], None) if said.get("bearing") else None
    rider = Situation(
        use=said["use"] if said.get("use") in get_args(Use) else "everyday",  # type: ignore[arg-type]
        upkeep=said["upkeep"] if said.get("upkeep") in get_args(Upkeep) else "yearly",  # type: ignore[arg-type]
        shell=words["shell"],
        spindle=spindle_of(words["spindle"] or bore),
    )
    situation = with_seat(rider, sheet.sheet if sheet else None, None)
    with shop.book.reading() as connection:
        bearings, readings = all_bearings(connection), readings_of(connection)
    return rank_units(situation, lives(bearings, today=date.today(), began=began_on(bearings, readings)).lives)


HANDLERS = [show]
