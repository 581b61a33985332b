"""One road from sound to the ranking of parts, with true marks."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from acoustic.dsp.geometry import BearingGeometry
from acoustic.dsp.levels.filterbank import BandBank, band_bank
from acoustic.dsp.orders.evidence import PartEvidence, Ranking
from acoustic.dsp.orders.harmonics import HarmonicSet
from acoustic.dsp.orders.ranking import rank_parts
from acoustic.dsp.orders.spectrum import OrderSpectra, band_groups, order_spectra
from acoustic.dsp.orders.tracking import AngleLevels, angle_levels, without_fixed_angle
from acoustic.dsp.tacho.run_down import smooth_angle
from acoustic.simulator import Spin, SpinPlan

LOWEST_HZ = 500.0


@dataclass(frozen=True, eq=False)
class Ranked:
    """A sound, and what each stage made of it."""

    bank: BandBank
    levels: AngleLevels
    spectra: OrderSpectra
    ranking: Ranking

    @property
    def parts(self) -> tuple[PartEvidence, ...]:
        return self.ranking.parts

    def part(self, name: str) -> PartEvidence:
        return next(part for part in (*self.ranking.parts, *self.ranking.drive) if part.part == name)


@pytest.fixture(scope="session")
def rank(simulated: Callable[[SpinPlan], Spin]) -> Callable[..., Ranked]:
    """The chain from a plan, or a spin with its true marks, to the ranking; each said twice is ranked once."""
    kept: dict[str, Ranked] = {}

    def run(
        plan: SpinPlan,
        *geometries: BearingGeometry,
        spin: Spin | None = None,
        gain: float = 1.0,
        speed_spread: float = 0.001,
        drive: Sequence[HarmonicSet] = (),
    ) -> Ranked:
        key = repr((plan, geometries, gain, speed_spread, drive))
        if spin is not None:
            return ranked(spin, geometries, gain, speed_spread, drive)
        if key not in kept:
            kept[key] = ranked(simulated(plan), geometries, gain, speed_spread, drive)
        return kept[key]

    def ranked(
        spin: Spin,
        geometries: Sequence[BearingGeometry],
        gain: float,
        speed_spread: float,
        drive: Sequence[HarmonicSet],
    ) -> Ranked:
        bank = band_bank(spin.samples * gain, sample_rate_hz=float(spin.sample_rate_hz), top_hz=15000.0)
        times_s, turns = smooth_angle(spin.marks_s, np.arange(spin.marks_s.size))
        levels = without_fixed_angle(angle_levels(bank, times_s, turns, blank_s=np.empty(0)))
        groups = band_groups(bank.mid_hz.size, lowest=bank.first_band(LOWEST_HZ))
        spectra = order_spectra(levels.compressed, turns=levels.turns, groups=groups)
        ranking = rank_parts(spectra, levels, geometries, speed_spread=speed_spread, drive=drive)
        return Ranked(bank, levels, spectra, ranking)

    return run
