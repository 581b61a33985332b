"""`acoustic orders`: how often each defect of a bearing strikes."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from acoustic.cli.bearing_options import BearingChoice, bearing_options
from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.model import Bearing

SCHEMA = "acoustic.orders/1"
_HEADINGS = ("balls", "cage", "outer raceway", "inner raceway", "ball")


@click.command()
@bearing_options
@click.option("--speed", "speed_rpm", type=float, metavar="RPM", help="Also show Hz at this speed.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
def orders(bearing: BearingChoice, speed_rpm: float | None, as_json: bool) -> None:
    """Print the defect orders of a bearing, for each ball count it may have."""
    if speed_rpm is not None and not (math.isfinite(speed_rpm) and speed_rpm > 0):
        found = f"the speed must be above 0 rpm, got {speed_rpm:g}"
        raise InputError(found, hint="Give --speed as turns a minute, such as 60, or leave it out")
    found_bearing = bearing.resolve()
    if found_bearing.count_nats:
        raise InputError(
            "--balls is missing; without --bearing the number of balls is needed",
            hint="Count the balls of one row and add --balls, or name the bearing with --bearing",
        )
    if as_json:
        click.echo(json.dumps(_document(found_bearing, speed_rpm), indent=2, allow_nan=False))
        return
    click.echo(_text(found_bearing, speed_rpm))
    if len(found_bearing.candidates) > 1:
        click.echo("Makers differ: count the balls and give their number with --balls.", err=True)


def _rounded(geometry: BearingGeometry, factor: float = 1.0) -> dict[str, float]:
    """Orders by name, or Hz if the factor is in turns per second."""
    return {part: round(order * factor, 6) for part, order in asdict(defect_orders(geometry)).items()}


def _document(bearing: Bearing, speed_rpm: float | None) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "bearing": {
            "designation": bearing.designation,
            **asdict(bearing.geometry),
            "balls_source": bearing.balls_source,
            "rows": bearing.rows,
            "source": bearing.source,
            "orders": _rounded(bearing.geometry),
        },
        "speed_rpm": speed_rpm,
        "candidates": [
            {
                "balls": geometry.balls,
                "ball_diameter_mm": geometry.ball_diameter_mm,
                "orders": _rounded(geometry),
                "hz": None if speed_rpm is None else _rounded(geometry, speed_rpm / 60),
            }
            for geometry in bearing.candidates
        ],
    }


def _table(bearing: Bearing, factor: float) -> str:
    lines = ["{:<14}{:>10}{:>16}{:>16}{:>10}".format(*_HEADINGS)]
    for geometry in bearing.candidates:
        values = _rounded(geometry, factor)
        balls = f"{geometry.balls} x {geometry.ball_diameter_mm:g} mm"
        lines.append(
            f"{balls:<14}{values['cage']:>10.3f}{values['outer_raceway']:>16.3f}"
            f"{values['inner_raceway']:>16.3f}{values['ball']:>10.3f}"
        )
    return "\n".join(lines)


def _text(bearing: Bearing, speed_rpm: float | None) -> str:
    geometry = bearing.geometry
    rows = "1 row" if bearing.rows == 1 else f"{bearing.rows} rows, which share their orders"
    parts = [
        f"{bearing.designation}: {rows}, pitch circle {geometry.pitch_diameter_mm:g} mm, "
        f"contact angle {geometry.contact_angle_deg:g} degrees\nFigures: {bearing.source}",
        f"Orders: events in one turn of the {geometry.turning} ring\n{_table(bearing, 1.0)}",
    ]
    if speed_rpm is not None:
        parts.append(f"Hz at {speed_rpm:g} rpm\n{_table(bearing, speed_rpm / 60)}")
    parts.append(
        "cage: turns of the cage. outer, inner raceway: balls passing a spot on it.\n"
        "ball: twice the ball's spin, as a spot on a ball strikes both rings."
    )
    return "\n\n".join(parts)
