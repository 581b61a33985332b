"""The spin as a spectrogram on a logarithmic scale of pitch, with the crank's turns on the upper edge.

librosa serves pages alone, never a check: loading it takes one to two seconds, and numba compiles for twenty on
the first report after an install. Where numba may write to no folder librosa cannot be loaded; the page then
leaves out what needs it and says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from acoustic.dsp.arrays import Floats
from acoustic.dsp.levels.filterbank import HIGHEST_SHARE, OCTAVE_RATIO
from acoustic.model import Motion, Recording
from acoustic.report.picture import INK

AROUND_S = 1.0  # of rest before and after the spin, to compare with
# Judgement: more cannot be told apart half a page wide.
LONGEST_S = 60.0
FRAME_S = 0.04  # short beside the time between impacts, and long enough for lines 25 Hz apart
# A phone hears next to nothing below, and nobody above.
LOWEST_HZ, HIGHEST_HZ = 100.0, 20_000.0
# Judgement: 45 bands are as many rows as the picture shows apart.
BANDS_AN_OCTAVE = 6
# An octave; less is no picture.
FEWEST_BANDS = 6
MOST_COLUMNS = 600  # as many as a picture half a page wide can show
DEEPEST_DB = 80.0  # under the loudest; below, rounding to 16 bits is all that is left
WHITE_SHARE = 0.2  # of all cells, drawn white, so that the shades tell the rest apart (judgement)
LEAST_RANGE_DB = 20.0  # or the unrest of steady noise would look like more than it is (judgement)
SHADES = 12  # fewer than a screen has: a tenth of the file, and steps that can be told apart
# As many as stand side by side.
MOST_LABELS = 10
# Grid of labels.
STEPS = (1, 2, 5, 10, 20, 50, 100)
# Grid of labels.
NAMED_HZ = (100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)


@dataclass(frozen=True, slots=True, eq=False)
class Spectrogram:
    """Levels of sixth-octave bands against time.

    Attributes
    ----------
    start_s, stop_s : float
        Part of the recording.
    left_s, column_s : float
        Where the first column begins, half a step before the first frame's middle, and how wide each is [s].
    edges_hz : ndarray, shape (bands + 1,)
        Edges of the bands [Hz]; their quotient is the same throughout.
    levels_db : ndarray, shape (bands, columns)
        Against the loudest, in [-80, 0] dB.
    """

    start_s: float
    stop_s: float
    left_s: float
    column_s: float
    edges_hz: Floats
    levels_db: Floats

    @property
    def times_s(self) -> Floats:
        """Middles of the columns [s], shape (columns,)."""
        return self.left_s + self.column_s * (np.arange(self.levels_db.shape[1], dtype=np.float64) + 0.5)

    @property
    def white_db(self) -> float:
        """Level that is drawn white [dB], < 0."""
        return min(-LEAST_RANGE_DB, 5 * round(float(np.quantile(self.levels_db, WHITE_SHARE)) / 5))


def spectrogram(recording: Recording, motion: Motion) -> Spectrogram | None:
    """Spectrogram of the turning part, with a second of what lies before and after it.

    Parameters
    ----------
    recording : Recording
        Finite samples.
    motion : Motion

    Returns
    -------
    Spectrogram or None
        Of the first minute. Nothing where the part is shorter than a frame or silent, or less than an octave of
        its sound lies above 100 Hz.

    Notes
    -----
    Frames of about 40 ms overlap by half, so that every sample counts. The power of their lines is added up in
    bands; a line across an edge is shared out. Below 200 Hz the lines are wider than the bands. Where there are
    more frames than columns, a column is the mean power of several.
    """
    import librosa

    rate_hz = recording.sample_rate_hz
    start_s = max(0.0, motion.start_s - AROUND_S)
    stop_s = min(recording.duration_s, motion.stop_s + AROUND_S, start_s + LONGEST_S)
    sound = recording.heard[round(start_s * rate_hz) : round(stop_s * rate_hz)]
    length = 2 ** max(4, round(np.log2(FRAME_S * rate_hz)))
    edges_hz = _edges_hz(min(HIGHEST_HZ, HIGHEST_SHARE * rate_hz))
    if sound.size < length or edges_hz.size <= FEWEST_BANDS or float(np.ptp(sound)) == 0:
        return None
    step = length // 2
    spectra = librosa.stft(sound - sound.mean(), n_fft=length, hop_length=step)
    power = _shares(edges_hz, librosa.fft_frequencies(sr=rate_hz, n_fft=length)) @ np.abs(spectra) ** 2
    together = math.ceil(power.shape[1] / MOST_COLUMNS)
    firsts = np.arange(0, power.shape[1], together)
    columns = np.add.reduceat(power, firsts, axis=1) / np.diff(firsts, append=power.shape[1])
    levels_db: Floats = librosa.power_to_db(columns, ref=np.max, amin=1e-20, top_db=DEEPEST_DB)
    left_s, column_s = start_s - step / 2 / rate_hz, together * step / rate_hz
    return Spectrogram(start_s, stop_s, left_s, column_s, edges_hz, levels_db)


def _edges_hz(highest_hz: float) -> Floats:
    steps = int(np.floor(BANDS_AN_OCTAVE * np.log(max(highest_hz, LOWEST_HZ) / LOWEST_HZ) / np.log(OCTAVE_RATIO)))
    edges_hz: Floats = LOWEST_HZ * OCTAVE_RATIO ** (np.arange(steps + 1) / BANDS_AN_OCTAVE)
    return edges_hz


def _shares(edges_hz: Floats, lines_hz: Floats) -> Floats:
    """What part of every line lies in every band, shape (bands, lines)."""
    spacing_hz = lines_hz[1] - lines_hz[0]
    top_hz = np.minimum(edges_hz[1:, None], lines_hz + spacing_hz / 2)
    bottom_hz = np.maximum(edges_hz[:-1, None], lines_hz - spacing_hz / 2)
    shares: Floats = np.clip((top_hz - bottom_hz) / spacing_hz, 0, 1)
    return shares


def whole_turns(motion: Motion) -> tuple[NDArray[np.int64], Floats]:
    """Numbers of the crank's whole turns, and when each is complete [s]; the start is number 0."""
    made = motion.turns - motion.turns[0]
    numbers = np.arange(int(np.floor(made[-1] + 1e-9)) + 1)
    times_s: Floats = np.interp(numbers, made, motion.times_s)
    return numbers, times_s


def draw_spectrogram(axes: Axes, shown: Spectrogram, motion: Motion) -> None:
    """Draw the levels, dark for loud; mark the turning part, and on the upper edge the crank's whole turns."""
    bands, columns = shown.levels_db.shape
    axes.imshow(
        shown.levels_db,
        cmap=matplotlib.colormaps["Greys"].resampled(SHADES),
        interpolation="nearest",
        vmin=shown.white_db,
        vmax=0,
        aspect="auto",
        origin="lower",
        extent=(shown.left_s, shown.left_s + shown.column_s * columns, 0, bands),
    )
    axes.set_xlim(shown.start_s, shown.stop_s)
    named_hz = [hz for hz in NAMED_HZ if hz <= shown.edges_hz[-1] * 1.01]
    at = BANDS_AN_OCTAVE * np.log(np.array(named_hz) / LOWEST_HZ) / np.log(OCTAVE_RATIO)
    axes.set_yticks(at, [f"{hz // 1000} k" if hz >= 1000 else str(hz) for hz in named_hz])
    axes.set_ylabel("pitch [Hz]")
    axes.set_xlabel("time [s]")
    axes.set_title("The spin, pitch by pitch", loc="left")
    for time_s in (motion.start_s, motion.stop_s):
        axes.axvline(time_s, color="white", linewidth=2.4, alpha=0.6)  # so that the dashes are seen on black too
        axes.axvline(time_s, color=INK, linestyle="--", linewidth=1.2)
    inside_s = np.clip((motion.start_s, motion.stop_s), shown.start_s, shown.stop_s)
    axes.plot(inside_s, (1, 1), transform=axes.get_xaxis_transform(), color=INK, linewidth=4, clip_on=False)
    _mark_turns(axes, shown, motion)


def _mark_turns(axes: Axes, shown: Spectrogram, motion: Motion) -> None:
    """A tick for every whole turn, with as many numbers as there is room for; none where turns are not known."""
    upper = axes.secondary_xaxis("top")
    upper.set_xticks([])
    if not motion.scale_known:
        upper.set_xlabel("thick: the crank turns")
        return
    numbers, times_s = whole_turns(motion)
    numbers, times_s = numbers[times_s <= shown.stop_s], times_s[times_s <= shown.stop_s]
    step = next(step for step in STEPS if numbers.size / step <= MOST_LABELS or step == STEPS[-1])
    named = numbers % step == 0
    upper.set_xticks(times_s[named], [str(number) for number in numbers[named]])
    upper.set_xticks(times_s, minor=True)
    upper.tick_params(length=9, color=INK)
    upper.tick_params(which="minor", length=5, color=INK)
    upper.set_xlabel("whole crank turns (thick: it turns)")


def said_of(shown: Spectrogram, motion: Motion) -> str:
    """What the spectrogram shows, in words."""
    alt = (
        f"Spectrogram of {shown.start_s:.1f} to {shown.stop_s:.1f} s: how loud each pitch from "
        f"{shown.edges_hz[0]:.0f} to {shown.edges_hz[-1]:.0f} Hz is against time, on a logarithmic scale; "
        f"the crank turns from {motion.start_s:.1f} to {motion.stop_s:.1f} s"
    )
    alt += (
        f", {whole_turns(motion)[0][-1]} whole turns marked." if motion.scale_known else ", its turns not marked."
    )
    turning = (shown.times_s >= motion.start_s) & (shown.times_s <= motion.stop_s)
    if not turning.any():
        return alt
    middle_db = np.median(shown.levels_db[:, turning], axis=1)
    alt += f" While it turns, it is loudest about {_middle(shown, middle_db)} Hz."
    if not turning.all():
        above_db = middle_db - np.median(shown.levels_db[:, ~turning], axis=1)
        alt += f" It stands furthest above the rest about {_middle(shown, above_db)} Hz, {above_db.max():.0f} dB."
    return alt


def _middle(shown: Spectrogram, heights: Floats) -> str:
    """Middle of the highest band, to two figures."""
    band = int(np.argmax(heights))
    return f"{float(f'{np.sqrt(shown.edges_hz[band] * shown.edges_hz[band + 1]):.1e}'):.0f}"
