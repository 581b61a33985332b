"""`acoustic orders`: how often each defect of a bearing strikes."""

from __future__ import annotations

from collections.abc import Iterable

import click

from acoustic.bearings.document import CandidateBlock, OrdersBlock, OrdersDocument, orders_document
from acoustic.cli.bearing_options import BearingChoice, bearing_options
from acoustic.cli.questions import WHAT_TO_WRITE, ByQuestion, under
from acoustic.cli.types import Number
from acoustic.structures import encode

_HEADINGS = ("balls", "cage", "outer raceway", "inner raceway", "ball")


@click.command(cls=ByQuestion)
@bearing_options
@under(
    WHAT_TO_WRITE,
    click.option("--speed", "speed_rpm", type=Number(), metavar="RPM", help="Also show Hz at this speed."),
    click.option("--json", "as_json", is_flag=True, help="Print one JSON document."),
)
def orders(bearing: BearingChoice, speed_rpm: float | None, as_json: bool) -> None:
    """Print the defect orders of a bearing, for each ball count it may have."""
    document = orders_document(bearing.resolve(), speed_rpm)
    if as_json:
        click.echo(encode(document))
        return
    click.echo(_text(document))
    if len(document.candidates) > 1:
        click.echo("Makers differ: count the balls and give their number with --balls.", err=True)


def _table(rows: Iterable[tuple[CandidateBlock, OrdersBlock]]) -> str:
    lines = ["{:<14}{:>10}{:>16}{:>16}{:>10}".format(*_HEADINGS)]
    for one, values in rows:
        balls = f"{one.balls} x {one.ball_diameter_mm:g} mm"
        lines.append(
            f"{balls:<14}{values.cage:>10.3f}{values.outer_raceway:>16.3f}"
            f"{values.inner_raceway:>16.3f}{values.ball:>10.3f}"
        )
    return "\n".join(lines)


def _text(document: OrdersDocument) -> str:
    bearing = document.bearing
    rows = "1 row" if bearing.rows == 1 else f"{bearing.rows} rows, which share their orders"
    parts = [
        f"{bearing.designation}: {rows}, pitch circle {bearing.pitch_diameter_mm:g} mm, "
        f"contact angle {bearing.contact_angle_deg:g} degrees\nFigures: {bearing.source}",
        f"Orders: events in one turn of the {bearing.turning} ring\n"
        + _table((one, one.orders) for one in document.candidates),
    ]
    if document.speed_rpm is not None:
        at_speed = _table((one, one.hz) for one in document.candidates if one.hz is not None)
        parts.append(f"Hz at {document.speed_rpm:g} rpm\n{at_speed}")
    parts.append(
        "cage: turns of the cage. outer, inner raceway: balls passing a spot on it.\n"
        "ball: twice the ball's spin, as a spot on a ball strikes both rings."
    )
    return "\n\n".join(parts)
