"""How a generated spin is asked about: marks, counted turns, a gyro's table, or the sound alone."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.model import Motion, SpeedRequest
from acoustic.simulator import Spin, SpinPlan

Floats = NDArray[np.float64]
Way = Literal["marks", "turns", "gyro", "alone"]


def request(way: Way, spin: Spin, plan: SpinPlan, folder: Path, rng: np.random.Generator) -> SpeedRequest:
    """What a user says of a spin, by one speed source.

    Parameters
    ----------
    way : {'marks', 'turns', 'gyro', 'alone'}
    spin : Spin
        The truth.
    plan : SpinPlan
    folder : Path
        Tables are written here.
    rng : numpy.random.Generator

    Returns
    -------
    SpeedRequest
    """
    kind = None if plan.spin == "steady" else plan.spin
    if way == "marks":
        return SpeedRequest(marks=marks_table(spin.marks_s, folder), spin=kind)
    if way == "turns":
        return SpeedRequest(counted_turns=counted(spin, rng), spin=kind)
    if way == "gyro":
        return SpeedRequest(gyro=gyro_table(spin, folder, rng), spin=kind)
    return SpeedRequest(spin=kind)


def marks_table(marks_s: Floats, folder: Path) -> Path:
    """Marks read off to the millisecond, as a file."""
    path = folder / "marks.csv"
    path.write_text("\n".join(f"{mark:.3f}" for mark in marks_s), encoding="utf-8")
    return path


def counted(spin: Spin, rng: np.random.Generator) -> float:
    """Turns counted to within half a turn, said in halves."""
    true = float(spin.turns[-1])
    said = round(2 * true) / 2 + float(rng.choice([-0.5, 0.0, 0.0, 0.5]))
    return said if abs(said - true) <= 0.5 else round(2 * true) / 2


def gyro_table(spin: Spin, folder: Path, rng: np.random.Generator) -> Path:
    """A gyro at 100 Hz with a clock of its own, as a file.

    It counts from when the logger began or from long before, half a second too early or too late at most, and
    drifts by up to 200 ppm; degrees or radians a second.
    """
    offset_s, drift = rng.uniform(-0.5, 0.5), rng.uniform(-200e-6, 200e-6)
    times_s = np.arange(0, spin.times_s[-1], 0.01)
    speed_hz = np.interp(times_s, spin.times_s, np.gradient(spin.turns, spin.times_s))
    rate = 360 * speed_hz + rng.uniform(0, 3) + 0.7 * rng.standard_normal(times_s.size)
    clock_s = times_s * (1 + drift) + offset_s + float(rng.choice([1.0, 50.0]))
    head = "time (s),speed (deg/s)"
    if rng.random() < 0.5:
        head, rate = "seconds,wz_rad_s", np.radians(rate)
    path = folder / "gyro.csv"
    lines = [f"{t:.4f},{w:.4f}" for t, w in zip(clock_s, rate, strict=True)]
    path.write_text("\n".join([head, *lines]), encoding="utf-8")
    return path


def angle_error(motion: Motion, spin: Spin) -> Floats:
    """How far a motion's angle is off at each of its times, a constant left out [turns].

    An AAC encoder puts 1024 samples in front, which a reader may or may not cut off: the better of both counts.
    """
    errors = []
    for lag_s in (0.0, 1024 / spin.sample_rate_hz):
        off = motion.turns - np.interp(motion.times_s, spin.times_s + lag_s, spin.turns)
        errors.append(np.abs(off - np.median(off)))
    return min(errors, key=lambda error: float(np.mean(error)))
