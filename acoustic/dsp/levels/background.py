"""The still parts, the turning part, and whether turning is louder than stillness at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from bottleneck import median

from acoustic.dsp.arrays import Floats, lock_fields
from acoustic.dsp.levels.filterbank import BandBank

# Grid: holds twenty cycles at 200 Hz, and is short beside a push.
BLOCK_S = 0.1
# Judgement: three blocks; less gives no level that is worth a comparison.
LEAST_STILL_S = 0.3


def block_medians(bank: BandBank, *, block_s: float, first_band: int = 0) -> tuple[Floats, Floats]:
    """Median power of each block of time, so that clicks do not count.

    Parameters
    ----------
    bank : BandBank
    block_s : float
        Block length [s].
    first_band : int
        The lowest band taken.

    Returns
    -------
    times_s : ndarray, shape (blocks,)
        Middles of the blocks.
    power : ndarray, shape (bands, blocks)
        What is left over at the end is left out.
    """
    size = max(1, round(block_s / bank.frame_s))
    blocks = max(1, bank.power.shape[1] // size)
    used = bank.power[first_band:, : blocks * size].reshape(bank.power.shape[0] - first_band, blocks, -1)
    times_s = bank.first_s + bank.frame_s * ((np.arange(blocks) + 0.5) * used.shape[2] - 0.5)
    return times_s, median(used, axis=2)


def block_levels_db(bank: BandBank, *, block_s: float = BLOCK_S) -> tuple[Floats, Floats]:
    """Level of the quieter half of each block, so that clicks do not count.

    Parameters
    ----------
    bank : BandBank
    block_s : float
        Block length [s].

    Returns
    -------
    times_s : ndarray, shape (blocks,)
        Middles of the blocks.
    levels_db : ndarray, shape (bands, blocks)
    """
    times_s, power = block_medians(bank, block_s=block_s)
    # Gaussian noise has exponential power, whose median is ln 2 of its mean.
    return times_s, 10 * np.log10(power / np.log(2) + 1e-20)


def turning_part(bank: BandBank, *, least_db: float = 2.0) -> tuple[float, float]:
    """Find the part that sounds louder than what comes before and after it.

    Parameters
    ----------
    bank : BandBank
    least_db : float
        Rise that tells turning from standing [dB].

    Returns
    -------
    start_s, stop_s : float
        The whole recording where no such part is found.
    """
    times_s, levels = block_levels_db(bank)
    whole = (0.0, bank.duration_s)
    loud = levels[bank.mid_hz >= 250].mean(axis=0) if np.any(bank.mid_hz >= 250) else levels.mean(axis=0)
    quiet, usual = np.quantile(loud, [0.05, 0.5])
    if usual - quiet < least_db:
        return whole
    turning = loud > (quiet + usual) / 2
    # A knock in the still part is short, the turning part is not: ask for a second mostly above.
    reach = round(1.0 / BLOCK_S)
    share = np.array([turning[k : k + reach].mean() for k in range(turning.size)])
    share_back = np.array([turning[max(0, k - reach + 1) : k + 1].mean() for k in range(turning.size)])
    starts, stops = np.flatnonzero(turning & (share >= 0.8)), np.flatnonzero(turning & (share_back >= 0.8))
    if starts.size == 0 or stops.size == 0 or stops[-1] <= starts[0]:
        return whole
    return max(0.0, float(times_s[starts[0]] - BLOCK_S / 2)), min(
        whole[1], float(times_s[stops[-1]] + BLOCK_S / 2)
    )


def still_parts(
    duration_s: float, start_s: float, stop_s: float, *, before_s: float, after_s: float
) -> tuple[tuple[float, float], ...]:
    """List what lies clear of the turning part.

    Parameters
    ----------
    duration_s : float
    start_s, stop_s : float
        The turning part.
    before_s, after_s : float
        Margins left for the push before and the last slow turns after [s].

    Returns
    -------
    tuple of (float, float)
        Parts of 0.3 s or more.
    """
    parts = ((0.0, start_s - before_s), (stop_s + after_s, duration_s))
    return tuple((a, b) for a, b in parts if b - a >= LEAST_STILL_S)


@dataclass(frozen=True, slots=True, eq=False)
class OverRoom:
    """The turning part's level over the room's.

    Attributes
    ----------
    excess_db : ndarray, shape (bands,)
        Mean level while turning over the mean level while still [dB].
    certainty : ndarray, shape (bands,)
        That excess over its own standard error.
    """

    excess_db: Floats
    certainty: Floats

    def __post_init__(self) -> None:
        lock_fields(self, "excess_db", "certainty")


def over_room(
    bank: BandBank,
    start_s: float,
    stop_s: float,
    still: Sequence[tuple[float, float]],
    *,
    room: BandBank | None = None,
) -> OverRoom | None:
    """Compare the turning part with the still parts, band by band.

    Parameters
    ----------
    bank : BandBank
    start_s, stop_s : float
        The turning part [s].
    still : sequence of (float, float)
        Still parts [s].
    room : BandBank or None
        Another recording of the still room, in the same bands.

    Returns
    -------
    OverRoom or None
        None where there are fewer than three still or turning blocks of 0.1 s.
    """
    times_s, levels = block_levels_db(bank)
    turning = (times_s >= start_s) & (times_s < stop_s)
    quiet = np.zeros(times_s.size, dtype=bool)
    for a, b in still:
        quiet |= (times_s >= a) & (times_s < b)
    hushed = levels[:, quiet]
    if room is not None:
        hushed = np.concatenate([hushed, block_levels_db(room)[1]], axis=1)
    if hushed.shape[1] < 3 or turning.sum() < 3:
        return None
    heard = levels[:, turning]
    error = np.sqrt(hushed.var(axis=1, ddof=1) / hushed.shape[1] + heard.var(axis=1, ddof=1) / turning.sum())
    excess = heard.mean(axis=1) - hushed.mean(axis=1)
    return OverRoom(excess, excess / np.maximum(error, 0.05))
