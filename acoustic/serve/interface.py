"""The interface for shop software: the commands' own documents, for programs that hold a token.

It is described by OpenAPI at /api/schema/openapi.json. Errors are one object with what was found and what to do.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

import msgspec
from litestar import Request, Router, get, post
from litestar.exceptions import NotFoundException
from litestar.openapi import OpenAPIConfig
from litestar.openapi.plugins import JsonRenderPlugin
from litestar.openapi.spec import OpenAPIMediaType, Operation, RequestBody, Schema
from litestar.openapi.spec.enums import OpenAPIFormat, OpenAPIType
from litestar.params import FromPath, FromQuery, QueryParameter

from acoustic import __version__
from acoustic.book.bikes import all_bearings, bearings_of, require_bike
from acoustic.book.document import visits_document
from acoustic.book.due import due_list
from acoustic.book.series import all_series
from acoustic.book.visits import list_visits
from acoustic.check.document import CheckDocument, decode
from acoustic.errors import InputError
from acoustic.report.due_text import due_document
from acoustic.report.trend_text import trend_document
from acoustic.serve.judging import read_document
from acoustic.serve.pages.checks import TEXTS, require_check, take_upload
from acoustic.serve.shop import Shop, shop_of
from acoustic.structures import to_plain

MOST_DAYS = 36_525.0  # a century
MOST_VISITS = 1000  # judgement: of one answer; a shop's year is shorter
Uid = Annotated[str, msgspec.Meta(pattern="^[0-9a-f]{32}$")]


class CheckState(msgspec.Struct, frozen=True, kw_only=True):
    """How far a check is, schema `acoustic.counter-check/1`.

    Attributes
    ----------
    uid : str
    state : str
        waiting, running, judged, unusable, failed or cancelled.
    grade : str
        Empty while there is none.
    said : str
        Why it ended so, or what to do.
    visit : int or None
        Its number in the book.
    check : CheckDocument or None
        What `acoustic check --json` prints, once it was judged.
    """

    schema: str = "acoustic.counter-check/1"
    uid: str
    state: str
    grade: str
    said: str
    visit: int | None
    check: CheckDocument | None


class Problem(msgspec.Struct, frozen=True, kw_only=True):
    """What was wrong with a call."""

    found: str
    hint: str


class _UploadOperation(Operation):
    """Says that a form with a file is wanted, which is read as it comes."""

    def __post_init__(self) -> None:
        text = Schema(type=OpenAPIType.STRING)
        fields = {**dict.fromkeys((*TEXTS, "turns", "side", "distance_km", "marks", "gyro"), text)}
        form = Schema(
            type=OpenAPIType.OBJECT,
            properties={**fields, "recording": Schema(type=OpenAPIType.STRING, format=OpenAPIFormat.BINARY)},
            required=["bike", "recording"],
        )
        self.request_body = RequestBody(
            content={"multipart/form-data": OpenAPIMediaType(schema=form)}, required=True
        )


@post("/checks", status_code=202, request_max_body_size=None, operation_class=_UploadOperation)
async def send(request: Request[Any, Any, Any]) -> CheckState:
    """Send a recording; the answer says under which uid to ask for its grade."""
    check = await take_upload(request)
    return _state(shop_of(request), check.uid)


@get("/checks/{uid:str}", sync_to_thread=True)
def one_check(request: Request[Any, Any, Any], uid: FromPath[str]) -> CheckState:
    """How far a check is, and its document."""
    return _state(shop_of(request), uid)


@get("/visits", sync_to_thread=True)
def visits(
    request: Request[Any, Any, Any], bike: FromQuery[str | None] = None, since: FromQuery[date | None] = None
) -> dict[str, Any]:
    """Visits, as `acoustic visit list --json` prints them, the newest thousand."""
    with shop_of(request).book.reading() as connection:
        try:
            if bike is not None:
                require_bike(connection, bike)
        except InputError as error:
            raise NotFoundException(error.found) from None
        return to_plain(visits_document(list_visits(connection, bike=bike, since=since, newest=MOST_VISITS)))


@get("/trend", sync_to_thread=True)
def trend(request: Request[Any, Any, Any], bike: FromQuery[str]) -> dict[str, Any]:
    """How a bike's bearing wears, as `acoustic trend BIKE --json` prints it."""
    with shop_of(request).book.reading() as connection:
        try:
            name = require_bike(connection, bike).name
        except InputError as error:
            raise NotFoundException(error.found) from None
        found, fitted = list_visits(connection, bike=name), bearings_of(connection, name)
    return to_plain(trend_document(name, all_series(found, fitted, None, date.today())))


@get("/due", sync_to_thread=True)
def due(
    request: Request[Any, Any, Any],
    within_days: Annotated[float | None, QueryParameter(ge=0, le=MOST_DAYS)] = None,
) -> dict[str, Any]:
    """What falls due over all bikes, as `acoustic due --json` prints it."""
    with shop_of(request).book.reading() as connection:
        found, fitted = list_visits(connection), all_bearings(connection)
    today = date.today()
    return to_plain(due_document(due_list(found, fitted, today, within_days=within_days), today, within_days))


def _state(shop: Shop, uid: str) -> CheckState:
    check = require_check(shop, uid)
    plain: Any = None if check.is_open else read_document(shop.queue.folder_of(uid))
    return CheckState(
        uid=check.uid,
        state=check.state,
        grade=check.grade,
        said=check.said,
        visit=check.visit,
        check=None if plain is None else decode(plain),
    )


ROUTER = Router(path="/api", route_handlers=[send, one_check, visits, trend, due], include_in_schema=True)
OPENAPI = OpenAPIConfig(
    title="The workshop's counter page",
    version=__version__,
    description="Send recordings of crank bearings, and read grades and visits. Every call carries a token that "
    "the owner made on the page's list of devices: `Authorization: Bearer TOKEN`.",
    path="/api/schema",
    render_plugins=[JsonRenderPlugin()],
)
