"""Pieces of real recordings: strikes of damaged bearings, running noise of healthy ones, rooms and talk.

What is cut is held in memory and never written into the project. Nothing here knows the
physical simulator, so that what both generators show is not one author's idea of a bearing.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from math import gcd
from pathlib import Path
from typing import Any, Literal

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import io, ndimage, signal

Floats = NDArray[np.float64]
Fold = Literal["build", "held"]
RATE_HZ = 48_000
LONGEST_S = 0.08  # of a cut strike; most are cut earlier, where the next one begins
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
            Which half: every second recording of a kind, and half of the talk. Whoever builds on the one half
            measures on the other.

        Returns
        -------
        Pieces
        """
        return _load(folder.resolve(), fold)


@cache
def _load(folder: Path, fold: Fold) -> Pieces:
    half = 0 if fold == "build" else 1
    strikes: dict[str, list[Train]] = {"outer_raceway": [], "inner_raceway": [], "ball": []}
    for number, entry in enumerate(_entries(folder)):
        if entry["truth"] in strikes and number % 2 == half:
            strikes[entry["truth"]].append(_train(entry))
    healthy = [one for one in _listed(folder / "phone") if one["truth"] in ("healthy", "running")]
    running = tuple(without_tones(_read(one["path"])) for one in healthy[half::2])
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


def _entries(folder: Path) -> list[dict[str, Any]]:
    """All damaged recordings, ordered so that every second one of each rig and part falls into each half."""
    mfpt = [
        {**MFPT, "path": path, "truth": "outer_raceway" if path.name.startswith("Outer") else "inner_raceway"}
        for path in sorted((folder / "mfpt").glob("*.mat"))
    ]
    listed = [*_listed(folder / "phone"), *mfpt, *_listed(folder / "fan-end")]
    damaged = [one for one in listed if one["truth"] in ("outer_raceway", "inner_raceway", "ball")]
    return sorted(damaged, key=lambda one: (str(one["truth"]), str(one["path"])))


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
    length = sound.size + sound.size % 2
    spectrum = np.fft.rfft(sound, length)
    size = np.abs(spectrum)
    frequency_hz = np.fft.rfftfreq(length, 1 / RATE_HZ)
    wide = int(60 * length / RATE_HZ) | 1
    # A median of 60 Hz about each line, taken at every eighth bin: tones are narrower than half of it.
    floor = np.interp(frequency_hz, frequency_hz[::8], ndimage.median_filter(size[::8], wide // 8 | 1))
    loud = size > 4 * floor
    if keep_hz is not None:
        off = np.abs(frequency_hz / keep_hz - np.round(frequency_hz / keep_hz)) * keep_hz
        loud &= (off > 1.0 + 0.003 * frequency_hz) | (frequency_hz > 2000)
    # With their skirts: the window of a cut is a rectangle.
    loud = ndimage.binary_dilation(loud, iterations=4)
    gain = np.where(loud, np.minimum(1.0, floor / np.maximum(size, 1e-30)), 1.0)
    quiet: Floats = np.fft.irfft(spectrum * gain, length)[: sound.size]
    return quiet


def _train(entry: dict[str, Any]) -> Train:
    """Find the strikes of a damaged bearing and cut them."""
    ratio = entry["ball_diameter_mm"] / entry["pitch_diameter_mm"]
    balls, turn_hz = int(entry["balls"]), entry["speed_rpm"] / 60
    rate_hz = {
        "outer_raceway": balls * (1 - ratio) / 2 * turn_hz,
        "inner_raceway": balls * (1 + ratio) / 2 * turn_hz,
        "ball": (1 / ratio - ratio) * turn_hz,
    }[entry["truth"]]
    sound = without_tones(_read(entry["path"]), keep_hz=rate_hz)
    narrow = "fan-end" in entry["path"].parts
    band_hz = (500.0, 5500.0) if narrow else (500.0, 16_000.0)
    sections = signal.butter(4, band_hz, "bandpass", fs=RATE_HZ, output="sos")
    sound = signal.sosfiltfilt(sections, sound)
    at = _strike_samples(sound, rate_hz)
    before = RATE_HZ // 1000
    spaces = np.minimum(np.diff(at), int(LONGEST_S * RATE_HZ))
    waves = tuple(
        _faded(sound[first - before : first - before + space])
        for first, space in zip(at[:-1], spaces, strict=True)
        if first > before
    )
    heights = np.array([np.sqrt(np.sum(wave**2)) for wave in waves])
    middle = float(np.median(heights))
    return Train(entry["path"].name, tuple(wave / middle for wave in waves), heights / middle, balls)


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
