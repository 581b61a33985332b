"""What a phone does to the sound: band limits, automatic gain, whole numbers."""

from __future__ import annotations

import numpy as np

from acoustic.dsp.arrays import Floats


def band_limit(sound: Floats, sample_rate_hz: float, *, low_hz: float, high_hz: float) -> Floats:
    """Roll off below `low_hz` (12 dB an octave) and cut above `high_hz` as a codec does.

    Parameters
    ----------
    sound : ndarray, shape (n,)
    sample_rate_hz : float
    low_hz, high_hz : float
        Corner frequencies [Hz], 0 < low < high.

    Returns
    -------
    ndarray, shape (n,)

    References
    ----------
    Android Compatibility Definition 5.4: a phone's unprocessed source may fall
    20 dB from 100 to 5 Hz and 30 dB from 7 to 22 kHz.
    """
    frequency_hz = np.fft.rfftfreq(sound.size, 1 / sample_rate_hz)
    ratio = (frequency_hz / low_hz) ** 2
    gain = ratio / np.sqrt(1 + ratio**2)
    gain *= 1 / np.sqrt(1 + (frequency_hz / high_hz) ** 40)
    return np.fft.irfft(np.fft.rfft(sound) * gain, sound.size)


def automatic_gain(
    sound: Floats,
    sample_rate_hz: float,
    *,
    attack_s: float,
    release_s: float,
    strength: float,
    opens_db: float = 0.0,
) -> Floats:
    """Turn loud passages down and quiet ones up, as a phone's recorder does.

    Parameters
    ----------
    sound : ndarray, shape (n,)
    sample_rate_hz : float
    attack_s, release_s : float
        Time constants [s], > 0.
    strength : float
        0 leaves the sound alone, 1 makes every passage equally loud.
    opens_db : float
        How far below the usual level it believes the sound to be at first: the recording begins too loud.

    Returns
    -------
    ndarray, shape (n,)
    """
    hop = max(1, int(0.005 * sample_rate_hz))
    blocks = -(-sound.size // hop)
    padded = np.pad(sound, (0, blocks * hop - sound.size))
    power = np.mean(padded.reshape(blocks, hop) ** 2, axis=1) + 1e-12
    rise, fall = 1 - np.exp(-0.005 / attack_s), 1 - np.exp(-0.005 / release_s)
    level = np.empty(blocks)
    now = float(np.median(power)) * 10 ** (-opens_db / 10)
    for index, value in enumerate(power):
        now += (value - now) * (rise if value > now else fall)
        level[index] = now
    gain = (level / np.median(level)) ** (-strength / 2)
    return sound * np.interp(np.arange(sound.size), np.arange(blocks) * hop + hop / 2, gain)


def whole_numbers(sound: Floats, *, bits: int = 16) -> Floats:
    """Round to the steps of a whole-number format, clipping at full scale."""
    scale = 1 << (bits - 1)
    rounded: Floats = np.clip(np.round(sound * scale), -scale, scale - 1) / scale
    return rounded
