"""What several tests of the numerics share: one bearing, and one road from sound to evidence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.core.angle import AngleLevels, angle_levels
from acoustic.core.envelope import BandBank, band_bank
from acoustic.core.geometry import BearingGeometry
from acoustic.core.rings import PartEvidence, weigh_parts
from acoustic.core.run_down import smooth_angle
from acoustic.core.spectra import OrderSpectra, band_runs, order_spectra
from acoustic.simulator import Spin, SpinPlan, simulate

Floats = NDArray[np.float64]
LOWEST_HZ = 500.0


@dataclass(frozen=True, eq=False)
class Heard:
    """A sound, and what each stage made of it."""

    bank: BandBank
    levels: AngleLevels
    spectra: OrderSpectra
    parts: tuple[PartEvidence, ...]
    left: OrderSpectra

    def part(self, name: str) -> PartEvidence:
        return next(part for part in self.parts if part.part == name)


Hear = Callable[..., Heard]
Simulated = Callable[[SpinPlan], Spin]


@pytest.fixture(scope="session")
def commonest() -> BearingGeometry:
    """The 25 x 37 x 7 crank bearing with 16 balls.

    By hand: ratio 3.5/31 = 0.112903; cage 0.44355, outer 7.09677, inner 8.90323,
    ball 31/3.5 x (1 - 0.112903^2) = 8.74424. Inner and ball lie 1.8 per cent apart.
    """
    return BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)


@pytest.fixture(scope="session")
def simulated() -> Simulated:
    """Simulated spins, each made once a session."""
    return cache(simulate)


@pytest.fixture(scope="session")
def hear() -> Hear:
    """The chain from a spin with its true marks to the weighed parts."""

    def run(spin: Spin, *geometries: BearingGeometry, gain: float = 1.0) -> Heard:
        bank = band_bank(spin.samples * gain, sample_rate_hz=float(spin.sample_rate_hz), top_hz=15000.0)
        times_s, turns = smooth_angle(spin.marks_s, np.arange(spin.marks_s.size))
        levels = angle_levels(bank, times_s, turns, blank_s=np.empty(0))
        lowest = int(np.searchsorted(bank.mid_hz, LOWEST_HZ))
        runs = band_runs(bank.mid_hz.size, lowest=lowest)
        spectra = order_spectra(levels.compressed, turns=levels.turns, runs=runs)
        weighed = weigh_parts(spectra, levels, geometries, speed_spread=0.001)
        return Heard(bank, levels, spectra, weighed.parts, weighed.left)

    return run


@pytest.fixture(scope="session")
def louder() -> Callable[[BandBank, float], BandBank]:
    """A bank as a recording of that gain would give it."""
    return lambda bank, gain: replace(bank, power=bank.power * gain**2)
