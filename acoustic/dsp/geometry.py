"""Bearing geometry, and the defect orders that follow from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Ring = Literal["inner", "outer"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BearingGeometry:
    """The four numbers that fix a ball bearing's rhythm, and which ring turns.

    Parameters
    ----------
    balls : int
        Balls in one row, 3 to 99.
    ball_diameter_mm : float
        Ball diameter [mm], > 0 and below the pitch diameter.
    pitch_diameter_mm : float
        Diameter of the circle through the ball centres [mm].
    contact_angle_deg : float
        Contact angle [deg], 0 <= angle < 90.
    turning : {'inner', 'outer'}
        The ring that turns.

    Raises
    ------
    ValueError
        A number is out of its range, or the balls do not fit round the circle.
    """

    balls: int
    ball_diameter_mm: float
    pitch_diameter_mm: float
    contact_angle_deg: float = 0.0
    turning: Ring = "inner"

    def __post_init__(self) -> None:
        if self.balls != int(self.balls) or not 3 <= self.balls <= 99:
            raise ValueError(f"the ball count must be a whole number from 3 to 99, got {self.balls}")
        sizes = (self.ball_diameter_mm, self.pitch_diameter_mm)
        if not all(math.isfinite(size) and size > 0 for size in sizes):
            raise ValueError(
                f"diameters must be above 0 mm, got ball {self.ball_diameter_mm} and "
                f"pitch {self.pitch_diameter_mm}"
            )
        if self.ball_diameter_mm >= self.pitch_diameter_mm:
            raise ValueError(
                f"the ball must be smaller than the pitch circle, got ball {self.ball_diameter_mm} mm "
                f"and pitch {self.pitch_diameter_mm} mm"
            )
        if not 0 <= self.contact_angle_deg < 90:
            raise ValueError(f"the contact angle must be from 0 to below 90 degrees, got {self.contact_angle_deg}")
        if self.turning not in ("inner", "outer"):
            raise ValueError(f"the turning ring must be 'inner' or 'outer', got {self.turning!r}")
        room = self.pitch_diameter_mm * math.sin(math.pi / self.balls)
        if self.ball_diameter_mm > room * (1 + 1e-9):
            raise ValueError(
                f"{self.balls} balls of {self.ball_diameter_mm} mm do not fit round a "
                f"{self.pitch_diameter_mm} mm pitch circle (at most {room:.2f} mm each)"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class DefectOrders:
    """Events a turn of the moving ring [orders] for a defect on each part.

    Attributes
    ----------
    cage : float
        Turns of the cage.
    outer_raceway, inner_raceway : float
        Ball passes over one point of that raceway.
    ball : float
        Twice the ball's spin: a spot on a ball strikes both rings.
    """

    cage: float
    outer_raceway: float
    inner_raceway: float
    ball: float


def defect_orders(geometry: BearingGeometry) -> DefectOrders:
    """Compute the defect orders of a bearing with rolling contacts that do not slip.

    Parameters
    ----------
    geometry : BearingGeometry
        Counts and diameters.

    Returns
    -------
    DefectOrders
        Events a turn of whichever ring turns. Ball passes and ball spin depend
        only on how the rings turn against each other, so they are the same for
        either ring; the cage's own speed is not.

    References
    ----------
    R. B. Randall and J. Antoni, "Rolling element bearing diagnostics: a
    tutorial", Mechanical Systems and Signal Processing 25 (2011) 485-520,
    equations 1-4 (from memory). The ball value here is twice the printed spin.
    """
    ratio = (
        geometry.ball_diameter_mm / geometry.pitch_diameter_mm * math.cos(math.radians(geometry.contact_angle_deg))
    )
    toward = -ratio if geometry.turning == "inner" else ratio
    return DefectOrders(
        cage=(1 + toward) / 2,
        outer_raceway=geometry.balls / 2 * (1 - ratio),
        inner_raceway=geometry.balls / 2 * (1 + ratio),
        ball=geometry.pitch_diameter_mm / geometry.ball_diameter_mm * (1 - ratio**2),
    )
