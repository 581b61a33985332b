"""Spins pieced together, from pieces made on the spot and from real recordings where they are at hand."""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

sys.path.insert(0, str(Path(__file__).parent))
from pieced import in_order, piece_together
from pieced_phone import automatic_gain, noise_gate
from pieced_room import looped, power, shuffled
from pieced_timing import crank_motion, damage_passes, rolling
from pieces import RATE_HZ, Pieces, Train, without_rhythm, without_tones

from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.simulator import SpinPlan

Floats = NDArray[np.float64]
CRANK = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
PARTS = ("outer_raceway", "inner_raceway", "ball", "cage")
REAL = os.environ.get("ACOUSTIC_REAL_RECORDINGS")
needs_real = pytest.mark.skipif(REAL is None, reason="ACOUSTIC_REAL_RECORDINGS names no folder of real recordings")


def short(**more: Any) -> SpinPlan:
    return SpinPlan(**{"geometry": CRANK, "duration_s": 10.0, "turns": 8.0, "start_hz": 1.6} | more)


@cache
def made_up() -> Pieces:
    """Strikes that are decaying tones, each ball of eight with its own height; noise for all else."""
    rng = np.random.default_rng(1)
    t = np.arange(RATE_HZ // 50) / RATE_HZ
    heights = np.resize(np.exp(0.6 * rng.standard_normal(8)), 160)
    waves = tuple(h * np.exp(-t / 0.002) * np.sin(2 * np.pi * 3000 * t) for h in heights)
    train = Train("made up", waves, heights, 8)
    noise = tuple(rng.standard_normal(3 * RATE_HZ) for _ in range(3))
    rooms = {kind: noise for kind in ("rain", "fire", "person", "clock", "chainsaw", "dog", "baby")}
    return Pieces({part: (train,) for part in PARTS[:3]}, noise, rooms, rng.standard_normal(4 * RATE_HZ))


def passes(
    plan: SpinPlan, part: str, total_turns: float, rng: np.random.Generator
) -> tuple[Floats, NDArray[np.intp], Floats]:
    return damage_passes(plan, part, rolling(plan, total_turns, rng), rng)


class TestTiming:
    def test_a_coast_makes_the_turns_asked_for(self) -> None:
        """A push of 0.4 s to 1.6 turns a second makes half of 0.64, then 8; a heavy arm shifts the stop."""
        for seed in range(4):
            plan = short(duration_s=25.0, seed=seed)
            _, turns, speed_hz = crank_motion(plan, np.random.default_rng(seed))
            assert turns[-1] == pytest.approx(8.32, rel=0.04)
            assert speed_hz.max() == pytest.approx(1.6, rel=0.02)
            assert np.all(np.diff(turns) >= 0)

    @pytest.mark.parametrize("viscous_share", [0.1, 0.9])
    def test_drag_follows_its_law(self, viscous_share: float) -> None:
        """dw/dt = -d (1 - s + s w/w0): at half of the speed the drag is d (1 - s/2), to the heavy arm's pull."""
        plan = short(duration_s=25.0, viscous_share=viscous_share)
        times_s, _, speed_hz = crank_motion(plan, np.random.default_rng(0))
        drag = -np.gradient(signal.savgol_filter(speed_hz, 1201, 1), times_s)
        after = times_s > plan.still_s[0] + 0.4
        first, half = (int(np.argmin(np.abs(speed_hz - share * 1.6) + 9 * ~after)) for share in (0.85, 0.5))
        expected = (1 - viscous_share + viscous_share * 0.5) / (1 - viscous_share + viscous_share * 0.85)
        assert drag[half] / drag[first] == pytest.approx(expected, rel=0.15)

    @pytest.mark.parametrize("part", PARTS)
    def test_passes_come_at_the_parts_order(self, part: str) -> None:
        """Counts over 300 turns against the textbook's orders with a cage that lags by 0.4 % on average: the
        inner ring gains what the others lose. The lag wanders, so to 0.2 %."""
        at, ball, load = passes(short(slip=0.004), part, 300.0, np.random.default_rng(2))
        orders = defect_orders(CRANK)
        cage = orders.cage * 0.996
        expected = {
            "outer_raceway": 16 * cage,
            "inner_raceway": 16 * (1 - cage),
            "ball": orders.ball * 0.996,
            "cage": cage,
        }[part]
        assert at.size / 300 == pytest.approx(expected, rel=2e-3, abs=1 / 300)
        assert np.all(np.diff(at) >= 0)
        assert set(ball) == set(range(2 if part == "ball" else 16))
        assert np.all(load > 0)

    def test_the_load_goes_with_what_turns(self) -> None:
        """Line of the load at one order, over its mean: the inner ring's at 1, a ball's at the cage's."""
        cage = defect_orders(CRANK).cage
        for part, own, other in (("inner_raceway", 1.0, cage), ("ball", cage, 1.0)):
            at, _, load = passes(short(slip=0.0, load_zone=0.8), part, 200.0, np.random.default_rng(3))
            depth = [abs(np.mean(load * np.exp(-2j * np.pi * o * at))) / load.mean() for o in (own, other)]
            assert depth[0] > 0.3
            assert depth[1] < 0.05

    def test_legs_press_twice_a_turn_on_an_outer_ring(self) -> None:
        at, _, load = passes(short(spin="pedal"), "outer_raceway", 200.0, np.random.default_rng(4))
        depth = [abs(np.mean(load * np.exp(-2j * np.pi * o * at))) / load.mean() for o in (1.0, 2.0)]
        assert depth[1] > 0.04 > depth[0]


class TestPhone:
    def test_gain_takes_its_share_of_a_step(self) -> None:
        """20 dB louder at half strength: 10 dB are left, once settled."""
        noise = np.random.default_rng(5).standard_normal(10 * RATE_HZ)
        noise[5 * RATE_HZ :] *= 10
        heard = automatic_gain(noise, 0.5, attack_s=0.02, release_s=0.5)
        step = np.std(heard[8 * RATE_HZ :]) / np.std(heard[2 * RATE_HZ : 4 * RATE_HZ])
        assert 20 * np.log10(step) == pytest.approx(10, abs=0.5)

    def test_a_recorder_wide_open_begins_too_loud(self) -> None:
        noise = np.random.default_rng(6).standard_normal(4 * RATE_HZ)
        heard = automatic_gain(noise, 1.0, attack_s=0.2, release_s=0.5, open_db=15.0)
        assert np.std(heard[: RATE_HZ // 50]) > 3 * np.std(heard[-RATE_HZ:])

    def test_a_gate_opens_for_what_is_loud_and_closes_by_14_db(self) -> None:
        noise = np.random.default_rng(7).standard_normal(4 * RATE_HZ)
        noise[2 * RATE_HZ : 2 * RATE_HZ + 9600] *= 4
        gain = noise_gate(noise) / noise
        assert np.median(gain[: 2 * RATE_HZ]) == pytest.approx(10 ** (-14 / 20), rel=0.02)
        assert np.median(gain[2 * RATE_HZ + 4800 : 2 * RATE_HZ + 9600]) == pytest.approx(1, abs=0.05)


class TestPieces:
    def test_tones_go_and_noise_stays(self) -> None:
        """A tone of amplitude 0.5 has a mean product of 0.25 with its own rotation: a tenth of it may stay. Noise
        alone keeps its power to 1 %."""
        t = np.arange(8 * RATE_HZ) / RATE_HZ
        noise = np.random.default_rng(8).standard_normal(t.size)
        tone = 0.5 * np.sin(2 * np.pi * 1234.56 * t)
        left = without_tones(noise + tone)
        assert abs(np.mean(left * np.exp(-2j * np.pi * 1234.56 * t))) < 0.025
        assert np.mean(without_tones(noise) ** 2) == pytest.approx(np.mean(noise**2), rel=0.01)

    def test_a_train_of_strikes_is_no_tone(self) -> None:
        t = np.arange(4 * RATE_HZ)
        train = (t % 1600 == 0).astype(float)  # 30 a second
        kept = without_tones(train + 1e-3 * np.random.default_rng(9).standard_normal(t.size), keep_hz=30.0)
        low = signal.butter(4, 1500, fs=RATE_HZ, output="sos")
        assert np.std(signal.sosfilt(low, kept)) == pytest.approx(np.std(signal.sosfilt(low, train)), rel=0.02)

    def test_a_swell_goes(self) -> None:
        """Noise that swells by 40 % ten times a second: its level's line falls to a fifth or less."""
        t = np.arange(9 * RATE_HZ) / RATE_HZ
        noise = np.random.default_rng(10).standard_normal(t.size) * (1 + 0.4 * np.sin(2 * np.pi * 10 * t))
        line = [abs(np.mean(sound**2 * np.exp(-2j * np.pi * 10 * t))) for sound in (noise, without_rhythm(noise))]
        assert line[1] < line[0] / 5

    def test_looped_and_shuffled_keep_the_level(self) -> None:
        clip = np.random.default_rng(11).standard_normal(3 * RATE_HZ)
        for sound in (
            looped(clip, 10 * RATE_HZ, np.random.default_rng(12)),
            shuffled(clip, 10 * RATE_HZ, np.random.default_rng(12)),
        ):
            assert sound.size == 10 * RATE_HZ
            levels = np.std(sound.reshape(-1, RATE_HZ // 4), axis=1)
            assert levels == pytest.approx(1, abs=0.1)

    def test_power_is_that_of_the_band(self) -> None:
        """White noise of unit power from 0 to 24 kHz: 6.8 kHz of it hold 6.8/24."""
        noise = np.random.default_rng(13).standard_normal(4 * RATE_HZ)
        assert power(noise) == pytest.approx(6.8 / 24, rel=0.01)


class TestTogether:
    @pytest.mark.parametrize("spin", ["hand", "pedal", "steady"])
    def test_marks_are_whole_turns(self, spin: str) -> None:
        made = piece_together(short(spin=spin), made_up())
        assert made.samples.size == 10 * RATE_HZ
        at = np.interp(made.marks_s, made.times_s, made.turns)
        assert at == pytest.approx(np.arange(1, made.marks_s.size + 1), abs=2e-3)
        assert made.marks_s.size == np.ceil(made.turns[-1]) - 1

    @pytest.mark.parametrize("level_db", [-6.0, 6.0])
    def test_a_defect_has_the_level_asked_for(self, level_db: float) -> None:
        """The room's power against that of the room and the strikes, both while turning: 10 lg(1 + 10^(L/10))."""
        quiet = short(running_db=-60.0, low_hz=20.0)
        alone, struck = (
            piece_together(plan, made_up())
            for plan in (quiet, replace(quiet, defects=(("outer_raceway", level_db),)))
        )
        turning = slice(round(struck.start_s * RATE_HZ), round(struck.stop_s * RATE_HZ))
        rise_db = 10 * np.log10(power(struck.samples[turning]) / power(alone.samples[turning]))
        assert rise_db == pytest.approx(10 * np.log10(1 + 10 ** (level_db / 10)), abs=0.4)

    @pytest.mark.parametrize(("part", "order"), [("outer_raceway", 7.096), ("inner_raceway", 8.904)])
    def test_strikes_are_heard_at_the_defects_order(self, part: str, order: float) -> None:
        """16 balls of 3.5 on 31 mm, by hand: cage (1 - 0.1129)/2 = 0.4435, so 7.096 and 8.904 a turn."""
        made = piece_together(short(defects=((part, 15.0),), slip=0.0, load_zone=0.2), made_up())
        spectrum, orders = order_spectrum(made.samples, made.times_s, made.turns)
        near = (orders > 5) & (orders < 11)
        assert orders[near][spectrum[near].argmax()] == pytest.approx(order, abs=0.1)

    def test_strikes_of_a_ring_repeat_with_the_cage(self) -> None:
        """Balls of unequal height: lines at multiples of the cage rate (but for the ball passes), none half way
        between them; both means over the same number of orders and four spins."""
        means = np.zeros(2)
        for seed in range(4):
            plan = short(defects=(("outer_raceway", 25.0),), jitter=0.0, slip=0.0, turns=12.0, duration_s=16.0)
            made = piece_together(replace(plan, seed=seed), made_up())
            spectrum, orders = order_spectrum(made.samples, made.times_s, made.turns)
            for k, shift in enumerate((0.0, 0.5)):
                lines = 0.4435 * (np.array([2, 3, 4, 5, 10, 11, 12, 13]) + shift)
                means[k] += np.mean([spectrum[np.abs(orders - one) < 0.015].mean() for one in lines])
        assert means[0] > 3 * means[1]

    def test_each_ball_has_one_real_balls_strikes_in_their_order(self) -> None:
        """Twenty rounds of eight real balls, asked for by sixteen: the same real ball at each round, the next
        round's strike at each."""
        train = made_up().strikes["ball"][0]
        ball = np.arange(16 * 12) % 16
        for passing in (ball, ball[::-1]):
            picked = in_order(train, passing, 16, np.random.default_rng(1)).reshape(12, 16)
            assert np.all(picked % 8 == picked[0] % 8)
            assert np.all(np.diff(picked // 8, axis=0) % 20 == 1)
            assert sorted(np.bincount(picked[0] % 8)) == [2] * 8

    def test_the_seed_decides(self) -> None:
        plan = short(defects=(("creak", 0.0), ("grit", 0.0)), spin="pedal", talk_db=0.0, knocks=2, push_db=5.0)
        first, again = piece_together(plan, made_up()), piece_together(plan, made_up())
        assert np.array_equal(first.samples, again.samples)
        assert not np.array_equal(first.samples, piece_together(replace(plan, seed=1), made_up()).samples)


def order_spectrum(sound: Floats, times_s: Floats, turns: Floats) -> tuple[Floats, Floats]:
    """Power of the log level's lines against order, over its variance."""
    hop = RATE_HZ // 500
    band = signal.sosfiltfilt(signal.butter(4, (1500, 9000), "bandpass", fs=RATE_HZ, output="sos"), sound)
    level = np.log(np.mean(band[: band.size // hop * hop].reshape(-1, hop) ** 2, axis=1) + 1e-12)
    at = np.interp((np.arange(level.size) + 0.5) * hop / RATE_HZ, times_s, turns)
    turning = (at > 0.5) & (at < 0.9 * turns[-1])
    level, at = level[turning] - signal.savgol_filter(level[turning], 301, 2), at[turning]
    orders = np.arange(0.6, 24, 0.02)
    lines = np.exp(-2j * np.pi * np.outer(orders, at)) @ (level * np.hanning(level.size))
    return np.abs(lines) ** 2 / np.sum(level**2), orders


@needs_real
class TestReal:
    def test_the_halves_share_no_recording(self) -> None:
        halves = [Pieces.load(Path(REAL or ""), fold) for fold in ("build", "held")]
        names = [{train.source for trains in half.strikes.values() for train in trains} for half in halves]
        assert names[0] and names[1]
        assert not names[0] & names[1]
        for half in halves:
            assert all(half.strikes.values())
            assert len(half.running) == 3
            assert half.talk.size > 7 * RATE_HZ

    def test_a_healthy_bearing_has_no_rhythm_but_its_own(self) -> None:
        """Mean of 12 order spectra without waviness: no bin stands beyond chance. A bin's power is exponential,
        the mean of twelve a gamma; of some 500 independent bins the largest is 3.1 times the mean once in a
        hundred (scipy)."""
        from scipy.stats import gamma

        limit = float(gamma(12, scale=1 / 12).isf(0.01 / 500))
        assert limit == pytest.approx(2.9, abs=0.3)
        total = np.zeros(0)
        for seed in range(12):
            plan = short(running_db=6.0, waviness=0.0, seed=seed, turns=14.0, duration_s=18.0)
            made = piece_together(plan, Pieces.load(Path(REAL or "")))
            spectrum, orders = order_spectrum(made.samples, made.times_s, made.turns)
            total = total + spectrum if total.size else spectrum
        high = total[orders > 4]
        assert high.max() < limit * high.mean()
