"""Impact-to-background ratio over time: impacts stay, talk and running noise go."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Singles, lock_fields, running_median
from acoustic.dsp.levels.filterbank import BandBank

# Judgement: hum and handling lie below, codecs cut off above.
LOWEST_HZ, HIGHEST_HZ = 500.0, 11_000.0
# Resolution: the fastest impacts come 30 ms apart (HIGHEST_HZ in periodicity.py).
FRAME_S = 0.003
BACKGROUND_S = 0.06  # running median: an impact rings for some 10 ms, a vowel lasts for 50 ms and more
MOST_NATS = 2.5  # a bang counts for no more than an impact 11 dB over its background
# Grid: a third of an octave times four and eight; strikes ring in a band that nobody knows.
WIDTHS = (4, 8)
SILENCE = 1e-9  # of the band's usual power: below it the recorder wrote nothing


@dataclass(frozen=True, slots=True, eq=False)
class ImpactLevels:
    """Running integrals of the impact levels of groups of bands.

    Attributes
    ----------
    integral : ndarray of float32, shape (groups, frames + 1)
        Cumulative sum over the frames of levels of mean 0 and variance 1.
    start_s : float
        Start of the first frame [s].
    frame_s : float
    """

    integral: Singles
    start_s: float
    frame_s: float

    def __post_init__(self) -> None:
        lock_fields(self, "integral")

    @property
    def frames(self) -> int:
        """Number of frames."""
        return int(self.integral.shape[1]) - 1

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return self.frames * self.frame_s

    @property
    def stop_s(self) -> float:
        """End of the last frame [s]."""
        return self.start_s + self.duration_s

    def part(self, start_s: float, stop_s: float) -> ImpactLevels:
        """The frames between two times."""
        first, last = (
            int(np.clip(round((time_s - self.start_s) / self.frame_s), 0, self.frames))
            for time_s in (start_s, stop_s)
        )
        integral = self.integral[:, first : last + 1]
        return ImpactLevels(integral - integral[:, :1], self.start_s + first * self.frame_s, self.frame_s)


def impact_levels(bank: BandBank) -> ImpactLevels:
    """Measure impacts over their background in groups of four, eight and all third-octave bands.

    Parameters
    ----------
    bank : BandBank

    Returns
    -------
    ImpactLevels
        In frames of about 3 ms.

    Notes
    -----
    Log power less its running median, from 0 up to a limit: a median filter along
    time parts what is short from what lasts (D. FitzGerald, Harmonic/percussive
    separation using median filtering, DAFx 2010), the log and the limit keep one
    bang from outweighing a train of impacts.
    """
    lowest = bank.first_band(LOWEST_HZ)
    highest = max(lowest + 1, int(np.searchsorted(bank.mid_hz, HIGHEST_HZ)))
    joined = max(1, round(FRAME_S / bank.frame_s))
    frames = bank.power.shape[1] // joined
    power = bank.power[lowest:highest, : frames * joined].reshape(highest - lowest, frames, joined).mean(axis=2)
    level = np.log(power + SILENCE * np.median(power, axis=1, keepdims=True) + 1e-30).astype(np.float32)
    frame_s = joined * bank.frame_s
    size = max(3, round(BACKGROUND_S / frame_s) | 1)
    over = np.clip(level - running_median(level, size), 0, MOST_NATS)
    scaled = _scaled(over)
    grouped = _scaled(np.stack([scaled[first:last].sum(axis=0) for first, last in _groups(len(scaled))]))
    integral = np.zeros((len(grouped), frames + 1), dtype=np.float32)
    integral[:, 1:] = np.cumsum(grouped, axis=1, dtype=np.float64)
    return ImpactLevels(integral, bank.first_s - bank.frame_s / 2, frame_s)


def _scaled(rows: Singles) -> Singles:
    """Rows of mean 0 and variance 1."""
    centred = rows - rows.mean(axis=1, keepdims=True)
    scaled: Singles = centred / np.maximum(centred.std(axis=1, keepdims=True), 1e-6)
    return scaled


def _groups(bands: int) -> tuple[tuple[int, int], ...]:
    """First band of each group, and the one past its last."""
    groups = [(first, first + width) for width in WIDTHS for first in range(0, bands - width + 1, width)]
    return (*groups, (0, bands))
