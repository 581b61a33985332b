"""Sounds made for the ear: one band of a recording alone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FLANK = 1 / 8  # of the band's width


def band_pass(sound: Floats, *, sample_rate_hz: float, low_hz: float, high_hz: float) -> Floats:
    """Keep one band of a sound, without moving anything in time.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        Finite samples.
    sample_rate_hz : float
        > 0.
    low_hz, high_hz : float
        Edges of the band [Hz], 0 <= low < high; what lies past half the sample rate is not there
        to be kept.

    Returns
    -------
    ndarray, shape (n,)

    Raises
    ------
    ValueError
        The sound is not one-dimensional, or the edges are no band.

    Notes
    -----
    The spectrum is multiplied by a real weight, so no frequency is delayed against another: strikes
    stay where they are. The weight is 1 in the band and falls as a raised cosine over an eighth of
    the band's width at either edge, half of it inside; at the edge it is a half. Smooth flanks keep
    the ringing about a strike short. Zeros as long as the ringing lie behind the sound, so that its
    end does not ring into its beginning.
    """
    if sound.ndim != 1:
        raise ValueError(f"a one-dimensional sound is needed, got shape {sound.shape}")
    if not 0 <= low_hz < high_hz:
        raise ValueError(f"0 <= low < high is needed, got {low_hz} and {high_hz} Hz")
    flank_hz = FLANK * (high_hz - low_hz)
    ringing = int(np.ceil(8 * sample_rate_hz / flank_hz))
    length = sound.size + min(ringing, sound.size)
    spectrum = np.fft.rfft(sound, length)
    frequencies_hz = np.fft.rfftfreq(length, 1 / sample_rate_hz)
    inside_hz = np.minimum(frequencies_hz - low_hz, high_hz - frequencies_hz)
    weight = 0.5 - 0.5 * np.cos(np.pi * np.clip(inside_hz / flank_hz + 0.5, 0, 1))
    kept: Floats = np.fft.irfft(spectrum * weight, length)[: sound.size]
    return kept
