"""Time the whole check against a plain script on the same file, in the same process.

Run by hand: ``python tests/bench/bench_check.py [--quick]``. The plain script is one
Butterworth band-pass, one Hilbert envelope and one FFT, all by scipy, on the
whole file; it finds nothing by itself. Ratios are the result: times vary from
machine to machine. The quick form asserts the limits with room to spare, so that
a slip of the order of magnitude is seen at once.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
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

MOST_RATIO = 4.0
MOST_COLD_S = 1.5
MOST_WARM_S = 0.4
MOST_HELP_S = 0.15
MOST_MEMORY_MB = 300.0


def plain_script(path: Path) -> np.ndarray:
    """One band-pass, one envelope, one spectrum."""
    sound, rate = soundfile.read(path)
    band = scipy.signal.butter(4, (2000, 6000), btype="bandpass", fs=rate, output="sos")
    envelope = np.abs(scipy.signal.hilbert(scipy.signal.sosfiltfilt(band, sound)))
    return np.abs(scipy.fft.rfft(envelope**2 - np.mean(envelope**2)))


def median_s(call: Callable[[], object], repeats: int) -> float:
    """Median time of a call [s]."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def peak_memory_mb() -> float | None:
    """Peak memory of the largest child process; None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return peak / (1024 * 1024 if sys.platform == "darwin" else 1024)


def main() -> None:
    """Print the table; with --quick, fail where a limit is missed by twice."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="few repeats; fail at twice a limit")
    quick = parser.parse_args().quick
    repeats = 5 if quick else 15
    with tempfile.TemporaryDirectory() as folder:
        rows = measure(Path(folder), repeats)
    failed = False
    print(f"{'what':<52}{'limit':>10}{'measured':>12}")
    for what, limit, value, unit in rows:
        shown = "unknown" if value is None else f"{value:.3g} {unit}"
        print(f"{what:<52}{f'{limit:g} {unit}':>10}{shown:>12}")
        failed = failed or (quick and value is not None and value > 2 * limit)
    sys.exit(1 if failed else 0)


def measure(folder: Path, repeats: int) -> list[tuple[str, float, float | None, str]]:
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
    warm_s, plain_s = median_s(whole_check, repeats), median_s(lambda: plain_script(path), repeats)
    command = [sys.executable, "-m", "acoustic"]
    cold = [*command, "check", str(path), "--bearing", "6805", "--marks", str(marks), "--quiet"]
    cold_s = median_s(lambda: subprocess.run(cold, check=True, capture_output=True), max(3, repeats // 3))
    memory_mb = peak_memory_mb()
    help_s = median_s(lambda: subprocess.run([*command, "--help"], check=True, capture_output=True), repeats)
    return [
        ("whole check over plain script", MOST_RATIO, warm_s / plain_s, "x"),
        ("whole check, warm, 14 s at 48 kHz", MOST_WARM_S, warm_s, "s"),
        ("plain script, for comparison", MOST_WARM_S, plain_s, "s"),
        ("acoustic check, cold", MOST_COLD_S, cold_s, "s"),
        ("acoustic check, peak memory", MOST_MEMORY_MB, memory_mb, "MB"),
        ("acoustic --help", MOST_HELP_S, help_s, "s"),
    ]


if __name__ == "__main__":
    main()
