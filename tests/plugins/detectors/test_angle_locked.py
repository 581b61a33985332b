"""Bursts at one angle of the crank: the circular test against the literature, and what must not fool it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from acoustic_plugins.detectors.angle_locked import direction_chance, locked_bursts, rayleigh_chance
from scipy import stats

from acoustic.dsp.levels.filterbank import BandBank, band_bank
from acoustic.simulator import room

RATE_HZ = 16_000
LASTING_S = 12.0
TIMES_S = np.linspace(0.5, 11.5, 1101)
TURNS = 1.2 * (TIMES_S - 0.5) + 0.03 * np.sin(2 * np.pi * 1.2 * TIMES_S)


def sounding(bursts: Any = (), *, lasting_s: float = 0.06, loud: float = 6.0, seed: int = 1) -> BandBank:
    """Noise with louder stretches that begin at given turns."""
    rng = np.random.default_rng(seed)
    sound = rng.standard_normal(int(LASTING_S * RATE_HZ))
    for at_s in np.interp(bursts, TURNS, TIMES_S):
        first = round(at_s * RATE_HZ)
        sound[first : first + round(lasting_s * RATE_HZ)] *= loud
    return band_bank(0.01 * sound, sample_rate_hz=RATE_HZ, top_hz=7_500.0)


class TestRayleigh:
    @pytest.mark.parametrize(
        ("count", "z", "chance"),
        [
            (6, 2.865, 0.05),
            (10, 2.919, 0.05),
            (20, 2.958, 0.05),
            (100, 2.989, 0.05),
            (10, 4.304, 0.01),
            (20, 4.456, 0.01),
        ],
    )
    def test_critical_values(self, count: int, z: float, chance: float) -> None:
        """Critical values of Rayleigh's z = R^2/n, Zar, Biostatistical Analysis, table B.34 (from memory)."""
        assert rayleigh_chance(np.sqrt(z * count), count) == pytest.approx(chance, rel=0.04)

    def test_the_resultant_is_scipy_s(self) -> None:
        """Equal vectors: the same mean length as scipy.stats.directional_stats gives, so the same chance."""
        angles = np.random.default_rng(2).vonmises(0.3, 1.0, 14)
        points = np.stack([np.cos(angles), np.sin(angles)], axis=1)
        length = stats.directional_stats(points).mean_resultant_length
        assert direction_chance(3 * np.exp(1j * angles)) == pytest.approx(rayleigh_chance(14 * length, 14))

    def test_the_chance_is_true_for_unequal_vectors(self) -> None:
        """Directions at random, lengths from 0 to 1: a share p shows p or less."""
        rng = np.random.default_rng(3)
        chances = np.array(
            [direction_chance(rng.uniform(0, 1, 12) * np.exp(2j * np.pi * rng.random(12))) for _ in range(4000)]
        )
        assert np.mean(chances <= 0.1) == pytest.approx(0.1, abs=0.02)
        assert np.mean(chances <= 0.01) == pytest.approx(0.01, abs=0.006)

    def test_turning_all_changes_nothing_and_no_length_tells_nothing(self) -> None:
        vectors = np.exp(2j * np.pi * np.random.default_rng(4).random(9) / 3)
        assert direction_chance(vectors * np.exp(1.7j)) == pytest.approx(direction_chance(vectors))
        assert direction_chance(np.zeros(5, complex)) == 1.0


class TestBursts:
    @pytest.mark.parametrize("times_a_turn", [1, 2])
    def test_what_comes_at_one_angle_is_found(self, times_a_turn: int) -> None:
        bank = sounding(np.arange(0.3, TURNS[-1] - 0.1, 1 / times_a_turn))
        found = locked_bursts(bank, TIMES_S, TURNS)
        assert found is not None
        assert (found.times_a_turn, found.share) == (times_a_turn, 1.0)
        assert found.score > 9
        assert found.excess_db == pytest.approx(20 * np.log10(6.0), abs=3)

    @pytest.mark.parametrize("width", [0.04, 0.12])
    def test_a_short_burst_or_one_of_an_eighth_of_a_turn(self, width: float) -> None:
        """A creak lasts an eighth of a turn at most."""
        found = locked_bursts(sounding(np.arange(0.3, 12.5, 1.0), lasting_s=width / 1.2), TIMES_S, TURNS)
        assert found is not None
        assert found.score > 8

    def test_what_swells_with_the_load_is_none(self) -> None:
        """A ring struck 7.1 times a turn, its load going as the cosine: all at one side, few harmonics."""
        strikes = np.arange(0.0, TURNS[-1] - 0.1, 1 / 7.1)
        rng = np.random.default_rng(1)
        sound = rng.standard_normal(int(LASTING_S * RATE_HZ))
        for turn, at_s in zip(strikes, np.interp(strikes, TURNS, TIMES_S), strict=True):
            first = round(at_s * RATE_HZ)
            load = (1 + np.cos(2 * np.pi * turn)) / 2
            sound[first : first + 640] *= 1 + 9 * load
        found = locked_bursts(band_bank(0.01 * sound, sample_rate_hz=RATE_HZ, top_hz=7_500.0), TIMES_S, TURNS)
        assert found is not None
        assert found.score < 4

    def test_one_in_eight_may_stay_away(self) -> None:
        bursts = np.delete(np.arange(0.3, TURNS[-1] - 0.1, 1.0), [2, 9])
        found = locked_bursts(sounding(bursts), TIMES_S, TURNS)
        assert found is not None
        assert found.score > 8

    def test_gain_and_where_the_turns_are_counted_from_change_nothing(self) -> None:
        bank = sounding(np.arange(0.3, TURNS[-1] - 0.1, 1.0))
        louder = BandBank(bank.mid_hz.copy(), 400 * bank.power, bank.frame_s, bank.first_s)
        first, second = locked_bursts(bank, TIMES_S, TURNS), locked_bursts(louder, TIMES_S, TURNS)
        shifted = locked_bursts(bank, TIMES_S, TURNS + 0.25)
        assert first is not None and second is not None and shifted is not None
        assert second.excess_db == pytest.approx(first.excess_db)
        assert shifted.excess_db == pytest.approx(first.excess_db, abs=0.5)

    @pytest.mark.parametrize("kind", ["noise", "random bursts", "talk", "squeal", "one bang"])
    def test_what_does_not_is_not(self, kind: str) -> None:
        rng = np.random.default_rng(5)
        if kind in ("talk", "squeal"):
            noise = 0.01 * rng.standard_normal(int(LASTING_S * RATE_HZ))
            other = (room.talk if kind == "talk" else room.squeal)(noise.size, RATE_HZ, rng=rng)
            bank = band_bank(noise + 0.02 * other, sample_rate_hz=RATE_HZ, top_hz=7_500.0)
        else:
            bank = {
                "noise": sounding,
                "random bursts": lambda: sounding(rng.uniform(0, TURNS[-1], 12)),
                "one bang": lambda: sounding([4.2], loud=60.0),
            }[kind]()
        found = locked_bursts(bank, TIMES_S, TURNS)
        assert found is not None
        assert found.score < 4

    def test_few_turns_are_not_judged(self) -> None:
        assert locked_bursts(sounding(), TIMES_S[:300], TURNS[:300]) is None
