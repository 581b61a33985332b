"""Bearings with two rows of balls: lines at nearly the same orders, a wider slip, and advice of their own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from acoustic.check.grade import BOTH_ROWS
from acoustic.check.pipeline import check_recording
from acoustic.dsp.geometry import BearingGeometry, defect_orders
from acoustic.dsp.orders.hypotheses import ROW_SPREAD, part_sets
from acoustic.model import Analysis, Bearing, Finding, SpeedRequest
from acoustic.plugin.registry import load_plugins
from acoustic.simulator import SpinPlan, simulate
from acoustic.simulator.strikes import Strikes, both


@pytest.fixture(scope="module")
def judged(commonest: BearingGeometry, tmp_path_factory: pytest.TempPathFactory) -> dict[int, Analysis]:
    """Both rows' outer rings are damaged, and slip by 0.2 and 1.0 per cent: judged as one row and as two."""
    plan = SpinPlan(geometry=commonest, defects=(("outer_raceway", -10.0),), slip=0.002, second_slip=0.01, seed=3)
    spin, folder = simulate(plan), tmp_path_factory.mktemp("rows")
    path, marks = folder / "two.wav", folder / "two.csv"
    soundfile.write(path, spin.samples, spin.sample_rate_hz)
    marks.write_text("\n".join(f"{mark:.4f}" for mark in spin.marks_s), encoding="utf-8")
    one = Bearing(designation="6805", candidates=(commonest,), balls_source="given", source="simulated")
    request, registry = SpeedRequest(marks=marks), load_plugins()
    return {
        rows: check_recording(path, bearing=replace(one, rows=rows), request=request, registry=registry)
        for rows in (1, 2)
    }


def outer(analysis: Analysis) -> Finding:
    return next(finding for finding in analysis.findings if finding.condition == "outer_raceway")


def test_the_strikes_of_both_rows_count(judged: dict[int, Analysis]) -> None:
    """Taken for one row, half of the strikes lie beside the line: as much as 1 dB and more is missing."""
    assert outer(judged[1]).detected and outer(judged[2]).detected
    severity_db = [outer(judged[rows]).severity_db or 0.0 for rows in (1, 2)]
    assert severity_db[1] > severity_db[0] + 0.7
    assert [f.condition for f in judged[2].findings if f.detected] == ["outer_raceway"], "no part beside it"


def test_the_advice_is_a_double_row_s_own(judged: dict[int, Analysis]) -> None:
    assert judged[2].verdict.level == "replace"
    assert BOTH_ROWS in judged[2].verdict.advice
    assert BOTH_ROWS not in judged[1].verdict.advice


@pytest.mark.broad
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_row_whose_contact_angle_moves_its_order(seed: int, commonest: BearingGeometry, tmp_path: Path) -> None:
    """1.6 per cent fast, as 0 and 29 degrees of contact angle differ: past what slip does to one row."""
    plan = SpinPlan(
        geometry=commonest,
        defects=(("outer_raceway", -12.0),),
        slip=-0.016,
        spin="steady",
        start_hz=1.25,
        duration_s=35.0,
        seed=seed,
    )
    spin, path, marks = simulate(plan), tmp_path / "fast.wav", tmp_path / "fast.csv"
    soundfile.write(path, spin.samples, spin.sample_rate_hz)
    marks.write_text("\n".join(f"{mark:.4f}" for mark in spin.marks_s), encoding="utf-8")
    two = Bearing(designation="6805", candidates=(commonest,), balls_source="given", source="simulated", rows=2)
    found = check_recording(path, bearing=two, request=SpeedRequest(marks=marks), registry=load_plugins())
    assert outer(found).detected


def test_contact_angles_spread_the_orders_of_two_rows(commonest: BearingGeometry) -> None:
    """6805 by hand: 3.5/31 = .1129, times cos 30 = .0978, so (1 - .0978) / (1 - .1129) = 1.0170."""
    tilted = defect_orders(replace(commonest, contact_angle_deg=30.0)).outer_raceway
    apart = tilted / defect_orders(commonest).outer_raceway - 1
    assert apart == pytest.approx(0.0170, abs=1e-4)
    assert apart / 3 == pytest.approx(ROW_SPREAD, rel=0.15)
    single, double = (part_sets(commonest, speed_spread=0.002, rows=rows) for rows in (1, 2))
    assert single == part_sets(commonest, speed_spread=0.002)
    for one, two in zip(single, double, strict=True):
        assert (one.row_spread, two.row_spread) == (0.0, ROW_SPREAD)
        assert two.spread == pytest.approx(np.hypot(one.spread, ROW_SPREAD))


def test_strikes_of_two_rows_stand_in_their_order() -> None:
    first, second = (Strikes(np.array(at), np.array(at)) for at in ([0.0, 2.0], [1.0, 3.0]))
    together = both(first, second)
    assert together.turns.tolist() == together.strength.tolist() == [0.0, 1.0, 2.0, 3.0]
