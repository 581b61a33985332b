"""The JSON documents of the catalogue and of defect orders, `acoustic.bearings/1` and `acoustic.orders/1`."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import msgspec

from acoustic.bearings.catalogue import CatalogueRow
from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.model import Bearing

DIGITS = 6  # as printed; slip moves an order by a thousandth


class OrdersBlock(msgspec.Struct, frozen=True, kw_only=True):
    """Events in one turn of the turning ring, or in a second at a speed [Hz]."""

    cage: float
    outer_raceway: float
    inner_raceway: float
    ball: float

    @classmethod
    def of(cls, geometry: BearingGeometry) -> OrdersBlock:
        """The defect orders of a geometry."""
        orders = defect_orders(geometry)
        return cls(
            cage=orders.cage,
            outer_raceway=orders.outer_raceway,
            inner_raceway=orders.inner_raceway,
            ball=orders.ball,
        )

    def times(self, factor: float) -> OrdersBlock:
        """As often, times a factor; rounded to `DIGITS` digits."""
        return OrdersBlock(
            cage=round(self.cage * factor, DIGITS),
            outer_raceway=round(self.outer_raceway * factor, DIGITS),
            inner_raceway=round(self.inner_raceway * factor, DIGITS),
            ball=round(self.ball * factor, DIGITS),
        )


class OrderedBearing(msgspec.Struct, frozen=True, kw_only=True):
    """The bearing whose orders were asked for, with its likeliest ball count."""

    designation: str
    balls: int
    ball_diameter_mm: float
    pitch_diameter_mm: float
    contact_angle_deg: float
    turning: Literal["inner", "outer"]
    balls_source: Literal["catalogue", "given", "inferred"]
    rows: int
    source: str
    orders: OrdersBlock


class CandidateBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A ball count that the bearing may have, and the defect orders with it; Hz where a speed was given."""

    balls: int
    ball_diameter_mm: float
    orders: OrdersBlock
    hz: OrdersBlock | None


class OrdersDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic orders --json` prints: defect orders for each ball count, likeliest first."""

    schema: Literal["acoustic.orders/1"]
    bearing: OrderedBearing
    speed_rpm: float | None
    candidates: tuple[CandidateBlock, ...]


class BearingsDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic bearings --json` prints: the catalogue's rows that answer to a text, all for an empty one."""

    schema: Literal["acoustic.bearings/1"]
    text: str
    rows: tuple[CatalogueRow, ...]


def orders_document(bearing: Bearing, speed_rpm: float | None = None) -> OrdersDocument:
    """Compute the defect orders of a bearing for each ball count that it may have.

    Parameters
    ----------
    bearing : Bearing
    speed_rpm : float or None
        Gives Hz at this speed as well [turns/min], > 0.

    Returns
    -------
    OrdersDocument

    Raises
    ------
    InputError
        The speed is not above 0, or nothing says how many balls there are.
    """
    if speed_rpm is not None and not (math.isfinite(speed_rpm) and speed_rpm > 0):
        found = f"the speed must be above 0 rpm, got {speed_rpm:g}"
        raise InputError(found, hint="Give --speed as turns a minute, such as 60, or leave it out")
    if bearing.count_nats:
        raise InputError(
            "--balls is missing; without --bearing the number of balls is needed",
            hint="Count the balls of one row and add --balls, or name the bearing with --bearing",
        )
    geometry = bearing.geometry
    return OrdersDocument(
        schema="acoustic.orders/1",
        bearing=OrderedBearing(
            designation=bearing.designation,
            balls=geometry.balls,
            ball_diameter_mm=geometry.ball_diameter_mm,
            pitch_diameter_mm=geometry.pitch_diameter_mm,
            contact_angle_deg=geometry.contact_angle_deg,
            turning=geometry.turning,
            balls_source=bearing.balls_source,
            rows=bearing.rows,
            source=bearing.source,
            orders=OrdersBlock.of(geometry).times(1),
        ),
        speed_rpm=speed_rpm,
        candidates=tuple(_candidate(geometry, speed_rpm) for geometry in bearing.candidates),
    )


def _candidate(geometry: BearingGeometry, speed_rpm: float | None) -> CandidateBlock:
    orders = OrdersBlock.of(geometry)
    return CandidateBlock(
        balls=geometry.balls,
        ball_diameter_mm=geometry.ball_diameter_mm,
        orders=orders.times(1),
        hz=None if speed_rpm is None else orders.times(speed_rpm / 60),
    )
