"""The page's own numbers while it records, held to those that judge the recording afterwards."""

from __future__ import annotations

import base64
import io
import os
import shutil
from collections.abc import Iterator

import numpy as np
import pytest
import soundfile
from acoustic_plugins.quality import samples
from acoustic_plugins.quality.measures import QUIETEST, clipped_share, sounding_level
from browsing import Running
from numpy.typing import NDArray
from playwright.sync_api import Page, sync_playwright

from acoustic.dsp.geometry import BearingGeometry
from acoustic.simulator import SpinPlan, simulate

RATE_HZ = 48_000
RNG = np.random.default_rng(11)
NOISE = 0.1 * RNG.standard_normal(RATE_HZ // 2)
TONE = np.sin(2 * np.pi * 440 * np.arange(RATE_HZ // 2) / RATE_HZ)
GEOMETRY = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
SPIN = simulate(SpinPlan(geometry=GEOMETRY, duration_s=12.0, turns=9.0, start_hz=1.8, seed=4))
SOUNDS: dict[str, NDArray[np.float64]] = {
    "nothing": np.zeros(0),
    "one sample": np.array([0.5]),
    "two samples": np.array([0.5, -0.5]),
    "silence": np.zeros(4800),
    "a constant": np.full(4800, 0.3),
    "under one step": 1e-5 * RNG.standard_normal(4800),
    "faint": 2e-4 * RNG.standard_normal(4800),
    "noise": NOISE,
    "a tone, rounded tops": TONE,
    "a tone, tops cut a little": np.clip(1.02 * TONE, -1, 1),
    "noise, tops cut a little": np.clip(NOISE, -0.35, 0.35),
    "noise, cut heavily": np.clip(10 * NOISE, -1, 1),
    "cut on one side": np.clip(NOISE + 0.05, -1, 0.2),
    "cut below full scale": np.clip(5 * NOISE, -0.5, 0.5),
    "coarse steps": np.round(NOISE * 20) / 20,
    "a square": np.sign(TONE),
    "a block of a tenth": np.clip(8 * NOISE[:4800], -1, 1),
    "a spin": SPIN.samples[: 6 * RATE_HZ],
    "a spin in 16 bits": np.round(SPIN.samples[: 6 * RATE_HZ] * 32767) / 32768,
    "a spin, cut": np.clip(40 * SPIN.samples[: 6 * RATE_HZ], -1, 1),
}


@pytest.fixture(scope="module")
def page(counter: Running) -> Iterator[Page]:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("there is no chromium on PATH")
        pytest.skip("there is no chromium on PATH, so the page's scripts were not run")
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=["--no-sandbox"])
        made = browser.new_page()
        made.goto(f"http://127.0.0.1:{counter.port}/pair")
        made.evaluate(
            """async () => {
                Object.assign(window, await import("/static/levels.js"), await import("/static/wave.js"));
                window.floats = (text) =>
                    new Float32Array(Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0)).buffer);
            }"""
        )
        yield made
        browser.close()


def coded(sound: NDArray[np.float64]) -> str:
    return base64.b64encode(sound.astype("<f4").tobytes()).decode()


@pytest.mark.parametrize("name", SOUNDS)
def test_the_page_measures_as_the_checks_do(page: Page, name: str) -> None:
    sound = SOUNDS[name].astype(np.float32).astype(float)  # as an AudioWorklet hands it over
    found = page.evaluate(
        "text => { const s = floats(text); return [soundingLevel(s), clippedShare(s), runningLevel(s)]; }",
        coded(sound),
    )
    change = float(np.std(np.diff(sound))) if sound.size > 1 else 0.0
    # One adds in order and the other in pairs: 1e-6 of the level, and 1e-9 of full scale where there is none.
    assert found == pytest.approx([sounding_level(sound), clipped_share(sound), change], rel=1e-6, abs=1e-9)
    assert (found[0] < QUIETEST) == (sounding_level(sound) < QUIETEST)
    assert (found[1] > samples.CLIPPED) == (clipped_share(sound) > samples.CLIPPED)


def test_the_sounds_lie_on_both_sides_of_every_limit() -> None:
    quiet = {name for name, sound in SOUNDS.items() if sounding_level(sound) < QUIETEST}
    cut = {name for name, sound in SOUNDS.items() if clipped_share(sound) > samples.CLIPPED}
    assert {"silence", "a constant", "under one step"} <= quiet
    assert {"faint", "noise"}.isdisjoint(quiet)
    assert {"noise, cut heavily", "a spin, cut", "cut below full scale", "a block of a tenth"} <= cut
    assert {"a tone, rounded tops", "coarse steps", "a square", "a spin", "noise"}.isdisjoint(cut)


def test_the_limits_are_the_checks_own(page: Page) -> None:
    assert page.evaluate("[QUIETEST, CLIPPED]") == pytest.approx([QUIETEST, samples.CLIPPED])


@pytest.mark.parametrize("level", [1.0, 0.02])
def test_the_guide_follows_a_spin(page: Page, level: float) -> None:
    """Still, push, run, still again: at the right moments, and whatever the microphone's gain."""
    sound, block = level * SPIN.samples, RATE_HZ // 10
    states = page.evaluate(
        """([text, block]) => {
            const sound = floats(text), guide = new Guide(), states = [];
            for (let at = 0; at + block <= sound.length; at += block)
                states.push(guide.take(decibels(runningLevel(sound.slice(at, at + block))), (at + block) / 48000));
            return states;
        }""",
        [coded(sound), block],
    )
    order = list(dict.fromkeys(states))
    assert order[:3] == ["still", "push", "run"], order
    speed_hz = np.gradient(SPIN.turns, SPIN.times_s)
    moving_s = SPIN.times_s[speed_hz > 0.05 * speed_hz.max()]
    told_s = (1 + states.index("run")) * 0.1
    assert told_s - moving_s[0] < 1.0, "the push is heard within a second"
    assert told_s > moving_s[0], "and not before it"
    assert "done" not in states[: int(10 * (moving_s[0] + 0.5 * np.ptp(moving_s)))], "not while it runs fast"


@pytest.mark.parametrize("name", ["noise", "a spin", "noise, cut heavily", "silence"])
def test_the_pages_file_is_read_back_as_it_was_recorded(page: Page, name: str) -> None:
    sound = SOUNDS[name]
    text = page.evaluate(
        """async (text) => {
            const sound = floats(text), blocks = [];
            for (let at = 0; at < sound.length; at += 128) blocks.push(sound.slice(at, at + 128));
            const bytes = new Uint8Array(await waveFile(blocks, 48000).arrayBuffer());
            return btoa(Array.from(bytes, (one) => String.fromCharCode(one)).join(""));
        }""",
        coded(sound),
    )
    content = base64.b64decode(text)
    read, rate_hz = soundfile.read(io.BytesIO(content))
    assert soundfile.info(io.BytesIO(content)).subtype == "PCM_16"
    assert rate_hz == RATE_HZ
    assert read.shape == sound.shape
    # 32767 steps up, read as 32768ths; and half a step of rounding.
    assert np.abs(read * 32768 / 32767 - sound).max(initial=0.0) <= 0.51 / 32767


def test_its_tables_are_read_by_the_program(page: Page, tmp_path_factory: pytest.TempPathFactory) -> None:
    times_s = [0.51234, 1.5, 2.25, 3.125]
    text = page.evaluate("times => marksTable(times)", times_s)
    rows = [line.split(",") for line in text.splitlines()]
    assert "time" in rows[0][0]
    assert [float(row[0]) for row in rows[1:]] == pytest.approx(times_s, abs=1e-4)
    measured = [[0.0, 1.0, -2.0, 300.5], [0.016, 1.0, -2.0, 301.5]]
    text = page.evaluate("rows => gyroTable(rows)", measured)
    lines = text.splitlines()
    assert "deg/s" in lines[0]
    assert [[float(one) for one in line.split(",")] for line in lines[1:]] == measured
