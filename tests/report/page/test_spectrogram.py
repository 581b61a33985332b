"""The spectrogram: tones, clicks and noise where they belong, and turns by the closed form of a run-down."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from acoustic.model import Motion, Recording
from acoustic.report.page.spectrogram import (
    DEEPEST_DB,
    LONGEST_S,
    MOST_COLUMNS,
    Spectrogram,
    draw_spectrogram,
    said_of,
    spectrogram,
    whole_turns,
)

Floats = NDArray[np.float64]

RATE_HZ = 48_000
SPEED_HZ, SLOWING_HZ_S = 2.0, 0.2  # turns a second, and a second of it


def recorded(sound: Floats, rate_hz: float = RATE_HZ) -> Recording:
    return Recording(Path("spin.wav"), "", sound[:, None], rate_hz, "WAV")


def run_down(start_s: float, stop_s: float, *, from_turns: float = 0.0) -> Motion:
    """It slows down evenly: after t it has made v t - a t^2 / 2 turns."""
    times_s = np.linspace(start_s, stop_s, 400)
    since_s = times_s - start_s
    turns = from_turns + SPEED_HZ * since_s - SLOWING_HZ_S * since_s**2 / 2
    return Motion(times_s, turns, "marks", "hand", 0.01, True)


def turn_done_s(start_s: float, turn: int) -> float:
    """When so many are made: the quadratic solved."""
    return start_s + (SPEED_HZ - np.sqrt(SPEED_HZ**2 - 2 * SLOWING_HZ_S * turn)) / SLOWING_HZ_S


def of(sound: Floats, motion: Motion, rate_hz: float = RATE_HZ) -> Spectrogram:
    shown = spectrogram(recorded(sound, rate_hz), motion)
    assert shown is not None
    return shown


def noise(lasting_s: float) -> Floats:
    return 0.01 * np.random.default_rng(7).standard_normal(round(lasting_s * RATE_HZ))


def drawn(shown: Spectrogram, motion: Motion) -> tuple[Axes, Axes]:
    """The axes and its upper edge."""
    axes = Figure().subplots()
    draw_spectrogram(axes, shown, motion)
    (upper,) = axes.child_axes
    return axes, upper


@pytest.mark.parametrize("tone_hz", [130.0, 1_000.0, 7_000.0, 15_000.0])
def test_a_tone_lies_in_its_band(tone_hz: float) -> None:
    at_s = np.arange(6 * RATE_HZ) / RATE_HZ
    shown = of(0.1 * np.sin(2 * np.pi * tone_hz * at_s) + 1e-3 * noise(6), run_down(1.0, 5.0))
    middle_db = np.median(shown.levels_db, axis=1)
    band = int(np.argmax(middle_db))
    # Lines 23 Hz apart are wider than the lowest bands.
    assert shown.edges_hz[band] - 24 <= tone_hz <= shown.edges_hz[band + 1] + 24
    assert middle_db[band] == pytest.approx(0, abs=0.1)
    octave_off = np.abs(np.log2(shown.edges_hz[:-1] / tone_hz)) > 1
    assert middle_db[octave_off].max() < -50


def test_bands_of_white_noise_rise_by_3_db_an_octave() -> None:
    """As wide as their pitch is high (IEC 61260-1: constant relative bandwidth), so twice the power an octave."""
    shown = of(noise(10), run_down(1.0, 9.0))
    octaves = np.log2(shown.edges_hz[:-1] / 100)
    mean_db = 10 * np.log10(np.mean(10 ** (shown.levels_db / 10), axis=1))
    slope_db, _ = np.polyfit(octaves, mean_db, 1)
    assert slope_db == pytest.approx(10 * np.log10(2), abs=0.15)
    assert shown.edges_hz[0] == 100 and 18_000 < shown.edges_hz[-1] <= 20_000
    assert shown.edges_hz[6] / shown.edges_hz[0] == pytest.approx(2, rel=0.005), "six bands an octave"


def test_clicks_stand_at_their_times() -> None:
    sound = 0.01 * noise(6)
    clicks_s = np.array([1.5, 2.25, 3.0, 4.7])
    sound[np.round(clicks_s * RATE_HZ).astype(int)] = 1.0
    shown = of(sound, run_down(1.0, 5.0))
    axes, _ = drawn(shown, run_down(1.0, 5.0))
    left_s, right_s, *_ = axes.images[0].get_extent()
    columns = shown.levels_db.shape[1]
    column_s = left_s + (np.arange(columns) + 0.5) * (right_s - left_s) / columns
    assert column_s == pytest.approx(shown.times_s)
    power = np.mean(10 ** (shown.levels_db / 10), axis=0)
    assert all(np.abs(clicks_s - time_s).min() < 0.045 for time_s in column_s[power > 1e-3]), "within a frame"
    for click_s in clicks_s:  # half a column is 11 ms
        near = np.abs(column_s - click_s) < 0.1
        assert column_s[near] @ power[near] / power[near].sum() == pytest.approx(click_s, abs=0.008)


def test_turns_are_marked_where_they_are_whole() -> None:
    motion = run_down(1.5, 8.5, from_turns=3.7)
    numbers, times_s = whole_turns(motion)
    made = int(SPEED_HZ * 7 - SLOWING_HZ_S * 49 / 2)  # 9.1
    assert numbers.tolist() == list(range(made + 1))
    closed_s = [turn_done_s(1.5, turn) for turn in range(made + 1)]
    assert times_s == pytest.approx(closed_s, abs=1e-4)
    _, upper = drawn(of(noise(10), motion), motion)
    assert upper.get_xticks() == pytest.approx(closed_s, abs=1e-4)
    assert [text.get_text() for text in upper.get_xticklabels()] == [str(turn) for turn in range(made + 1)]


def test_the_turning_part_is_marked_by_lines() -> None:
    axes, _ = drawn(of(noise(10), run_down(1.5, 8.5)), run_down(1.5, 8.5))
    thick = max(axes.lines, key=lambda line: line.get_linewidth())
    assert list(thick.get_xdata()) == [1.5, 8.5]
    assert sorted(line.get_xdata()[0] for line in axes.lines if line.get_linestyle() == "--") == [1.5, 8.5]
    assert axes.get_xlim() == pytest.approx((0.5, 9.5)), "a second before and after"


def test_of_many_turns_every_one_is_marked_and_some_are_named() -> None:
    times_s = np.linspace(1.0, 41.0, 500)
    motion = Motion(times_s, 1.5 * (times_s - 1.0), "marks", "pedal", 0.01, True)
    _, upper = drawn(of(noise(42), motion), motion)
    marked_s = np.union1d(upper.get_xticks(minor=True), upper.get_xticks())
    assert marked_s == pytest.approx(1.0 + np.arange(61) / 1.5)
    assert [text.get_text() for text in upper.get_xticklabels()] == ["0", "10", "20", "30", "40", "50", "60"]


def test_turns_that_are_not_known_are_not_marked() -> None:
    motion = replace(run_down(1.0, 8.0), scale_known=False)
    shown = of(noise(10), motion)
    _, upper = drawn(shown, motion)
    assert not upper.get_xticks().size and not upper.get_xticks(minor=True).size
    assert "its turns not marked" in said_of(shown, motion)


def test_no_more_than_a_minute_and_no_more_columns_than_fit() -> None:
    motion = run_down(5.0, 14.0)
    longer = replace(motion, times_s=5.0 + 10 * (motion.times_s - 5.0))
    shown = of(noise(100), longer)
    assert (shown.start_s, shown.stop_s) == (4.0, 4.0 + LONGEST_S)
    assert shown.levels_db.shape[1] <= MOST_COLUMNS
    _, upper = drawn(shown, longer)
    assert upper.get_xticks().max() <= shown.stop_s
    # Steady noise is as loud in a column of several frames: the last one, of fewer, as any.
    assert shown.levels_db[:, -1].mean() == pytest.approx(shown.levels_db.mean(), abs=2)


def test_a_click_is_not_lost_between_columns() -> None:
    """One sample in a minute, wherever it lies against the frames."""
    motion = run_down(1.0, 9.0)
    longer = replace(motion, times_s=1.0 + 8 * (motion.times_s - 1.0))
    for sample in (20 * RATE_HZ, 20 * RATE_HZ + 511, 20 * RATE_HZ + 1_024):
        sound = 0.01 * noise(66)
        sound[sample] = 1.0
        shown = of(sound, longer)
        above_db = shown.levels_db[-12:].mean(axis=0) - np.median(shown.levels_db[-12:])
        assert above_db.max() > 20


def test_what_is_said() -> None:
    """A hum all through, and hiss from 2.8 to 5.6 kHz while it turns."""
    at_s = np.arange(10 * RATE_HZ) / RATE_HZ
    spectrum = np.fft.rfft(noise(10))
    at_hz = np.fft.rfftfreq(10 * RATE_HZ, 1 / RATE_HZ)
    hiss = np.fft.irfft(spectrum * ((at_hz > 2_800) & (at_hz < 5_600)))
    sound = 0.2 * np.sin(2 * np.pi * 400 * at_s) + hiss * ((at_s > 2) & (at_s < 8)) + 0.1 * noise(10)
    motion = run_down(2.0, 8.0)
    said = said_of(of(sound, motion), motion)
    assert "Spectrogram of 1.0 to 9.0 s" in said and "turns from 2.0 to 8.0 s, 8 whole turns marked" in said
    loudest_hz, above_hz = (
        int(said.partition(f"{words} about ")[2].split()[0]) for words in ("loudest", "the rest")
    )
    assert loudest_hz == pytest.approx(400, rel=0.1)
    assert 2_800 <= above_hz <= 5_600


@pytest.mark.parametrize(
    ("sound", "rate_hz"),
    [(np.zeros(10 * RATE_HZ), RATE_HZ), (np.full(10 * RATE_HZ, 0.2), RATE_HZ), (np.ones(10), 300.0)],
    ids=["silence", "a constant", "no octave above 100 Hz"],
)
def test_nothing_to_be_drawn(sound: Floats, rate_hz: float) -> None:
    assert spectrogram(recorded(sound, rate_hz), run_down(1.0, 8.0)) is None


def test_a_spin_shorter_than_a_frame_is_not_drawn() -> None:
    assert spectrogram(recorded(noise(0.02)), run_down(0.0, 0.02)) is None


def test_digital_silence_within_a_sound() -> None:
    sound = noise(10)
    sound[: 3 * RATE_HZ] = 0.0
    shown = of(sound, run_down(2.0, 8.0))
    assert np.isfinite(shown.levels_db).all()
    assert shown.levels_db.min() == pytest.approx(-DEEPEST_DB)
    assert -DEEPEST_DB <= shown.white_db <= -20
    # Steady noise, which lies within a few dB, is not stretched to the whole range from white to black.
    assert of(noise(10), run_down(0.0, 8.0)).white_db == -20
