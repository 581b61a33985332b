"""Lifetimes: which bearing lasts in which frame, filters by tap, curve and words."""

from __future__ import annotations

from datetime import date
from typing import Any, cast

from litestar import Request, Response, get

from acoustic.book.bikes import all_bearings
from acoustic.book.lives import Taken, began_on, lives, matching, readings_of
from acoustic.errors import InputError
from acoustic.lifetimes.kinds import FIELDS, lifetimes_of
from acoustic.lifetimes.lives import Measure
from acoustic.report.lifetimes_text import lifetimes_text
from acoustic.serve.drawing import picture
from acoustic.serve.shop import Shop, shop_of
from acoustic.serve.view import page

MEASURES = {"days": "days", "km": "kilometres"}


@get("/lifetimes", sync_to_thread=True, include_in_schema=False)
def show(request: Request[Any, Any, Any]) -> Response[str]:
    """Show how long bearings last, by whatever was tapped."""
    said = dict(request.query_params)
    measure = cast("Measure", said["in"] if said.get("in") in MEASURES else "days")
    by = said["by"] if said.get("by") in FIELDS else None
    taken = _taken(shop_of(request), measure)
    wanted = {name: value for name, value in said.items() if name in FIELDS and value}
    text, drawn = _told(taken, wanted, by, measure)
    return page(
        request,
        "lifetimes",
        said=said,
        by=by,
        measure=measure,
        measures=MEASURES,
        fields=tuple(FIELDS),
        values=_values(taken),
        text=text,
        picture=drawn,
    )


def _told(taken: Taken, wanted: dict[str, str], by: str | None, measure: Measure) -> tuple[str, str]:
    """What lives say, in words and as a picture; or why they say nothing."""
    try:
        told = lifetimes_of(matching(taken.lives, wanted), by=by, measure=measure)
    except InputError as error:
        return f"{error.found[:1].upper()}{error.found[1:]}. {error.hint}", ""
    return lifetimes_text(told, taken), picture(told)


def _taken(shop: Shop, measure: Measure) -> Taken:
    with shop.book.reading() as connection:
        bearings, readings = all_bearings(connection), readings_of(connection)
    began = began_on(bearings, readings)
    return lives(bearings, today=date.today(), began=began, measure=measure, readings=readings)


def _values(taken: Taken) -> dict[str, list[str]]:
    """What there is to filter by."""
    found = {name: sorted({life.labels[name] for life in taken.lives if name in life.labels}) for name in FIELDS}
    return {name: values for name, values in found.items() if len(values) > 1}


HANDLERS = [show]
