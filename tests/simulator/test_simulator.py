"""The simulator: its mechanics against integration, its sounds against what they claim to be."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import integrate, signal, stats

from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.simulator import Spin, SpinPlan, simulate
from acoustic.simulator.kinematics import coast_drag, pedalled, run_down
from acoustic.simulator.phone import automatic_gain, band_limit, whole_numbers
from acoustic.simulator.ringing import frame_response, ring
from acoustic.simulator.room import coloured_noise, compressor, hum, knock, talk
from acoustic.simulator.strikes import geared_strikes, grit_strikes, pitted_strikes, ring_strikes

Floats = NDArray[np.float64]
RATE_HZ = 48000
PARTS = ("outer_raceway", "inner_raceway", "ball", "cage")
# 8 balls of 10 on 50 mm, by hand: cage 0.4, outer 3.2, inner 4.8, ball 4.8
ROUND = BearingGeometry(balls=8, ball_diameter_mm=10.0, pitch_diameter_mm=50.0)
CRANK = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
simulated = cache(simulate)


def short(**more: Any) -> SpinPlan:
    return SpinPlan(**{"geometry": CRANK, "duration_s": 8.0, "turns": 7.0, "start_hz": 1.6} | more)


class TestRunDown:
    @pytest.mark.parametrize(
        ("start_hz", "coulomb", "viscous"), [(1.7, 0.08, 0.05), (2.5, 0.3, 0.02), (0.6, 0.02, 0.3)]
    )
    def test_against_integration(self, start_hz: float, coulomb: float, viscous: float) -> None:
        """scipy integrates dw/dt = -c - b w until w = 0, with errors of 1e-10 a step: 1e-7 in all."""

        def stands(_: float, state: Floats) -> float:
            return float(state[1])

        stands.terminal = True  # type: ignore[attr-defined]
        solved = integrate.solve_ivp(
            lambda _, state: [state[1], -coulomb - viscous * state[1]],
            (0, 200),
            [0.0, start_hz],
            events=stands,
            rtol=1e-10,
            atol=1e-12,
        )
        turns, speed = run_down(solved.t, start_hz=start_hz, coulomb_hz_per_s=coulomb, viscous_per_s=viscous)
        assert turns == pytest.approx(solved.y[0], abs=1e-7)
        assert speed == pytest.approx(solved.y[1], abs=1e-7)

    def test_by_hand(self) -> None:
        """w0 = c/b = 1, b = 0.1: w = 2 exp(-0.1 t) - 1 stands at 10 ln 2 = 6.931 s.

        Until then it turns 2/0.1 (1 - 1/2) - 6.931 = 3.0685 times, and stays there.
        """
        turns, speed = run_down(
            np.array([0.0, 10 * math.log(1.25), 6.94, 50.0]),
            start_hz=1.0,
            coulomb_hz_per_s=0.1,
            viscous_per_s=0.1,
        )
        assert speed == pytest.approx([1, 2 / 1.25 - 1, 0, 0], abs=1e-12)
        assert turns[[0, 2, 3]] == pytest.approx([0, 10 - 10 * math.log(2), 10 - 10 * math.log(2)], abs=1e-12)

    @given(start_hz=st.floats(0.3, 3.0), turns=st.floats(1.0, 30.0), share=st.floats(0.05, 0.95))
    @settings(max_examples=30)
    def test_coast_drag_gives_the_turns_asked_for(self, start_hz: float, turns: float, share: float) -> None:
        """Rounding alone; and the viscous share of the first drag is what was asked, b w0/(c + b w0)."""
        coulomb, viscous = coast_drag(start_hz=start_hz, turns=turns, viscous_share=share)
        made, speed = run_down(np.array([1e4]), start_hz=start_hz, coulomb_hz_per_s=coulomb, viscous_per_s=viscous)
        assert made[0] == pytest.approx(turns, rel=1e-9)
        assert speed[0] == 0
        assert viscous * start_hz / (coulomb + viscous * start_hz) == pytest.approx(share, rel=1e-9)


class TestPedalled:
    def test_speed_and_angle_agree(self) -> None:
        """Turns are the speed's integral (scipy's trapezium rule, the same by construction: 1e-9), its mean
        is the mean asked for, and it wobbles twice a turn."""
        times_s = np.arange(20001) / 1000
        turns, speed = pedalled(times_s, mean_hz=1.2, wobble=0.05, drift=0.02, rng=np.random.default_rng(1))
        assert turns == pytest.approx(integrate.cumulative_trapezoid(speed, times_s, initial=0), abs=1e-9)
        assert speed.mean() == pytest.approx(1.2, rel=0.01)
        assert np.all(speed > 1.2 * (1 - 0.05) * (1 - 0.02) - 1e-9)
        wobble = np.abs(np.exp(-2j * np.pi * np.outer([1, 2, 3], turns)) @ (speed - speed.mean()))
        assert wobble.argmax() == 1

    def test_steady(self) -> None:
        turns, speed = pedalled(
            np.arange(1001) / 100, mean_hz=1.5, wobble=0.0, drift=0.0, rng=np.random.default_rng(2)
        )
        assert speed == pytest.approx(1.5, rel=1e-12)
        assert turns[-1] == pytest.approx(15, rel=1e-9)


class TestStrikes:
    @pytest.mark.parametrize("part", PARTS)
    @pytest.mark.parametrize("slip", [0.0, 0.01])
    def test_strikes_a_turn(self, part: str, slip: float) -> None:
        """By hand for round numbers; a cage that lags by 1 per cent turns 0.396 times.

        Outer 8 x 0.396 = 3.168, inner 8 x 0.604 = 4.832, ball 4.8 x 0.99 = 4.752. Without jitter the
        count over 500 turns is right to the two that may be missing at the start.
        """
        expected = {
            "outer_raceway": (3.2, 3.168),
            "inner_raceway": (4.8, 4.832),
            "ball": (4.8, 4.752),
            "cage": (0.4, 0.396),
        }[part][slip > 0]
        train = ring_strikes(
            ROUND, part, total_turns=500.0, slip=slip, jitter=0.0, load_zone=0.5, rng=np.random.default_rng(1)
        )
        assert train.turns.size == pytest.approx(500 * expected, abs=2.01)
        assert np.diff(train.turns) == pytest.approx(1 / expected, rel=1e-9)
        assert 0 < train.turns[0] <= 2 / expected
        assert train.turns[-1] < 500
        assert np.all(train.strength > 0)

    def test_jitter_adds_up_as_a_random_walk(self) -> None:
        """Each of n intervals errs by 2 per cent, so their sum by 2 per cent x sqrt(n); 300 trains say so.

        A spread from 300 is sure to 4 per cent: three of those.
        """
        ends = [
            ring_strikes(
                ROUND,
                "outer_raceway",
                total_turns=40.0,
                slip=0.0,
                jitter=0.02,
                load_zone=0.0,
                rng=np.random.default_rng(seed),
            ).turns[[0, 100]]
            for seed in range(300)
        ]
        assert np.std(np.diff(ends, axis=1)) == pytest.approx(0.02 / 3.2 * 10, rel=0.12)

    def test_the_load_passes_once_a_turn_over_the_inner_ring_and_once_a_cage_turn_over_a_ball(self) -> None:
        """Fourier coefficient of the strengths at orders 1 and 0.4: present at its own, near noise elsewhere.

        By hand: a load 1 - z (1 - cos)/2 has an amplitude z/2 = 0.4 over a mean 0.6. Strengths scatter by
        20 per cent: 0.2 x 0.6/sqrt(960) = 4e-3 in a coefficient.
        """
        for part, own, other in (("inner_raceway", 1.0, 0.4), ("ball", 0.4, 1.0), ("outer_raceway", None, 1.0)):
            train = ring_strikes(
                ROUND,
                part,
                total_turns=200.0,
                slip=0.0,
                jitter=0.0,
                load_zone=0.8 if own else 0.0,
                rng=np.random.default_rng(3),
            )

            def depth(order: float, turns: Floats = train.turns, strength: Floats = train.strength) -> float:
                return float(2 * abs(np.mean(np.exp(-2j * np.pi * order * turns) * strength)) / strength.mean())

            if own:
                assert depth(own) == pytest.approx(0.4 / 0.6, rel=0.1)
            assert depth(other) < 0.05

    def test_every_other_strike_of_a_ball_is_fainter(self) -> None:
        """It meets the outer ring, then the inner."""
        train = ring_strikes(
            ROUND, "ball", total_turns=200.0, slip=0.0, jitter=0.0, load_zone=0.0, rng=np.random.default_rng(4)
        )
        assert 0.4 < train.strength[1::2].mean() / train.strength[::2].mean() < 0.8

    def test_pits_strike_as_often_as_there_are(self) -> None:
        """6 pits a ring: 6 x (3.2 + 4.8) = 48 strikes a turn, to one a pit; in order of angle."""
        train = pitted_strikes(ROUND, total_turns=50.0, pits=6, slip=0.0, rng=np.random.default_rng(5))
        assert train.turns.size == pytest.approx(2400, abs=24)
        assert np.all(np.diff(train.turns) >= 0)
        assert train.strength.shape == train.turns.shape

    def test_grit_keeps_no_rhythm(self) -> None:
        """Counts of 200 spins of 10 turns at 9: mean 90 and variance 90 (Poisson). The mean is sure to
        sqrt(90/200) = 0.67, the variance to sqrt(2/200) = 10 per cent; angles are uniform (Kolmogorov and
        Smirnov, seed fixed, p above 1 in 100)."""
        spins = [grit_strikes(total_turns=10.0, per_turn=9.0, rng=np.random.default_rng(s)) for s in range(200)]
        counts = np.array([spin.turns.size for spin in spins])
        assert counts.mean() == pytest.approx(90, abs=2.7)
        assert counts.var() == pytest.approx(90, rel=0.4)
        angles = np.concatenate([spin.turns for spin in spins])
        assert stats.kstest(angles / 10, stats.uniform.cdf).pvalue > 0.01


class TestRinging:
    @pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
    def test_the_answer_has_unit_energy(self, rate_hz: int) -> None:
        answer = frame_response(rate_hz, np.random.default_rng(1))
        assert answer.size == int(0.04 * rate_hz)
        assert np.sum(answer**2) == pytest.approx(1, rel=1e-9)
        spectrum = np.abs(np.fft.rfft(answer, 8 * answer.size)) ** 2
        frequency_hz = np.fft.rfftfreq(8 * answer.size, 1 / rate_hz)
        top_hz = min(9000.0, 0.45 * rate_hz)
        # damped resonances of up to 6 per cent have skirts, but their power lies in the range
        assert spectrum[(frequency_hz > 400) & (frequency_hz < 1.1 * top_hz)].sum() > 0.8 * spectrum.sum()

    def test_strikes_land_on_their_samples(self) -> None:
        """By hand: strikes of 2 and -1 at samples 3 and 5 through an answer 1, 0.5; one outside is left out."""
        sound = ring(
            np.array([3.2, 5.0, -4.0, 12.0]) / 1000,
            np.array([2.0, -1.0, 9.0, 9.0]),
            np.array([1.0, 0.5]),
            samples=8,
            sample_rate_hz=1000.0,
        )
        assert sound == pytest.approx([0, 0, 0, 2, 1, -1, -0.5, 0], abs=1e-12)


class TestRoom:
    @pytest.mark.parametrize("tilt_db", [0.0, -3.0, -6.0])
    def test_noise_falls_by_its_tilt(self, tilt_db: float) -> None:
        """Slope of scipy's Welch spectrum against log2 of frequency, 200 Hz to 16 kHz.

        234 averages leave 0.3 dB a bin; over 700 bins the slope is sure to some 0.02 dB an octave.
        """
        noise = coloured_noise(10 * RATE_HZ, RATE_HZ, tilt_db_per_octave=tilt_db, rng=np.random.default_rng(1))
        frequency_hz, power = signal.welch(noise, RATE_HZ, nperseg=4096)
        inside = (frequency_hz > 200) & (frequency_hz < 16000)
        slope = np.polyfit(np.log2(frequency_hz[inside]), 10 * np.log10(power[inside]), 1)[0]
        assert slope == pytest.approx(tilt_db, abs=0.1)
        assert np.mean(noise**2) == pytest.approx(1, rel=1e-9)

    def test_hum_is_made_of_mains_harmonics(self) -> None:
        """Two whole seconds: every multiple of 50 Hz is a bin, and nothing lies between."""
        sound = hum(2 * RATE_HZ, RATE_HZ, mains_hz=50.0, rng=np.random.default_rng(2))
        power = np.abs(np.fft.rfft(sound)) ** 2
        lines = np.arange(1, 13) * 100
        assert power[lines].sum() == pytest.approx(power.sum(), rel=1e-9)
        assert np.all(power[lines] > 0)
        assert np.mean(sound**2) == pytest.approx(1, rel=1e-9)

    def test_talk_comes_and_goes(self) -> None:
        """Syllables of mean square 0.16 to 1 with silence between: silence and loud parts both there."""
        sound = talk(20 * RATE_HZ, RATE_HZ, rng=np.random.default_rng(3))
        level = np.sqrt(np.mean(sound.reshape(-1, RATE_HZ // 20) ** 2, axis=1))
        assert 0.15 < np.mean(level < 0.01) < 0.85
        assert 0.3 < level.max() < 2.5

    def test_a_knock_has_unit_peak_and_dies_away(self) -> None:
        for seed in range(5):
            sound = knock(RATE_HZ, np.random.default_rng(seed))
            assert np.max(np.abs(sound)) == pytest.approx(1, rel=1e-9)
            assert np.max(np.abs(sound[-RATE_HZ // 20 :])) < 0.3


class TestPhone:
    def test_corners_by_hand(self) -> None:
        """At the low corner x = 1: x/sqrt(1 + x^2) = 0.7071, at a tenth of it 0.01; at the high corner
        0.7071, a tenth above it 1/sqrt(1 + 1.1^40) = 0.147. Whole periods, so exact but for rounding."""
        t = np.arange(RATE_HZ) / RATE_HZ
        for frequency_hz, gain in ((100, 0.7071), (10, 0.01), (1000, 1.0), (8000, 0.7071), (8800, 0.147)):
            heard = band_limit(np.sin(2 * np.pi * frequency_hz * t), RATE_HZ, low_hz=100, high_hz=8000)
            assert np.std(heard) * math.sqrt(2) == pytest.approx(gain, rel=6e-3)

    @pytest.mark.parametrize("strength", [0.0, 0.5, 1.0])
    def test_automatic_gain_takes_its_share_of_a_step(self, strength: float) -> None:
        """Noise that grows by 20 dB: once settled, (1 - strength) x 20 dB are left.

        The follower looks at 5 ms of power and rises faster than it falls, so it reads high, but by as
        much before and after. Six seconds are ten of its slower time constant, so that
        the 20 dB it starts from are down to 2e-3; noise over 2 s is sure to 0.1 dB.
        """
        noise = np.random.default_rng(4).standard_normal(16 * RATE_HZ)
        noise[8 * RATE_HZ :] *= 10
        heard = automatic_gain(noise, RATE_HZ, attack_s=0.03, release_s=0.6, strength=strength)
        before, after = np.std(heard[6 * RATE_HZ : 8 * RATE_HZ]), np.std(heard[14 * RATE_HZ :])
        assert 20 * math.log10(after / before) == pytest.approx(20 * (1 - strength), abs=0.3)

    def test_whole_numbers_by_hand(self) -> None:
        """8 bits: steps of 1/128, from -1 to 127/128."""
        given_sound = np.array([0.0, 0.3 / 128, 0.7 / 128, -0.9, 2.0, -2.0])
        expected = np.array([0, 0, 1, -115, 127, -128]) / 128
        assert whole_numbers(given_sound, bits=8) == pytest.approx(expected, abs=1e-12)


class TestScene:
    def test_the_seed_decides(self) -> None:
        plan = short(defects=(("ball", 0.0),), knocks=1, talk_db=0.0, ticks_db=20.0, hum_db=0.0)
        first, again, other = simulated(plan), simulate(plan), simulated(replace(plan, seed=1))
        assert np.array_equal(first.samples, again.samples)
        assert np.array_equal(first.marks_s, again.marks_s)
        assert not np.array_equal(first.samples, other.samples)

    @pytest.mark.parametrize("spin", ["hand", "pedal", "steady"])
    def test_marks_are_whole_turns(self, spin: str) -> None:
        """The true angle at mark k is k turns, to the 1 ms grid's interpolation."""
        made = simulated(short(spin=spin, start_hz=1.5))
        assert made.samples.size == 8 * RATE_HZ
        at = np.interp(made.marks_s, made.times_s, made.turns)
        assert at == pytest.approx(np.arange(1, made.marks_s.size + 1), abs=1e-3)
        assert made.marks_s.size == int(made.turns[-1])
        assert 1.15 < made.start_s < 1.25
        assert np.all(np.diff(made.turns) >= 0)
        still = (made.times_s < 1.19) | (made.times_s > made.stop_s + 0.01)
        assert np.all(np.diff(made.turns[made.times_s < 1.19]) == 0)
        assert made.turns[still].max() == made.turns[-1]

    def test_a_driven_crank_turns_evenly(self) -> None:
        """5.8 s at 1.5 turns a second."""
        made = simulated(short(spin="steady", start_hz=1.5))
        assert made.turns[-1] == pytest.approx(8.7, abs=0.01)
        assert np.diff(made.marks_s) == pytest.approx(1 / 1.5, abs=1e-6)

    def test_a_push_and_coast_makes_the_turns_asked_for(self) -> None:
        """With time to stand: 0.4 s of push to 1.6 turns a second make 0.32 turns, then the 5 asked for."""
        made = simulated(short(duration_s=20.0, turns=5.0))
        assert made.turns[-1] == pytest.approx(5.32, abs=0.01)
        assert made.stop_s < 19.0

    @pytest.mark.parametrize("level_db", [-6.0, 6.0])
    def test_a_defect_has_the_level_asked_for(self, level_db: float) -> None:
        """The same seed with and without: the difference is the defect alone, the still part the room alone.

        scipy's Welch spectrum, 0.7 to 7.5 kHz. The room's second of stillness is sure to 1/sqrt(6800) =
        0.05 dB; defect and room are both asked for over the whole recording, so 0.5 dB.
        """
        sound = simulated(short(running_db=-60.0))
        damaged = simulated(short(running_db=-60.0, defects=(("outer_raceway", level_db),)))

        def power(samples: Floats) -> float:
            frequency_hz, density = signal.welch(samples, RATE_HZ, nperseg=4096)
            return float(density[(frequency_hz >= 700) & (frequency_hz <= 7500)].sum())

        turning = slice(round(sound.start_s * RATE_HZ), round(sound.stop_s * RATE_HZ))
        alone = power((damaged.samples - sound.samples)[turning])
        room_alone = power(sound.samples[: round(1.1 * RATE_HZ)])
        assert 10 * math.log10(alone / room_alone) == pytest.approx(level_db, abs=0.5)

    def test_strikes_are_heard_at_the_defects_order(self) -> None:
        """Level of the difference against angle: its strongest line from order 2 on is the outer ring's 7.07.

        Over 6 turns a line is 0.2 wide; its top is sure to a few hundredths.
        """
        sound, damaged = simulated(short()), simulated(short(defects=(("outer_raceway", 20.0),), slip=0.004))
        alone = (damaged.samples - simulated(short(slip=0.004)).samples) ** 2
        assert sound.samples.size == alone.size
        angle = np.interp(np.arange(alone.size) / RATE_HZ, damaged.times_s, damaged.turns)
        orders = np.arange(2, 12, 0.02)
        thinned = alone[: alone.size // 48 * 48].reshape(-1, 48).sum(axis=1)
        lines = np.abs(np.exp(-2j * np.pi * np.outer(orders, angle[24::48][: thinned.size])) @ thinned)
        expected = 16 * defect_orders(CRANK).cage * 0.996
        assert orders[lines.argmax()] == pytest.approx(expected, abs=0.05)

    def test_a_card_clicks_at_the_marks(self) -> None:
        """The difference with and without: silent before each mark, loud in the 10 ms after it."""
        plan = short(ticks_db=25.0, level=0.002)
        with_card: Spin = simulated(plan)
        clicks = np.abs(with_card.samples - simulated(replace(plan, ticks_db=None)).samples)
        for mark_s in with_card.marks_s:
            at = round(mark_s * RATE_HZ)
            assert clicks[at : at + 480].max() > 20 * clicks[at - 960 : at - 240].max() + 1e-4

    @pytest.mark.parametrize("high_hz", [4000.0, 9000.0])
    def test_the_phone_cuts_the_top(self, high_hz: float) -> None:
        """20 dB and more within a fifth above the cut: 1.2^40 is 63 dB, down to the last of 16 bits."""
        made = simulated(short(high_hz=high_hz, level=0.1))
        frequency_hz, power = signal.welch(made.samples, RATE_HZ, nperseg=4096)
        below = power[(frequency_hz > 0.7 * high_hz) & (frequency_hz < 0.9 * high_hz)].mean()
        above = power[(frequency_hz > 1.2 * high_hz) & (frequency_hz < 1.5 * high_hz)].mean()
        assert 10 * math.log10(below / above) > 20


@pytest.mark.parametrize("order", [50.0, 50 / 11])
def test_teeth_do_not_slip(order: float) -> None:
    """Errors of 3 % of the interval do not add up: after 100 turns five of them hold each strike."""
    train = geared_strikes(total_turns=100.0, order=order, runout=0.5, rng=np.random.default_rng(3))
    assert train.turns.size == int(100 * order)
    off = train.turns * order - np.arange(train.turns.size)
    assert np.ptp(off) < 2 * 5 * 0.03
    # Runout swings the strength between half and one and a half times its mean, once a turn.
    swing = np.abs(np.mean(train.strength * np.exp(-2j * np.pi * train.turns))) / train.strength.mean()
    assert swing == pytest.approx(0.25, abs=0.03)


def test_an_air_compressor_keeps_its_pace() -> None:
    """Its level's spectrum peaks at 8 to 25 strokes a second, whatever else is drawn; unit mean square."""
    for seed in range(6):
        sound = compressor(8 * 16_000, 16_000, rng=np.random.default_rng(seed))
        assert np.mean(sound**2) == pytest.approx(1.0)
        level = (sound**2).reshape(-1, 160).mean(axis=1)  # 100 a second
        power = np.abs(np.fft.rfft(level - level.mean())) ** 2
        strokes_hz = np.fft.rfftfreq(level.size, 0.01)[power.argmax()]
        # Two cylinders of unequal strength repeat every second stroke.
        assert 4 <= strokes_hz <= 50
        sharp = power[abs(np.fft.rfftfreq(level.size, 0.01) - strokes_hz) < 0.5].sum() / power.sum()
        assert sharp > 0.1
