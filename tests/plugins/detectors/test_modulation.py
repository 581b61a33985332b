"""Running noise that swells with the crank or the cage: depth by hand, chance against the exponential law."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from acoustic_plugins.detectors.modulation import Modulation, level_over_trend, low_order_modulation

from acoustic.dsp.levels.filterbank import BandBank, band_bank
from acoustic.simulator import room

RATE_HZ = 8_000
LASTING_S = 12.0
TIMES_S = np.linspace(0.5, 11.5, 1101)
TURNS = 1.9 * (TIMES_S - 0.5) - 0.06 * (TIMES_S - 0.5) ** 2
CAGE = 0.444  # twice it is 0.888


def noise(order: float = 2.0, depth_db: float = 0.0, *, seed: int = 1, gain: float = 0.01) -> BandBank:
    """Noise whose level in dB swells as a cosine of the crank's angle, and dies away with the speed."""
    at_s = np.arange(int(LASTING_S * RATE_HZ)) / RATE_HZ
    angle = np.interp(at_s, TIMES_S, TURNS)
    level_db = depth_db * np.cos(2 * np.pi * order * angle) - at_s
    sound = np.random.default_rng(seed).standard_normal(at_s.size) * 10 ** (level_db / 20)
    return band_bank(gain * sound, sample_rate_hz=RATE_HZ, top_hz=3_900.0)


def found(bank: BandBank, *, turns: Any = TURNS) -> Modulation:
    swell = low_order_modulation(bank, TIMES_S, turns, CAGE)
    assert swell is not None
    return swell


@pytest.mark.parametrize(("order", "expected"), [(2.0, 2.0), (0.888, 0.888), (0.880, 0.888)])
@pytest.mark.parametrize("depth_db", [1.5, 3.0])
def test_the_depth_is_the_cosine_s(order: float, expected: float, depth_db: float) -> None:
    """In dB, as it was put in; a cage may slip by a per cent."""
    swell = found(noise(order, depth_db))
    assert swell.depth_db == pytest.approx(depth_db, rel=0.15)
    assert swell.order == pytest.approx(order, abs=0.015)
    assert swell.expected_order == pytest.approx(expected)
    assert swell.score > 6


def test_without_a_swell_the_score_is_small() -> None:
    """Of smooth noise the floor is far below what healthy bearings swell: 0.1 dB against 0.4."""
    scores = [found(noise(seed=seed)).score for seed in range(60)]
    assert max(scores) < 2


@pytest.mark.parametrize("made", [6.0, 9.0, 13.5, 19.0])
@pytest.mark.parametrize("depth_db", [1.0, 2.0, 3.0])
def test_a_swell_once_a_turn_is_none(made: float, depth_db: float) -> None:
    """Twice the cage's order lies 0.112 below it: 18 turns and more would part them in a Hann window."""
    turns = TURNS * made / TURNS[-1]
    at_s = np.arange(int(LASTING_S * RATE_HZ)) / RATE_HZ
    swing = 10 ** (depth_db / 20 * np.cos(2 * np.pi * np.interp(at_s, TIMES_S, turns)) - at_s / 20)
    sound = 0.01 * swing * np.random.default_rng(3).standard_normal(at_s.size)
    bank = band_bank(sound, sample_rate_hz=RATE_HZ, top_hz=3_900.0)
    assert found(bank, turns=turns).score < 1


@pytest.mark.parametrize("order", [0.8, 1.85, 2.2])
def test_a_rhythm_beside_the_order_is_none(order: float) -> None:
    assert found(noise(order, 2.0)).score < 1


def test_gain_changes_nothing() -> None:
    first, louder = (found(noise(2.0, 2.0, gain=gain)) for gain in (0.001, 0.1))
    assert louder.depth_db == pytest.approx(first.depth_db, rel=1e-6)


def test_the_run_down_and_a_bang_are_no_swell() -> None:
    bank = noise()
    assert np.abs(level_over_trend(bank, TIMES_S, TURNS)).max() < 4
    power = bank.power.copy()
    power[:, 4000:4300] *= 1e4
    banged = BandBank(bank.mid_hz.copy(), power, bank.frame_s, bank.first_s)
    assert found(banged).score < 3


def test_talk_is_no_swell() -> None:
    rng = np.random.default_rng(8)
    sound = 0.01 * rng.standard_normal(int(LASTING_S * RATE_HZ))
    talking = sound + 0.01 * room.talk(sound.size, RATE_HZ, rng=rng)
    bank = band_bank(talking, sample_rate_hz=RATE_HZ, top_hz=3_900.0)
    assert found(bank).score < 3


def test_few_turns_are_not_judged() -> None:
    assert low_order_modulation(noise(), TIMES_S[:250], TURNS[:250], CAGE) is None
