"""What real bearings and rooms add to a textbook's spin: each against what it claims to be."""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy import stats

from acoustic.dsp.geometry import BearingGeometry
from acoustic.simulator import SpinPlan, simulate
from acoustic.simulator.phone import automatic_gain
from acoustic.simulator.ringing import frame_response, ring_in_turn
from acoustic.simulator.room import fluctuation, surroundings
from acoustic.simulator.strikes import Strikes, by_ball, over_spall, stick_slips

Floats = NDArray[np.float64]
ROOT = Path(__file__).parents[2]
RATE_HZ = 48000
CRANK = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
simulated = cache(simulate)


def short(**more: Any) -> SpinPlan:
    return SpinPlan(**{"geometry": CRANK, "duration_s": 8.0, "turns": 7.0, "start_hz": 1.6} | more)


class TestStrikes:
    def test_strikes_of_one_ball_are_alike(self) -> None:
        """Of 16 balls: every sixteenth strike is as hard, and the logarithms spread by 0.3.

        A spread of 400 balls is sure to 1/sqrt(800) = 3.5 per cent: three of those.
        """
        even = Strikes(np.arange(160.0), np.ones(160))
        worn = by_ball(even, balls=16, spread=0.3, rng=np.random.default_rng(1))
        assert worn.turns is even.turns
        assert worn.strength.reshape(10, 16) == pytest.approx(np.tile(worn.strength[:16], (10, 1)))
        many = by_ball(even, balls=400, spread=0.3, rng=np.random.default_rng(2))
        assert np.std(np.log(np.resize(many.strength, 160))) == pytest.approx(0.3, rel=0.17)

    def test_a_spall_is_struck_at_its_entry_and_its_exit(self) -> None:
        """By hand: strikes at 0, 2, 4 and 8 with a spall a quarter of the way: 0.5, 2.5, 5 and 9 as well."""
        train = Strikes(np.array([0.0, 2.0, 4.0, 8.0]), np.ones(4))
        worn = over_spall(train, length=0.25, rng=np.random.default_rng(3))
        assert worn.turns == pytest.approx([0, 0.5, 2, 2.5, 4, 5, 8, 9])
        assert worn.strength[[0, 2, 4, 6]] == pytest.approx(1)
        assert np.all((worn.strength[1::2] > 0.4) & (worn.strength[1::2] < 3.6))

    def test_one_strike_has_no_way_to_the_next(self) -> None:
        lone = Strikes(np.array([1.0]), np.array([1.0]))
        assert over_spall(lone, length=0.2, rng=np.random.default_rng(0)) is lone

    def test_creaks_last_as_long_as_said_keep_a_pitch_and_stay_away_one_time_in_eight(self) -> None:
        """Of 4000 begun, 3500 sound: sure to sqrt(4000 x 7/64) = 21, three of those. Slips come 100 to 450
        times a second; the pitch glides from 0.75 to 1.25 at most and steps
        scatter by 4 per cent, so no interval is beyond 2.5 times another."""
        times_s, strength = stick_slips(np.arange(4000.0), lasting_s=(0.03, 0.09), rng=np.random.default_rng(4))
        heard, first = np.unique(np.floor(times_s + 1e-9), return_index=True)
        assert heard.size == pytest.approx(3500, abs=63)
        assert np.all(strength > 0)
        for creak in np.split(times_s, first[1:])[:50]:
            assert 0.025 < np.ptp(creak) < 0.095
            steps = np.diff(creak)
            assert steps.max() < 2.5 * steps.min()
            assert 90 < 1 / steps.mean() < 500

    def test_no_creak_begun(self) -> None:
        times_s, strength = stick_slips(np.zeros(0), lasting_s=(0.03, 0.09), rng=np.random.default_rng(0))
        assert times_s.size == strength.size == 0


def test_no_two_strikes_ring_alike() -> None:
    """Ten lone strikes of one strength: power alike on average, shapes not: correlations from 0.2 to 0.95."""
    rng = np.random.default_rng(5)
    responses = [frame_response(RATE_HZ, rng) for _ in range(3)]
    sound = ring_in_turn(
        np.arange(10) / 10, np.ones(10), responses, samples=RATE_HZ, sample_rate_hz=float(RATE_HZ), rng=rng
    ).reshape(10, -1)
    alike = np.abs(np.corrcoef(sound))[np.triu_indices(10, 1)]
    assert 0.2 < np.median(alike) < 0.95
    assert np.all(np.sum(sound**2, axis=1) < 3)


class TestRooms:
    def test_fluctuation_makes_heavy_tails(self) -> None:
        """Gaussian noise under a log-normal gain of spread s has a kurtosis of 3 exp(4 s^2) (textbook: fourth
        moment over the second's square): 4.3 at 0.3. Knots are joined by lines, so tails are a little lighter."""
        rng = np.random.default_rng(6)
        gain = fluctuation(60 * RATE_HZ, float(RATE_HZ), spread=0.3, rng=rng)
        assert np.median(gain) == pytest.approx(1, abs=0.03)
        assert np.std(np.log(gain)) == pytest.approx(0.3, rel=0.05)
        noise = gain * rng.standard_normal(gain.size)
        assert 3.8 < stats.kurtosis(noise, fisher=False) < 4.6

    def test_surroundings_have_unit_power_and_differ(self) -> None:
        crests = []
        for seed in range(12):
            sound = surroundings(4 * 16_000, 16_000.0, rng=np.random.default_rng(seed))
            assert np.mean(sound**2) == pytest.approx(1)
            crests.append(float(np.max(np.abs(sound))))
        # Rain is dense (two thirds or more of it is Gaussian hiss), a fire or a bark is not.
        assert min(crests) < 10
        assert max(crests) > 20


def test_a_gain_that_opens_wide_begins_too_loud_and_settles() -> None:
    """It believes the noise 20 dB fainter, and takes back 1 - exp(-5/200) of the way in power with its first step
    of 5 ms: by hand 10 lg(0.01 + 0.99 x 0.0247) = -14.6, so that much louder, to the block's own scatter."""
    noise = np.random.default_rng(7).standard_normal(6 * RATE_HZ)
    heard = automatic_gain(noise, RATE_HZ, attack_s=0.2, release_s=0.6, strength=1.0, opens_db=20.0)
    first, settled = np.std(heard[: RATE_HZ // 400]), np.std(heard[3 * RATE_HZ :])
    started = 0.01 + (1 - 0.01) * (1 - np.exp(-5 / 200))
    assert 20 * np.log10(first / settled) == pytest.approx(-10 * np.log10(started), abs=1.0)


class TestScene:
    def test_a_word_at_the_push_sounds_at_the_push(self) -> None:
        """The difference with and without lies from 0.3 s before the push (1.2 s) to 0.8 s after its start."""
        plan = short(push_db=20.0, level=0.002)
        word = np.abs(simulated(plan).samples - simulated(replace(plan, push_db=None)).samples)
        about = slice(int(0.85 * RATE_HZ), int(2.1 * RATE_HZ))
        assert word[about].max() > 0.002
        assert max(word[: about.start].max(), word[about.stop :].max()) < 1e-4

    @pytest.mark.parametrize("cut_s", [(1.5, 0.0), (0.0, 2.0), (2.0, 1.5)])
    def test_what_is_cut_off_is_gone_and_the_rest_is_true(self, cut_s: tuple[float, float]) -> None:
        whole, rest = simulated(short(spin="pedal")), simulated(short(spin="pedal", cut_s=cut_s))
        first = round(cut_s[0] * RATE_HZ)
        assert np.array_equal(rest.samples, whole.samples[first : first + rest.samples.size])
        assert rest.samples.size == round((8 - sum(cut_s)) * RATE_HZ)
        assert rest.times_s[0] == 0
        assert rest.turns[0] == 0
        assert 0 <= rest.start_s < rest.stop_s <= 8 - sum(cut_s)
        # Marks are still one turn apart, and none lies outside.
        at = np.interp(rest.marks_s, rest.times_s, rest.turns)
        assert np.diff(at) == pytest.approx(1, abs=2e-3)
        assert np.all((rest.marks_s > 0) & (rest.marks_s < 8 - sum(cut_s)))
        assert np.isin(np.round(rest.marks_s + cut_s[0], 6), np.round(whole.marks_s, 6)).all()

    def test_a_worn_ring_still_has_the_level_asked_for(self) -> None:
        """As for a textbook's: 6 dB over the room. The sum of both is then 1 + 4 = 7.0 dB over it, to the
        0.5 dB that a room asked for over the whole recording leaves."""
        worn: dict[str, Any] = {"ball_spread": 0.3, "spall": 0.2, "shape_spread": True, "strike_spread": 0.4}
        made = simulated(short(running_db=-60.0, defects=(("inner_raceway", 6.0),), **worn))
        spectrum = np.fft.rfft(made.samples[round(made.start_s * RATE_HZ) : round(made.stop_s * RATE_HZ)])
        still = np.fft.rfft(made.samples[: round(1.1 * RATE_HZ)])

        def power(one: Floats) -> float:
            frequency_hz = np.linspace(0, RATE_HZ / 2, one.size)
            size = np.abs(one[(frequency_hz > 700) & (frequency_hz < 7500)]) ** 2
            return float(size.sum() / one.size**2)

        assert 10 * np.log10(power(spectrum) / power(still)) == pytest.approx(7.0, abs=0.5)


def test_recordings_already_stored_stay_as_they_are() -> None:
    """The first two demo recordings made anew, to the last bit but one that rounding may turn."""
    sys.path.insert(0, str(ROOT / "recordings_demo"))
    import make_demo

    for number, ticket in enumerate(make_demo.TICKETS[:2]):
        plan = SpinPlan(
            geometry=make_demo.SIZES[ticket.bearing], seed=4100 + number, **{**make_demo.COMMON, **ticket.plan}
        )
        stored, _ = soundfile.read(ROOT / "recordings_demo" / f"{ticket.file}.flac")
        assert np.max(np.abs(simulate(plan).samples - stored)) < 1.5 / 2**15
