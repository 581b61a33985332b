"""What healthy bearings show: a tail in the field of a Gumbel law, and its numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from acoustic.dsp.orders import healthy
from acoustic.dsp.orders.evidence import FAINT, NAMED, SIGNIFICANT
from acoustic.dsp.orders.healthy import chance_of_lines, healthy_db, lift_of_waviness
from acoustic.dsp.orders.hypotheses import PARTS

QUICK = settings(max_examples=50, deadline=None, derandomize=True)
# By hand: middle 0, and 0.6 x 0.988 = 0.3 x 1.976 from the quantile 0.2 to 0.8, as wide as usual.
NULLS = np.linspace(-0.494, 0.494, 21)
SOURCES = (*PARTS, "chain", "jockey", "hub", "unexplained")


def test_the_numbers_that_verdicts_rest_on() -> None:
    assert healthy.TENTH_NATS == {"outer_raceway": 0.51, "inner_raceway": 0.45, "ball": 0.57, "cage": 0.57}
    assert healthy.FALL_NATS == {"outer_raceway": 0.33, "inner_raceway": 0.25, "ball": 0.27, "cage": 0.35}
    assert (healthy.LUCK_LEFT_NATS, healthy.WAVINESS_NATS) == (2.3, 6.8)
    assert (healthy.OTHER_TENTH_NATS, healthy.OTHER_FALL_NATS) == (0.7, 0.4)
    assert healthy.DETECTION_CHANCE == 0.002
    assert (healthy.USUAL_SPREAD, healthy.STANDARD_SPREAD) == (0.3, 1.976)
    assert [healthy_db(source) for source in SOURCES] == [-17.5, -17.5, -17.5, -8.0, -17.5, -17.5, -17.5, -17.5]
    assert (NAMED, SIGNIFICANT, FAINT) == (0.97, 0.01, 0.01)


def test_the_width_of_a_standard_gumbel_law() -> None:
    """From scipy's quantile function."""
    low, high = stats.gumbel_r.ppf([0.2, 0.8])
    assert high - low == pytest.approx(1.976, abs=5e-4)


@pytest.mark.parametrize("part", SOURCES)
def test_one_in_ten_reaches_the_tenth(part: str) -> None:
    tenth = healthy.TENTH_NATS.get(part, 0.7)
    assert chance_of_lines(part, tenth, NULLS) == pytest.approx(0.1, rel=1e-9)


@given(part=st.sampled_from(SOURCES), nats=st.floats(-50, 60))
@QUICK
def test_against_scipys_gumbel_law(part: str, nats: float) -> None:
    """Its upper tail, laid so that a tenth is past the stored place."""
    tenth, fall = healthy.TENTH_NATS.get(part, 0.7), healthy.FALL_NATS.get(part, 0.4)
    location = tenth - fall * stats.gumbel_r.isf(0.1)
    theirs = stats.gumbel_r.sf(nats, loc=location, scale=fall)
    assert chance_of_lines(part, nats, NULLS) == pytest.approx(theirs, rel=1e-6, abs=1e-12)


@given(part=st.sampled_from(SOURCES), low=st.floats(-100, 200), more=st.floats(0, 200))
@QUICK
def test_more_is_never_likelier(part: str, low: float, more: float) -> None:
    assert 0 <= chance_of_lines(part, low + more, NULLS) <= chance_of_lines(part, low, NULLS) <= 1


@given(shift=st.floats(-30, 30), nats=st.floats(-5, 20))
@QUICK
def test_what_lifts_all_orders_alike_is_no_evidence(shift: float, nats: float) -> None:
    moved = chance_of_lines("ball", nats + shift, NULLS + shift)
    assert moved == pytest.approx(chance_of_lines("ball", nats, NULLS), rel=1e-6)


def test_luck_that_spreads_farther_raises_the_bar() -> None:
    """Three times as wide: what was 1.5 beyond the middle counts as 0.5. Narrower never counts for more."""
    wide = chance_of_lines("cage", 1.5, 3 * NULLS)
    assert wide == pytest.approx(chance_of_lines("cage", 0.5, NULLS), rel=0.01)
    assert chance_of_lines("cage", 1.5, 0.1 * NULLS) == chance_of_lines("cage", 1.5, NULLS)


@pytest.mark.parametrize(("lines_nats", "lift_nats"), [(-3.0, 0.0), (0.0, 0.0), (6.8, 1.4539), (1e4, 2.3)])
def test_waviness_that_stands_out_leaves_luck_its_best(lines_nats: float, lift_nats: float) -> None:
    """By hand: 2.3 (1 - 1/e) = 1.4539; all of it in the end."""
    assert lift_of_waviness(lines_nats) == pytest.approx(lift_nats, abs=1e-4)
    lifted = chance_of_lines("outer_raceway", 1.0 + lift_nats, NULLS, lines_nats=lines_nats)
    assert lifted == pytest.approx(chance_of_lines("outer_raceway", 1.0, NULLS), rel=1e-3)
    assert chance_of_lines("cage", 1.0, NULLS, lines_nats=lines_nats) == chance_of_lines("cage", 1.0, NULLS)


def test_far_tails_do_not_vanish_in_rounding() -> None:
    """By hand: 0.10536 exp(-(50 - 0.57) / 0.35) = 5e-63."""
    assert chance_of_lines("cage", 50.0, NULLS) == pytest.approx(
        -np.log(0.9) * np.exp(-(50 - healthy.TENTH_NATS["cage"]) / healthy.FALL_NATS["cage"]), rel=1e-6
    )
    assert chance_of_lines("cage", -1e6, NULLS) == 1.0
