"""Running noise that swells with the crank or the cage: depth by hand, chance against the exponential law."""

from __future__ import annotations

import numpy as np
import pytest

from acoustic.core.envelope import BandBank, band_bank
from acoustic.core.notch import level_over_trend, swells
from acoustic.simulator import room

RATE_HZ = 8_000
LASTING_S = 12.0
TIMES_S = np.linspace(0.5, 11.5, 1101)
TURNS = 1.9 * (TIMES_S - 0.5) - 0.06 * (TIMES_S - 0.5) ** 2
ORDERS = [(2.0, False), (0.888, True)]


def noise(order: float = 2.0, depth_db: float = 0.0, *, seed: int = 1, gain: float = 0.01) -> BandBank:
    """Noise whose level in dB swells as a cosine of the crank's angle, and dies away with the speed."""
    at_s = np.arange(int(LASTING_S * RATE_HZ)) / RATE_HZ
    angle = np.interp(at_s, TIMES_S, TURNS)
    level_db = depth_db * np.cos(2 * np.pi * order * angle) - at_s
    sound = np.random.default_rng(seed).standard_normal(at_s.size) * 10 ** (level_db / 20)
    return band_bank(gain * sound, sample_rate_hz=RATE_HZ, top_hz=3_900.0)


@pytest.mark.parametrize(("order", "which"), [(2.0, 0), (0.888, 1), (0.880, 1)])
@pytest.mark.parametrize("depth_db", [1.5, 3.0])
def test_the_depth_is_the_cosine_s(order: float, which: int, depth_db: float) -> None:
    """In dB, as it was put in; a cage may slip by a per cent."""
    found = swells(noise(order, depth_db), TIMES_S, TURNS, ORDERS)
    assert found[which].depth_db == pytest.approx(depth_db, rel=0.15)
    assert found[which].order == pytest.approx(order, abs=0.01)
    assert found[which].chance < 1e-6
    assert found[1 - which].chance > 1e-3


def test_without_a_swell_the_chance_is_true() -> None:
    """Of 120 noises, a share p shows p or less, to what 120 can tell."""
    chances = np.array(
        [[one.chance for one in swells(noise(seed=seed), TIMES_S, TURNS, ORDERS)] for seed in range(120)]
    )
    for column in chances.T:
        assert 0.03 < np.mean(column <= 0.1) < 0.18
        assert np.mean(column <= 0.01) <= 0.03


def test_gain_changes_nothing() -> None:
    first, louder = (swells(noise(2.0, 2.0, gain=gain), TIMES_S, TURNS, ORDERS)[0] for gain in (0.001, 0.1))
    assert louder.depth_db == pytest.approx(first.depth_db, rel=1e-6)


def test_the_run_down_and_a_bang_are_no_swell() -> None:
    bank = noise()
    assert np.abs(level_over_trend(bank, TIMES_S, TURNS)).max() < 4
    power = bank.power.copy()
    power[:, 4000:4300] *= 1e4
    banged = BandBank(bank.mid_hz.copy(), power, bank.frame_s, bank.first_s)
    assert all(one.chance > 1e-3 for one in swells(banged, TIMES_S, TURNS, ORDERS))


def test_talk_is_no_swell() -> None:
    rng = np.random.default_rng(8)
    sound = 0.01 * rng.standard_normal(int(LASTING_S * RATE_HZ))
    talking = sound + 0.01 * room.talk(sound.size, RATE_HZ, rng=rng)
    bank = band_bank(talking, sample_rate_hz=RATE_HZ, top_hz=3_900.0)
    assert all(one.chance > 1e-3 for one in swells(bank, TIMES_S, TURNS, ORDERS))


def test_few_turns_are_not_judged() -> None:
    assert swells(noise(), TIMES_S[:250], TURNS[:250], ORDERS) == []
