"""The once-a-turn tick: found among knocks, talk and grit, mended where missed, never made up from strikes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import librosa
import numpy as np
import pytest

from acoustic.dsp.geometry import BearingGeometry
from acoustic.dsp.levels.filterbank import band_bank
from acoustic.dsp.tacho.ticks import find_ticks, tick_onsets
from acoustic.dsp.tacho.train import MarkTrain
from acoustic.simulator import Spin, SpinPlan

RATE_HZ = 48_000
Simulated = Callable[[SpinPlan], Spin]
PLAN: dict[str, Any] = {"ticks_db": 20.0, "knocks": 2, "talk_db": 0.0, "turns": 10.0, "seed": 3}


def trained(spin: Spin) -> MarkTrain:
    train = find_ticks(band_bank(spin.samples, sample_rate_hz=RATE_HZ, top_hz=20_000.0))
    return replace(train, times_s=tick_onsets(spin.samples, float(RATE_HZ), train.times_s))


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"ticks_db": 26.0, "defects": (("grit", -6.0),)},
        {"ticks_db": 32.0, "defects": (("outer_raceway", -3.0),)},
    ],
    ids=["talk and knocks", "grit", "a damaged ring"],
)
def test_the_train_is_the_card_s(
    changes: dict[str, Any], commonest: BearingGeometry, simulated: Simulated
) -> None:
    """Every tick kept is a tick, to 5 ms but for a common delay, and counts its own turn."""
    spin = simulated(SpinPlan(geometry=commonest, **{**PLAN, **changes}))
    train = trained(spin)
    assert train.stands_out
    nearest = np.abs(train.times_s[:, np.newaxis] - spin.marks_s).argmin(axis=1)
    off = train.times_s - spin.marks_s[nearest]
    assert np.abs(off - np.median(off)).max() < 0.005
    assert np.array_equal(np.diff(nearest), np.diff(train.turns))
    assert train.times_s.size >= 0.7 * spin.marks_s.size


def test_a_missed_tick_leaves_a_gap_in_the_count(commonest: BearingGeometry, simulated: Simulated) -> None:
    """The room's own noise is put over the fourth tick: the turns after it count on."""
    spin = simulated(SpinPlan(geometry=commonest, **{**PLAN, "talk_db": None, "knocks": 0}))
    samples = spin.samples.copy()
    gone_s = float(spin.marks_s[3])
    at = round((gone_s - 0.03) * RATE_HZ)
    samples[at : at + 9600] = samples[at - 9600 : at]
    train = trained(replace(spin, samples=samples))
    assert np.abs(train.times_s - gone_s).min() > 0.05
    assert train.missed >= 1
    nearest = np.abs(train.times_s[:, np.newaxis] - spin.marks_s).argmin(axis=1)
    assert np.array_equal(np.diff(nearest), np.diff(train.turns))


@pytest.mark.parametrize("part", ["outer_raceway", "inner_raceway"])
def test_a_defect_s_strikes_are_no_train(part: str, commonest: BearingGeometry, simulated: Simulated) -> None:
    spin = simulated(SpinPlan(geometry=commonest, defects=((part, 0.0),), turns=10.0, seed=4))
    assert not trained(spin).stands_out


def test_onsets_against_librosa(commonest: BearingGeometry, simulated: Simulated) -> None:
    """librosa's onset detector puts an onset within 20 ms, half its window, of every tick found."""
    spin = simulated(SpinPlan(geometry=commonest, **{**PLAN, "ticks_db": 30.0, "talk_db": None, "knocks": 0}))
    train = trained(spin)
    theirs_s = librosa.onset.onset_detect(y=spin.samples, sr=RATE_HZ, hop_length=128, units="time")
    assert np.abs(theirs_s[:, np.newaxis] - train.times_s).min(axis=0).max() < 0.02


@pytest.mark.parametrize("gain", [0.1, 10.0])
def test_gain(gain: float, commonest: BearingGeometry, simulated: Simulated) -> None:
    spin = simulated(SpinPlan(geometry=commonest, **PLAN))
    plain, other = trained(spin), trained(replace(spin, samples=spin.samples * gain))
    assert other.times_s == pytest.approx(plain.times_s, abs=1e-4)
    assert np.array_equal(other.turns, plain.turns)
