"""Spoilt recordings of damaged bearings: whatever became of the file, none is called clean, nothing crashes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from acoustic.bearings.search import resolve_bearing
from acoustic.check.pipeline import check_recording
from acoustic.errors import AcousticError
from acoustic.model import SpeedRequest

Floats = NDArray[np.float64]
WAV_HEADER_BYTES = 44
GRADES = ("watch", "service", "replace")


@pytest.fixture(scope="module")
def outer(taken: Any) -> tuple[Floats, int, Path]:
    """Twelve seconds of a damaged outer ring, 5 dB over the room, and its marks."""
    file = taken("outer")
    samples, rate_hz = soundfile.read(file.path)
    return samples, rate_hz, file.marks


@pytest.fixture
def level_of(outer: tuple[Floats, int, Path], tmp_path: Path, registry: Any) -> Callable[..., str]:
    """Write samples and judge them: (samples, subtype="PCM_16", lost=byte to leave out, last_s) -> grade."""

    def judge(samples: Floats, *, subtype: str = "PCM_16", lost: int | None = None, last_s: float = 99.0) -> str:
        path, marks = tmp_path / "spoilt.wav", tmp_path / "marks.csv"
        soundfile.write(path, samples, outer[1], subtype=subtype)
        if lost is not None:
            raw = path.read_bytes()
            path.write_bytes(raw[:lost] + raw[lost + 1 :])
        times = outer[2].read_text(encoding="utf-8").split()
        marks.write_text("\n".join([times[0], *(t for t in times[1:] if float(t) < last_s)]), encoding="utf-8")
        try:
            result = check_recording(
                path, bearing=resolve_bearing(name="6805"), request=SpeedRequest(marks=marks), registry=registry
            )
        except AcousticError:
            return "refused"
        assert not result.failures
        return result.verdict.level

    return judge


def test_unspoilt_it_is_found(outer: Any, level_of: Any) -> None:
    assert level_of(outer[0].copy()) == "replace"


@pytest.mark.parametrize("value", [-1e6, 1e19, 1e38, 1e155, 1e300, np.nan, -np.inf])
@pytest.mark.parametrize("at", [0.5, *(pytest.param(one, marks=pytest.mark.broad) for one in (0.0, 0.999))])
def test_one_wild_sample(value: float, at: float, outer: Any, level_of: Any) -> None:
    samples = outer[0].copy()
    samples[int(at * samples.size)] = value
    assert level_of(samples, subtype="DOUBLE") == "undecided"


@pytest.mark.parametrize("at", [0.0, 0.1, 0.2, 0.5, 0.8, 0.95])
def test_a_byte_lost(at: float, outer: Any, level_of: Any) -> None:
    """From there on each sample is made of halves of two: noise as loud as the scale allows."""
    samples = outer[0].copy()
    level = level_of(samples, lost=WAV_HEADER_BYTES + 1 + 2 * int(at * samples.size))
    assert level in ("undecided", "refused", *(GRADES if at > 0.3 else ()))


@pytest.mark.parametrize(
    "part", [(0.0, 1.0), (0.02, 1.0), (0.1, 1.0), (0.5, 1.0), (0.0, 0.9), (0.1, 0.7), (0.3, 0.6)]
)
@pytest.mark.parametrize("over_db", [0.0, 10.0, 25.0])
@pytest.mark.parametrize("instead", [False, True])
def test_noise_from_anywhere_to_anywhere(
    part: tuple[float, float], over_db: float, instead: bool, outer: Any, level_of: Any
) -> None:
    samples = outer[0].copy()
    first, last = (int(share * samples.size) for share in part)
    level = float(np.std(samples)) * 10 ** (over_db / 20)
    noise = level * np.random.default_rng(5).standard_normal(last - first)
    samples[first:last] = noise if instead else samples[first:last] + noise
    samples /= max(1.0, float(np.abs(samples).max()))
    assert level_of(samples) in ("undecided", "refused", *GRADES)


@pytest.mark.parametrize("part", [(0.0, 0.5), (0.2, 0.4), (0.5, 1.0), (0.1, 0.9)])
def test_samples_held(part: tuple[float, float], outer: Any, level_of: Any) -> None:
    samples = outer[0].copy()
    first, last = (int(share * samples.size) for share in part)
    samples[first:last] = samples[first]
    assert level_of(samples) in ("undecided", "refused", *GRADES)


@pytest.mark.parametrize("cut_s", [1.5, 3.0, 5.0, 8.0])
def test_cut_off(cut_s: float, outer: Any, level_of: Any) -> None:
    """What is left of the strikes is found, or it is too little to tell."""
    level = level_of(outer[0][: int(cut_s * outer[1])].copy(), last_s=cut_s)
    assert level in ("undecided", "refused", *GRADES)


@pytest.mark.parametrize("over_db", [15.0, 20.0, 25.0, 40.0])
def test_drowned(over_db: float, outer: Any, level_of: Any) -> None:
    samples = outer[0].copy()
    noise = np.random.default_rng(6).standard_normal(samples.size)
    samples += noise * float(np.std(samples)) * 10 ** (over_db / 20)
    assert level_of(samples / max(1.0, float(np.abs(samples).max()))) in ("undecided", "refused", *GRADES)
