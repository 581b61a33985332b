"""The bearing to judge against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from acoustic.dsp.geometry import BearingGeometry
from acoustic.dsp.orders.evidence import BallCount


@dataclass(frozen=True, slots=True)
class Bearing:
    """The bearing to judge against, with every ball count it may have.

    Attributes
    ----------
    designation : str
        As catalogued, or 'as given'.
    candidates : tuple of BearingGeometry
        Likeliest first; they differ in ball count (and ball size where makers do).
    balls_source : {'catalogue', 'given', 'inferred'}
    source : str
        Where the numbers come from.
    rows : int
        1 or 2. The orders of two are nearly the same.
    count_nats : tuple of float
        What speaks for each candidate before its sound is judged [nats]; empty where only their order does.
    runner_up : BallCount or None
        The next likeliest count where the count was inferred.
    """

    designation: str
    candidates: tuple[BearingGeometry, ...]
    balls_source: Literal["catalogue", "given", "inferred"]
    source: str
    rows: int = 1
    count_nats: tuple[float, ...] = ()
    runner_up: BallCount | None = None

    @property
    def geometry(self) -> BearingGeometry:
        """The likeliest geometry."""
        return self.candidates[0]
