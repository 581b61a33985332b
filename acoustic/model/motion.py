"""What is said of the crank's motion, and what was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.tacholess.hypothesis import Reading
from acoustic.model.bearing import Bearing
from acoustic.model.plain import floats, number, truth, words

Spin = Literal["hand", "pedal", "steady"]


@dataclass(frozen=True, slots=True, init=False)
class SpeedRequest:
    """What the user said about the crank's motion, and what else may help to find it.

    Attributes
    ----------
    values : mapping of str to object
        What the options of the speed sources were given, by the option's key; those not given are missing.
    spin : {'hand', 'pedal', 'steady'} or None
        How the crank was turned; None if not said.
    bearing : Bearing or None
        For sources that read the scale off the bearing's own rhythm.
    """

    values: Mapping[str, Any]
    spin: Spin | None
    bearing: Bearing | None

    def __init__(
        self,
        values: Mapping[str, Any] | None = None,
        *,
        spin: Spin | None = None,
        bearing: Bearing | None = None,
        **more: Any,
    ) -> None:
        said = {**(values or {}), **more}
        given = {key: value for key, value in said.items() if value is not None and value is not False}
        object.__setattr__(self, "values", given)
        object.__setattr__(self, "spin", spin)
        object.__setattr__(self, "bearing", bearing)

    def value(self, key: str) -> Any:
        """What an option was given, by its key; None where it was not."""
        return self.values.get(key)


@dataclass(frozen=True, slots=True)
class HeardTrain:
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
        Code of the speed source that found it: 'stated', 'marks', 'ticks', ...
    spin : {'hand', 'pedal', 'steady'}
    relative_uncertainty : float
        Half width of the range that holds the true speed nine times in ten, over the speed.
    scale_known : bool
        False where only the shape of the run-down is known, not its scale.
    still : tuple of (float, float)
        Parts without motion [s, s], for the room's own noise.
    own_clicks_s : ndarray, shape (j,)
        Times of sounds made by the speed marker itself [s]; no evidence.
    impact_train : HeardTrain or None
        The bearing's own impact train, where the motion rests on one.
    label : str
        The source in words, 'the gyro'; filled in by the chain.
    """

    times_s: NDArray[np.float64]
    turns: NDArray[np.float64]
    source: str
    spin: Spin
    relative_uncertainty: float
    scale_known: bool
    still: tuple[tuple[float, float], ...] = ()
    own_clicks_s: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    impact_train: HeardTrain | None = None
    label: str = ""

    def __post_init__(self) -> None:
        if self.spin not in get_args(Spin):
            raise ValueError(f"spin must be one of {', '.join(get_args(Spin))}; got {self.spin!r}")
        settled: dict[str, object] = {
            "times_s": floats(self.times_s, "times_s"),
            "turns": floats(self.turns, "turns"),
            "own_clicks_s": floats(self.own_clicks_s, "own_clicks_s"),
            "source": words(self.source, "source"),
            "label": words(self.label or self.source, "label"),
            "relative_uncertainty": number(self.relative_uncertainty, "relative_uncertainty"),
            "scale_known": truth(self.scale_known, "scale_known"),
            "still": tuple((number(a, "still"), number(b, "still")) for a, b in self.still),
        }
        for name, value in settled.items():
            object.__setattr__(self, name, value)

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
