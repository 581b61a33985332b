"""What a reader gives back, and the recording that travels down the chain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.arrays import lock_fields
from acoustic.dsp.quality import bandwidth_hz

Side = Literal["drive", "non-drive"]


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that was done to the data: what, by whom, with which settings."""

    name: str
    by: str
    params: Mapping[str, float | int | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """What a reader gives back.

    Attributes
    ----------
    samples : ndarray, shape (n, channels)
        Full scale is 1.0; float files may exceed it and are left so.
    sample_rate_hz : float
        The file's own rate [Hz].
    format : str
        Container and coding in words, "WAV, signed 16 bit PCM".
    """

    samples: NDArray[np.float64]
    sample_rate_hz: float
    format: str


@dataclass(frozen=True, eq=False)  # no slots: a bandwidth is kept once it was asked for
class Recording:
    """A decoded recording and what was done to it.

    Attributes
    ----------
    path : Path
    sha256 : str
        Of the file's bytes.
    samples : ndarray, shape (n, channels)
        Full scale is 1.0; read-only.
    sample_rate_hz : float
    format : str
    channel : int
        The channel that is judged, counted from 0.
    side : {'drive', 'non-drive'} or None
        Where the phone was held; None if not said.
    steps : tuple of Step
    """

    path: Path
    sha256: str
    samples: NDArray[np.float64]
    sample_rate_hz: float
    format: str
    channel: int = 0
    side: Side | None = None
    steps: tuple[Step, ...] = ()

    def __post_init__(self) -> None:
        lock_fields(self, "samples")

    @property
    def duration_s(self) -> float:
        """Length of the recording [s]."""
        return len(self.samples) / self.sample_rate_hz

    @property
    def heard(self) -> NDArray[np.float64]:
        """The judged channel, shape (n,)."""
        heard: NDArray[np.float64] = self.samples[:, self.channel]
        return heard

    @cached_property
    def bandwidth_hz(self) -> float:
        """Highest frequency that the judged channel really carries [Hz]."""
        return bandwidth_hz(self.heard, self.sample_rate_hz)

    def then(self, step: Step, *, channel: int | None = None) -> Recording:
        """Return the recording with one more step in its record."""
        chosen = self.channel if channel is None else channel
        return replace(self, channel=chosen, steps=(*self.steps, step))
