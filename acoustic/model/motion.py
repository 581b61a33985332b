"""What is said of the crank's motion, and what was found."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import lock_fields
from acoustic.dsp.tacholess.hypothesis import Reading
from acoustic.model.bearing import Bearing

Spin = Literal["hand", "pedal", "steady"]
SpeedSourceCode = Literal["stated", "turns", "marks", "ticks", "channel", "gyro", "film", "sound"]


@dataclass(frozen=True, slots=True)
class SpeedRequest:
    """What the user said about the crank's motion, and what else may help to find it.

    Attributes
    ----------
    speed_rpm : float or None
        Steady speed [turns/min].
    counted_turns : float or None
        Turns of the whole spin, counted by eye.
    marks : Path or None
        CSV file with the time of one mark each crank turn.
    ticks : bool
        A card clicks once a turn in the recording itself.
    mark_channel : int or None
        Channel that holds the mark, counted from 1.
    gyro : Path or None
        CSV file of angular speed against time.
    film : bool
        The recording is a film of the crank.
    spin : {'hand', 'pedal', 'steady'} or None
        How the crank was turned; None if not said.
    bearing : Bearing or None
        For sources that read the scale off the bearing's own rhythm.
    """

    speed_rpm: float | None = None
    counted_turns: float | None = None
    marks: Path | None = None
    ticks: bool = False
    mark_channel: int | None = None
    gyro: Path | None = None
    film: bool = False
    spin: Spin | None = None
    bearing: Bearing | None = None


@dataclass(frozen=True, slots=True)
class HeardBeat:
    """The bearing's own impact train that a motion rests on.

    Attributes
    ----------
    chance : float
        Chance of a train as sharp where there is none, everything searched counted in.
    readings : tuple of Reading
        What it may be, likeliest first; the motion's turns are those of the first, unless
        a count by eye contradicts them all.
    """

    chance: float
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Crank angle against time, over the part that turns.

    Attributes
    ----------
    times_s : ndarray, shape (k,)
        Strictly increasing, from the start to the end of the turning part.
    turns : ndarray, shape (k,)
        Crank angle [turns] at those times, strictly increasing.
    source : str
        How it was found: 'stated', 'marks', 'ticks', ...
    spin : {'hand', 'pedal', 'steady'}
    relative_uncertainty : float
        Half width of the range that holds the true speed nine times in ten, over the speed.
    scale_known : bool
        False where only the shape of the run-down is known, not its scale.
    still : tuple of (float, float)
        Parts without motion [s, s], for the room's own noise.
    own_clicks_s : ndarray, shape (j,)
        Times of sounds made by the speed marker itself [s]; no evidence.
    beat : HeardBeat or None
        The bearing's own impact train, where the motion rests on one.
    """

    times_s: NDArray[np.float64]
    turns: NDArray[np.float64]
    source: SpeedSourceCode
    spin: Spin
    relative_uncertainty: float
    scale_known: bool
    still: tuple[tuple[float, float], ...] = ()
    own_clicks_s: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    beat: HeardBeat | None = None

    def __post_init__(self) -> None:
        lock_fields(self, "times_s", "turns", "own_clicks_s")

    @property
    def start_s(self) -> float:
        """Start of the turning part [s]."""
        return float(self.times_s[0])

    @property
    def stop_s(self) -> float:
        """End of the turning part [s]."""
        return float(self.times_s[-1])

    @property
    def total_turns(self) -> float:
        """Turns made in the turning part."""
        return float(self.turns[-1] - self.turns[0])

    @property
    def speed_hz(self) -> NDArray[np.float64]:
        """Crank speed [turns/s] at `times_s`."""
        speed: NDArray[np.float64] = np.gradient(self.turns, self.times_s)
        return speed
