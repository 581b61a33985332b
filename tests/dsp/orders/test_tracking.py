"""Reading in crank angle: conserved sums, orders of known tones, and smooth angle through marks."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acoustic.dsp.levels.filterbank import BandBank, band_bank
from acoustic.dsp.orders.spectrum import order_spectra
from acoustic.dsp.orders.tracking import (
    BINS_A_TURN,
    LOUDEST,
    AngleLevels,
    angle_levels,
    bin_means,
    without_fixed_angle,
)
from acoustic.dsp.tacho.run_down import drag_at, smooth_angle

Floats = NDArray[np.float64]
NO_CLICKS = np.empty(0)
RATE_HZ = 48000
QUICK = settings(max_examples=25, deadline=None, derandomize=True)


def steady(seconds: float, speed_hz: float) -> tuple[Floats, Floats]:
    times_s = np.linspace(0, seconds, round(seconds * 100) + 1)
    return times_s, times_s * speed_hz


def running_down(seconds: float, *, start_hz: float = 1.7, stop_hz: float = 0.5) -> tuple[Floats, Floats]:
    """Constant deceleration: turns = w0 t - (w0 - w1) t^2 / 2T."""
    times_s = np.linspace(0, seconds, round(seconds * 100) + 1)
    return times_s, start_hz * times_s - (start_hz - stop_hz) * times_s**2 / (2 * seconds)


def bank_of(power: Floats) -> BandBank:
    return BandBank(1000.0 * np.arange(1, power.shape[0] + 1), power.copy(), 0.001, 0.0005)


class TestCellMeans:
    def test_by_hand(self) -> None:
        """Frames 1, 2, 3, 4 at the angles 0-1-2-4-6: the last two pass twice the angle each.

        Three cells end at 2, 4, 6: (1 + 2)/2, 3, 4. Two cells part at 3, halfway through the third
        frame: (1 + 2 + 3/2)/2.5 = 1.8 and (3/2 + 4)/1.5 = 11/3. Six cells take one or half a frame each.
        """
        values, angle = np.array([[1.0, 2.0, 3.0, 4.0]]), np.array([0.0, 1.0, 2.0, 4.0, 6.0])
        assert bin_means(values, angle, cells=3)[0] == pytest.approx([1.5, 3, 4], rel=1e-12)
        assert bin_means(values, angle, cells=2)[0] == pytest.approx([1.8, 11 / 3], rel=1e-12)
        assert bin_means(values, angle, cells=6)[0] == pytest.approx([1, 2, 3, 3, 4, 4], rel=1e-12)

    @given(
        speeds=st.lists(st.floats(0.01, 5.0), min_size=3, max_size=40),
        cells=st.integers(1, 60),
        seed=st.integers(0, 99),
    )
    @QUICK
    def test_nothing_is_lost_at_any_speed(self, speeds: list[float], cells: int, seed: int) -> None:
        """Each cell's mean times its duration sums to the frames' total.

        The durations come from a second row of ones at another road: time inverts the angle, found
        by bisection here. Rounding of the inversion alone, 1e-9.
        """
        values = np.random.default_rng(seed).exponential(size=(1, len(speeds)))
        angle = np.concatenate([[0.0], np.cumsum(speeds)])

        def time_at(where: float) -> float:
            low, high = 0.0, float(len(speeds))
            for _ in range(80):
                middle = (low + high) / 2
                passed = angle[int(middle)] + (middle - int(middle)) * speeds[min(int(middle), len(speeds) - 1)]
                low, high = (middle, high) if passed < where else (low, middle)
            return low

        edges = np.array([time_at(angle[-1] * k / cells) for k in range(cells + 1)])
        means = bin_means(values, angle, cells=cells)
        assert means.shape == (1, cells)
        assert float(np.sum(means * np.diff(edges))) == pytest.approx(values.sum(), rel=1e-9)
        assert np.all(means >= values.min() * (1 - 1e-6))
        assert np.all(means <= values.max() * (1 + 1e-6))


class TestOrders:
    @pytest.mark.parametrize("order", [7.1, 8.9])
    @pytest.mark.parametrize("speed_hz", [0.8, 1.0, 1.6, None])
    def test_a_rhythm_in_the_sound_lies_at_its_order(self, order: float, speed_hz: float | None) -> None:
        """White noise whose level swells `order` times a turn, at three speeds and running down.

        By hand: the swelling is cos(2 pi order x turns), so its line stands at `order` whatever
        the speed. The top of a line of width 1.2/turns and of a height of Z over noise is sure to about
        0.5/(turns sqrt(Z)), Z over 50 here: 0.07/turns, and bins lie 1/(4 turns) apart: with half a bin
        0.2/turns. A speed wrong by 2 per cent moves it by more than as much at the slowest, 1.1/turns.
        """
        seconds = 10.0
        times_s, turns = running_down(seconds) if speed_hz is None else steady(seconds, speed_hz)
        t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
        swell = 1 + 0.8 * np.cos(2 * np.pi * order * np.interp(t, times_s, turns) + 1)
        # loudness falls with speed, as a real bearing's does
        fade = np.interp(t, times_s, np.gradient(turns, times_s))
        sound = 0.01 * np.random.default_rng(1).standard_normal(t.size) * swell * fade
        bank = band_bank(sound, sample_rate_hz=RATE_HZ, top_hz=9000.0)
        levels = angle_levels(bank, times_s, turns, blank_s=NO_CLICKS)
        assert levels.turns == pytest.approx(turns[-1], abs=0.005)
        for cells in (levels.compressed, levels.plain):
            spectra = order_spectra(cells, turns=levels.turns, groups=((10, 18),))
            above = spectra.orders > 1
            top = int(np.argmax(np.where(above, spectra.power[0], 0)))
            assert spectra.power[0, top] > 50
            assert spectra.orders[top] == pytest.approx(order, abs=0.2 / levels.turns)

    def test_silence_before_moves_times_but_no_order(self) -> None:
        """Half a second of room noise put before, angle moved with it: the same cells but for one.

        A frame is 1 ms and the shift is a whole number of them; the background level at the edges of
        the turning part is taken from inside that part, so only rounding is left.
        """
        rng = np.random.default_rng(2)
        power = rng.exponential(size=(3, 4000))
        times_s, turns = running_down(4.0)
        late = np.concatenate([1e-3 * rng.exponential(size=(3, 512)), power], axis=1)
        # 512 frames and a start on a binary fraction keep the edge frames on the same side
        plain = angle_levels(bank_of(power), times_s + 2**-12, turns, blank_s=NO_CLICKS)
        moved = angle_levels(bank_of(late), times_s + 2**-12 + 0.512, turns, blank_s=NO_CLICKS)
        assert moved.turns == pytest.approx(plain.turns, rel=1e-9)
        assert moved.compressed == pytest.approx(plain.compressed, rel=1e-6)


class TestLevels:
    def test_a_constant_level_by_hand(self) -> None:
        """The level beneath a constant p is p / ln 2, so plain is ln 2 and compressed ln(1 + ln 2)."""
        levels = angle_levels(bank_of(np.full((2, 2000), 7.0)), *steady(2.0, 1.5), blank_s=NO_CLICKS)
        assert levels.plain == pytest.approx(math.log(2), rel=1e-6)
        assert levels.compressed == pytest.approx(math.log(1 + math.log(2)), rel=1e-6)
        # 2 s at 1.5 turns a second, less the half frame at either end
        assert levels.turns == pytest.approx(3.0, abs=0.005)
        assert levels.plain.shape == (2, int(levels.turns * BINS_A_TURN))

    def test_a_bang_is_capped_plain_and_logged_compressed(self) -> None:
        """One frame of 1e6 at speed 1: a cell is 3.9 frames, so its mean moves by 1/3.9 of the excess.

        Plain: at most (30 + 2.9 ln 2)/3.9 = 8.2; compressed: ln(1 + 1e6 ln 2)/3.9 + 2.9 x 0.527/3.9 = 3.84.
        """
        power = np.ones((1, 2000))
        power[0, 1000] = 1e6
        levels = angle_levels(bank_of(power), *steady(2.0, 1.0), blank_s=NO_CLICKS)
        frames = 1000 / BINS_A_TURN
        rest = (frames - 1) / frames
        assert levels.plain.max() <= LOUDEST / frames + rest * math.log(2) + 1e-9
        assert levels.compressed.max() <= math.log1p(1e6 * math.log(2)) / frames + rest * 0.527
        # split over two cells at worst
        assert levels.compressed.max() > math.log1p(1e6 * math.log(2)) / frames / 2

    @pytest.mark.parametrize("click_s", [0.5, 1.3])
    def test_own_clicks_are_blanked(self, click_s: float) -> None:
        """The row's mean elsewhere, ln 2 and the other click's share, takes the click's place.

        The other click's one frame of 2000 is worth ln(1 + 200), capped only in `plain`: 5.3/2000 in the mean
        of `compressed`; 200/2000 = 0.1 in that of `plain`, whose quiet frames are ln 2. Untouched, the
        cell would hold 200.
        """
        power = np.ones((2, 2000))
        power[:, round(click_s * 1000) : round(click_s * 1000) + 20] = 1e4
        power[:, 900] = 1e4
        heard = angle_levels(bank_of(power), *steady(2.0, 1.0), blank_s=np.array([click_s]))
        cell = int(click_s * BINS_A_TURN)
        assert heard.plain[:, cell - 6 : cell + 6] == pytest.approx(
            np.broadcast_to(heard.plain[:, cell : cell + 1], (2, 12)), rel=1e-9
        )
        assert heard.plain[:, cell] == pytest.approx(math.log(2) + 200 / 2000, rel=0.02)
        assert heard.plain[:, int(0.9 * BINS_A_TURN) - 1 : int(0.9 * BINS_A_TURN) + 2].max() > 3

    @given(gain=st.floats(1e-3, 1e3))
    @QUICK
    def test_loudness_does_not_matter(self, gain: float) -> None:
        """Rounding alone, 1e-9."""
        power = np.random.default_rng(3).exponential(size=(2, 1500))
        plain = angle_levels(bank_of(power), *steady(1.5, 1.2), blank_s=NO_CLICKS)
        other = angle_levels(bank_of(power * gain), *steady(1.5, 1.2), blank_s=NO_CLICKS)
        assert other.compressed == pytest.approx(plain.compressed, rel=1e-9)
        assert other.plain == pytest.approx(plain.plain, rel=1e-9)

    def test_the_levels_cannot_be_written(self) -> None:
        levels = angle_levels(bank_of(np.ones((1, 500))), *steady(0.5, 1.0), blank_s=NO_CLICKS)
        for cells in (levels.compressed, levels.plain):
            with pytest.raises(ValueError, match="read-only"):
                cells[0, 0] = 1.0

    @pytest.mark.parametrize(
        ("times_s", "turns", "message"),
        [
            ([0.0, 1.0, 2.0], [0.0, 1.0], r"equal in length, two or more: .*\(3,\).*\(2,\)"),
            ([0.0], [0.0], "equal in length, two or more"),
            ([0.0, 2.0, 1.0], [0.0, 1.0, 2.0], "both increase strictly; cut out where the crank stands"),
            ([0.0, 1.0, 2.0], [0.0, 1.0, 1.0], "both increase strictly; cut out where the crank stands"),
            ([0.0, math.nan, 2.0], [0.0, 1.0, 1.5], "both increase strictly"),
            ([0.5, 0.57], [0.0, 0.1], r"must last 0.1 s or more, got 0.070 s"),
            ([5.0, 6.0], [0.0, 1.0], r"must last 0.1 s or more, got 0.000 s"),
        ],
    )
    def test_angles_that_cannot_be_used(self, times_s: list[float], turns: list[float], message: str) -> None:
        """The bank lasts 2 s, so a part from 5 s on has no frame in it."""
        bank = bank_of(np.ones((1, 2000)))
        with pytest.raises(ValueError, match=message):
            angle_levels(bank, np.array(times_s), np.array(turns), blank_s=NO_CLICKS)


class TestMarks:
    def test_constant_deceleration(self) -> None:
        """Closed form by hand: turn k is passed at t = (w0 - sqrt(w0^2 - 2 a k))/a.

        Turns are a quadratic of time, and a cubic spline with not-a-knot ends gives any cubic back
        exactly: rounding alone, 1e-9 turns, where straight lines between marks miss by a h^2/8, 1e-2.
        """
        start_hz, slowing = 1.8, 0.12
        marks_s = 0.7 + (start_hz - np.sqrt(start_hz**2 - 2 * slowing * np.arange(13))) / slowing
        times_s, turns = smooth_angle(marks_s, np.arange(marks_s.size))
        since = times_s - 0.7
        assert times_s[0] == marks_s[0]
        assert times_s[-1] == marks_s[-1]
        assert turns == pytest.approx(start_hz * since - slowing * since**2 / 2, abs=1e-9)
        # speed, too, falls along its straight line; second differences of 1e-16 over 1e-2 s
        speed = np.gradient(turns, times_s)[1:-1]
        assert speed == pytest.approx(start_hz - slowing * since[1:-1], abs=1e-6)

    def test_dry_and_viscous_run_down(self) -> None:
        """Closed form: turns = (w0 + r)(1 - exp(-bt))/b - rt with r = c/b, marks by bisection on it.

        The fourth derivative is b^3 (w0 + r) <= 0.12^3 x 2.5 = 0.0043 turns/s^4; a cubic spline over
        marks up to 1.5 s apart misses by 5/384 h^4 of it inside (3e-4) and, with not-a-knot ends, a
        few times that in the end pieces: 1e-3 turns, a hundredth of a ball pass.
        """
        b, r, start_hz = 0.12, 0.7, 1.8

        def turned(t: Floats) -> Floats:
            return (start_hz + r) * (1 - np.exp(-b * t)) / b - r * t

        fine_s = np.linspace(0, 8.0, 800001)
        marks_s = np.interp(np.arange(8), turned(fine_s), fine_s)
        times_s, turns = smooth_angle(marks_s, np.arange(marks_s.size))
        assert turns == pytest.approx(turned(times_s), abs=1e-3)

    @given(intervals=st.lists(st.floats(0.02, 20.0), min_size=3, max_size=30))
    @QUICK
    def test_never_backwards_for_wild_marks(self, intervals: list[float]) -> None:
        marks_s = np.concatenate([[1.0], 1.0 + np.cumsum(intervals)])
        times_s, turns = smooth_angle(marks_s, np.arange(marks_s.size))
        assert np.all(np.diff(times_s) > 0)
        assert np.all(np.diff(turns) > 0)
        assert turns[0] == pytest.approx(0, abs=1e-9)
        assert turns[-1] == pytest.approx(len(intervals), abs=1e-9)

    def test_wild_marks_would_turn_back_on_a_plain_spline(self) -> None:
        """The case needs the guard: a very short turn among long ones makes a cubic overshoot."""
        from scipy.interpolate import CubicSpline

        marks_s = np.array([0.0, 1.0, 2.0, 2.05, 3.0, 4.0])
        plain = CubicSpline(marks_s, np.arange(6.0))(np.linspace(0, 4, 401))
        assert np.any(np.diff(plain) < 0)
        times_s, turns = smooth_angle(marks_s, np.arange(marks_s.size))
        assert np.all(np.diff(turns) > 0)
        assert np.interp(marks_s, times_s, turns) == pytest.approx(np.arange(6.0), abs=0.05)

    @given(late_s=st.floats(-5.0, 50.0))
    @QUICK
    def test_marks_made_later_make_the_same_turns(self, late_s: float) -> None:
        """Rounding alone."""
        marks_s = np.cumsum([1.0, 0.6, 0.65, 0.7, 0.8, 0.95])
        times_s, turns = smooth_angle(marks_s, np.arange(marks_s.size))
        later_s, later = smooth_angle(marks_s + late_s, np.arange(marks_s.size))
        assert later_s == pytest.approx(times_s + late_s, abs=1e-9)
        assert later == pytest.approx(turns, abs=1e-9)


class TestFixedAngle:
    @staticmethod
    def levels_with(order: float, turns: int = 9) -> AngleLevels:
        """Noise with a loud cell `order` times a turn."""
        cells = np.random.default_rng(1).exponential(size=(6, turns * BINS_A_TURN))
        at = np.round(np.arange(0.3, turns * order) / order * BINS_A_TURN).astype(int)
        cells[:, at[at < cells.shape[1]]] = 40.0
        return AngleLevels(np.log1p(cells), cells, float(turns), np.full(cells.shape[0], 1000.0))

    @pytest.mark.parametrize(("order", "angles"), [(1.0, 1), (2.0, 2)])
    def test_what_comes_back_at_an_angle_is_left_out(self, order: float, angles: int) -> None:
        given = self.levels_with(order)
        freed = without_fixed_angle(given)
        assert freed.fixed_angles == angles
        assert given.plain.max() == 40.0
        assert freed.plain.max() < 20.0, "exponential cells reach ln(28000) = 10.2 on the whole"

    @pytest.mark.parametrize("order", [0.4436, 7.097, 8.125, 8.903])
    def test_strikes_that_wander_stay(self, order: float) -> None:
        """No ball pass or cage turn is a whole number, so within nine turns they come at all angles."""
        given = self.levels_with(order)
        assert without_fixed_angle(given) is given

    def test_too_few_turns_to_tell(self) -> None:
        given = self.levels_with(1.0, turns=3)
        assert without_fixed_angle(given) is given


class TestDrag:
    @pytest.mark.parametrize(("dry", "viscous"), [(0.2, 0.0), (0.1, 0.1), (0.02, 0.3)])
    def test_by_hand(self, dry: float, viscous: float) -> None:
        """dw/dt = -c - b w loses c + b turns/s in a second at one turn a second."""
        times_s = np.linspace(0, 6, 601)
        speed_hz = 1.9 - dry * times_s if viscous == 0 else 0.0 * times_s
        if viscous:
            speed_hz = (1.9 + dry / viscous) * np.exp(-viscous * times_s) - dry / viscous
        turns = np.concatenate([[0], np.cumsum((speed_hz[1:] + speed_hz[:-1]) / 2) * 0.01])
        assert drag_at(times_s, turns, speed_hz=1.0) == pytest.approx(dry + viscous, rel=0.01)

    def test_a_pedalled_crank_has_none(self) -> None:
        times_s = np.linspace(0, 10, 1001)
        turns = times_s + 0.1 * np.sin(2 * np.pi * 0.2 * times_s)
        assert drag_at(times_s, turns, speed_hz=1.0) is None
