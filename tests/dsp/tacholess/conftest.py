"""Trains of impacts made by hand: gamma-distributed power of bands, lifted where an impact rings."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import BandBank

Floats = NDArray[np.float64]
FRAME_S = 0.001
BANDS_HZ = 1000 * 10 ** (np.arange(-3, 11) / 10)


def bank_with(at_s: Floats, *, seconds: float = 13.0, over: float = 8.0, seed: int = 1) -> BandBank:
    """Noise, and impacts at given times that ring for 5 ms, `over` times the noise at first."""
    rng = np.random.default_rng(seed)
    times_s = FRAME_S * (np.arange(round(seconds / FRAME_S)) + 0.5)
    lift = np.ones(times_s.size)
    for time_s in at_s:
        first = round(time_s / FRAME_S)
        part = lift[first : first + 25]
        part += over * np.exp(-np.arange(part.size) / 5)
    shape = np.maximum(1.0, 0.23 * BANDS_HZ * FRAME_S + 0.5)[:, np.newaxis]
    power = lift * rng.gamma(shape, size=(BANDS_HZ.size, times_s.size)) / shape
    return BandBank(BANDS_HZ, power, FRAME_S, FRAME_S / 2)


@pytest.fixture(scope="session")
def train_bank() -> Callable[..., BandBank]:
    return bank_with
