"""Pieces of real recordings: strikes of damaged bearings, running noise of healthy ones, rooms and talk.

What is cut is held in memory and never written into the project. Nothing here knows the
physical simulator, so that what both generators show is not one author's idea of a bearing.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from math import gcd
from pathlib import Path
from typing import Any, Literal

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import fft, io, ndimage, signal

Floats = NDArray[np.float64]
Fold = Literal["build", "held"]
RATE_HZ = 48_000
LONGEST_S = 0.08  # of a cut strike; most are cut earlier, where the next one begins
MOST_S = 6  # of a damaged recording: hundreds of strikes
LEAST_CONTRAST_DB = 5.0  # judgement: strikes that stand out less are noise, and would be laid as noise
MFPT = {"balls": 8, "ball_diameter_mm": 5.969, "pitch_diameter_mm": 31.623, "speed_rpm": 1500.0}


@dataclass(frozen=True, slots=True, eq=False)
class Train:
    """Strikes of one damaged bearing, in the order in which they came.

    Attributes
    ----------
    source : str
        File they were cut from.
    waves : tuple of ndarray
        Each strike's sound at `RATE_HZ`, beginning 1 ms before it.
    heights : ndarray, shape (k,)
        Root of each strike's energy over the train's median.
    balls : int
        Balls of the bearing: strikes this many apart are of one ball.
    """

    source: str
    waves: tuple[Floats, ...]
    heights: Floats
    balls: int


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Everything cut from one half of the real recordings.

    Attributes
    ----------
    strikes : dict of str to tuple of Train
        By part: 'outer_raceway', 'inner_raceway', 'ball'.
    running : tuple of ndarray
        Running noise of healthy bearings without steady tones.
    rooms : dict of str to tuple of ndarray
        Environmental clips by kind ('rain', 'dog-bark', ...).
    talk : ndarray
    """

    strikes: dict[str, tuple[Train, ...]]
    running: tuple[Floats, ...]
    rooms: dict[str, tuple[Floats, ...]]
    talk: Floats

    @staticmethod
    def load(folder: Path, fold: Fold = "build") -> Pieces:
        """Cut the pieces from a folder of real recordings.

        Parameters
        ----------
        folder : Path
            Holds `phone`, `fan-end`, `mfpt` and `noise`.
        fold : {'build', 'held'}
            Which half: every second bearing of a bench rig, every second recording of the others, half of the
            talk. Whoever builds on the one half measures on the other.

        Returns
        -------
        Pieces
        """
        return _load(folder.resolve(), fold)


@cache
def _load(folder: Path, fold: Fold) -> Pieces:
    half = 0 if fold == "build" else 1
    strikes: dict[str, list[Train]] = {"outer_raceway": [], "inner_raceway": [], "ball": []}
    for entry in _entries(folder)[half]:
        train = _train(entry)
        strikes[entry["truth"]] += [train] if train is not None else []
    healthy = [one for one in _listed(folder / "phone") if one["truth"] in ("healthy", "running")]
    running = tuple(without_rhythm(without_tones(_read(one["path"]))) for one in healthy[half::2])
    kinds: dict[str, list[Path]] = {}
    for path in sorted((folder / "noise").glob("*.ogg")):
        kinds.setdefault(path.stem.split("-")[0], []).append(path)
    rooms = {kind: tuple(map(_read, paths[half::2])) for kind, paths in kinds.items() if kind != "talk"}
    talk = np.concatenate([_read(path) for path in kinds["talk"]])
    middle = talk.size // 2
    return Pieces(
        strikes={part: tuple(trains) for part, trains in strikes.items()},
        running=running,
        rooms=rooms,
        talk=talk[:middle] if half == 0 else talk[middle:],
    )


def _listed(folder: Path) -> list[dict[str, Any]]:
    entries = tomllib.loads((folder / "truth.toml").read_text(encoding="utf-8"))["recording"]
    return [{**entry, "path": folder / entry["file"]} for entry in entries]


def _entries(folder: Path) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """All damaged recordings in two halves, so that every rig and part is in both, and no bench bearing is."""
    mfpt = [
        {**MFPT, "path": path, "truth": "outer_raceway" if path.name.startswith("Outer") else "inner_raceway"}
        for path in sorted((folder / "mfpt").glob("*.mat"))
    ]
    halves: tuple[list[dict[str, Any]], list[dict[str, Any]]] = ([], [])
    for rig in (_listed(folder / "phone"), mfpt, _listed(folder / "fan-end")):
        for part in ("outer_raceway", "inner_raceway", "ball"):
            bearings: dict[str, list[dict[str, Any]]] = {}
            for entry in rig:
                if entry["truth"] == part:
                    path = entry["path"]
                    one = path.stem.rsplit("_", 1)[0] if path.parent.name == "fan-end" else path.stem
                    bearings.setdefault(one, []).append(entry)
            for number, name in enumerate(sorted(bearings)):
                halves[number % 2].extend(bearings[name])
    return halves


def _read(path: Path) -> Floats:
    """First channel at `RATE_HZ`, unit mean square."""
    if path.suffix == ".mat":
        held = io.loadmat(str(path), squeeze_me=True)["bearing"]
        sound, rate_hz = np.asarray(held["gs"].item(), dtype=float), int(held["sr"].item())
    else:
        samples, rate_hz = soundfile.read(path, always_2d=True)
        sound = samples[:, 0]
    sound = sound - np.mean(sound)
    if rate_hz != RATE_HZ:
        # 48 828 Hz is no round ratio: the nearest one of small numbers is off by a thousandth at most
        up, down = RATE_HZ // gcd(RATE_HZ, rate_hz), rate_hz // gcd(RATE_HZ, rate_hz)
        if up > 1000:
            up, down = 58, 59
        sound = signal.resample_poly(sound, up, down)
    unit: Floats = sound / np.sqrt(np.mean(sound**2))
    return unit


def without_tones(sound: Floats, keep_hz: float | None = None) -> Floats:
    """Turn steady tones down to the noise about them.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        At `RATE_HZ`, some seconds.
    keep_hz : float or None
        Lines at multiples of this rate are a train of strikes, not tones, and stay below 2 kHz.

    Returns
    -------
    ndarray, shape (n,)
    """
    length = fft.next_fast_len(sound.size, real=True)
    spectrum = fft.rfft(sound, length)
    frequency_hz = fft.rfftfreq(length, 1 / RATE_HZ)
    kept = None
    if keep_hz is not None:
        off_hz = np.abs(frequency_hz / keep_hz - np.round(frequency_hz / keep_hz)) * keep_hz
        kept = (off_hz < 1.0 + 0.003 * frequency_hz) & (frequency_hz < 2000)
    gain = _line_gain(np.abs(spectrum), wide=int(60 * length / RATE_HZ), times=4.0, kept=kept)
    return fft.irfft(spectrum * gain, length)[: sound.size]


def _line_gain(size: Floats, *, wide: int, times: float, kept: NDArray[np.bool_] | None = None) -> Floats:
    """Gain of each bin of a spectrum that takes lines down to a running median."""
    step = max(1, wide // 60)
    bins = np.arange(size.size)
    floor = np.interp(bins, bins[::step], ndimage.median_filter(size[::step], max(3, wide // step) | 1))
    loud = size > times * floor
    if kept is not None:
        loud &= ~kept
    # With their skirts: the window of a cut is a rectangle.
    loud = ndimage.binary_dilation(loud, iterations=4)
    gain: Floats = np.where(loud, np.minimum(1.0, floor / np.maximum(size, 1e-30)), 1.0)
    return gain


def without_rhythm(sound: Floats) -> Floats:
    """Take out what swells at a steady pace in each of seven bands: the rig's shaft, rings and fan.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        At `RATE_HZ`, some seconds.

    Returns
    -------
    ndarray, shape (n,)
        Noise whose level still wanders and bursts, but keeps no time.
    """
    hop = RATE_HZ // 500
    blocks = sound.size // hop
    length = fft.next_fast_len(sound.size, real=True)
    spectrum = fft.rfft(sound, length)
    frequency_hz = fft.rfftfreq(length, 1 / RATE_HZ)
    out = np.zeros(sound.size)
    edges_hz = [0, 500, 1000, 2000, 4000, 8000, 12_000, RATE_HZ]
    for low_hz, high_hz in pairwise(edges_hz):
        inside = (frequency_hz >= low_hz) & (frequency_hz < high_hz)
        band = fft.irfft(spectrum * inside, length)[: sound.size]
        level = np.log(np.mean(band[: blocks * hop].reshape(blocks, hop) ** 2, axis=1) + 1e-30) / 2
        lines = fft.rfft(level - level.mean())
        gain = _line_gain(np.abs(lines), wide=int(8 * blocks * hop / RATE_HZ), times=2.5)
        swell = fft.irfft(lines * (1 - gain), blocks)
        out += band * np.exp(-np.interp(np.arange(sound.size), (np.arange(blocks) + 0.5) * hop, swell))
    return out


def _train(entry: dict[str, Any]) -> Train | None:
    """Find the strikes of a damaged bearing and cut them; None where they hardly stand out."""
    ratio = entry["ball_diameter_mm"] / entry["pitch_diameter_mm"]
    balls, turn_hz = int(entry["balls"]), entry["speed_rpm"] / 60
    rate_hz = {
        "outer_raceway": balls * (1 - ratio) / 2 * turn_hz,
        "inner_raceway": balls * (1 + ratio) / 2 * turn_hz,
        "ball": (1 / ratio - ratio) * turn_hz,
    }[entry["truth"]]
    sound = without_tones(_read(entry["path"])[: MOST_S * RATE_HZ], keep_hz=rate_hz)
    # What is sampled at 12 kHz holds nothing above 6.
    high_hz = 5500.0 if "fan-end" in entry["path"].parts else 16_000.0
    sound = signal.sosfiltfilt(signal.butter(4, (500.0, high_hz), "bandpass", fs=RATE_HZ, output="sos"), sound)
    at = _strike_samples(sound, rate_hz)
    before = RATE_HZ // 1000
    at = at[at > before]
    clean = _without_floor(sound)
    spaces = np.minimum(np.diff(at), int(LONGEST_S * RATE_HZ))
    waves = [
        _faded(clean[first - before : first - before + space])
        for first, space in zip(at[:-1], spaces, strict=True)
    ]
    if _contrast_db(sound, at) < LEAST_CONTRAST_DB:
        return None
    heights = np.array([np.sqrt(np.sum(wave**2)) for wave in waves])
    swing = _swing(np.log(heights + 1e-3 * np.median(heights)), at[:-1] / RATE_HZ * turn_hz)
    middle = float(np.median(heights / swing))
    if entry["truth"] == "ball":
        # A ball turns its flaw to the rings only now and then: the strongest third, in their order.
        struck = np.flatnonzero(heights > np.quantile(heights, 2 / 3))
        waves, heights, swing = [waves[k] for k in struck], heights[struck], swing[struck]
        middle, balls = float(np.median(heights)), 1
        swing = np.ones(struck.size)
    return Train(
        entry["path"].name,
        tuple(wave / middle / down for wave, down in zip(waves, swing, strict=True)),
        heights / swing / middle,
        balls,
    )


def _swing(log_heights: Floats, turns: Floats) -> Floats:
    """What the rig's own shaft does to the heights: once, twice and three times a turn, by least squares."""
    waves = [wave(2 * np.pi * k * turns) for k in (1, 2, 3) for wave in (np.cos, np.sin)]
    table = np.column_stack([np.ones(turns.size), *waves])
    # A rig's turns are known to a thousandth, so the phase is fitted anew every ten turns.
    swing = np.zeros(turns.size)
    for first in np.arange(turns[0], turns[-1], 10.0):
        near = (turns >= first) & (turns < first + 10)
        if np.count_nonzero(near) > 14:
            fitted, *_ = np.linalg.lstsq(table[near], log_heights[near], rcond=None)
            swing[near] = table[near][:, 1:] @ fitted[1:]
    return np.exp(swing)


def _contrast_db(sound: Floats, at: NDArray[np.intp]) -> float:
    """How far the mean strike stands over the quietest moment between strikes."""
    space = int(np.min(np.diff(at)))
    energy = ndimage.uniform_filter1d(sound**2, RATE_HZ // 1000)
    mean = np.mean(
        [energy[first - RATE_HZ // 1000 : first - RATE_HZ // 1000 + space] for first in at[1:-1]], axis=0
    )
    return float(10 * np.log10(mean.max() / mean.min()))


def _without_floor(sound: Floats) -> Floats:
    """Take the steady noise between the strikes out, by its power in frames of 2.7 ms."""
    _, _, frames = signal.stft(sound, RATE_HZ, nperseg=128, noverlap=64)
    power = ndimage.uniform_filter1d(np.abs(frames) ** 2, 2, axis=1)
    floor = np.quantile(power, 0.15, axis=1)[:, np.newaxis]
    gain = np.sqrt(np.maximum(1 - 2 * floor / np.maximum(power, 1e-30), 0.0))
    _, clean = signal.istft(frames * gain, RATE_HZ, nperseg=128, noverlap=64)
    held: Floats = clean[: sound.size]
    return held


def _strike_samples(sound: Floats, rate_hz: float) -> NDArray[np.intp]:
    """Where the strikes begin: followed from one to the next, none left out, within a sixth of the interval."""
    smooth = signal.butter(2, 400, fs=RATE_HZ, output="sos")
    level = np.maximum(signal.sosfiltfilt(smooth, np.abs(sound)), 0)
    rise = np.gradient(level)
    step = RATE_HZ / rate_hz
    # The phase at which the train, folded over some thirty strikes, stands highest.
    folded = np.zeros(int(step))
    for k in range(min(30, int(sound.size / step) - 1)):
        folded += rise[int(k * step) : int(k * step) + folded.size]
    now, found = float(folded.argmax()), []
    reach = int(step / 6)
    while now + reach + 2 * step < sound.size:
        first = max(0, int(now) - reach)
        window = rise[first : int(now) + reach + 1] * np.hanning(int(now) + reach + 3 - first)[1:-1]
        at = first + int(window.argmax())
        found.append(at)
        # Half of the way towards what was found: a missed one does not lead the rest astray.
        now += 0.5 * (at - now) + step
    return np.array(found)


def _faded(wave: Floats) -> Floats:
    """A cut with its ends faded: half a millisecond in, the last quarter out."""
    window = np.ones(wave.size)
    rise, fall = RATE_HZ // 2000, wave.size // 4
    window[:rise] = np.linspace(0, 1, rise)
    window[-fall:] = np.cos(np.linspace(0, np.pi / 2, fall)) ** 2
    return wave * window
