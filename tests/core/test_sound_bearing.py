"""The laws of sound bearings: whatever their numbers, they are tails of normal laws."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from acoustic.core.rings import PARTS
from acoustic.core.sound_bearing import (
    DETECTION_CHANCE,
    EVENT_LAW_DB,
    chance_of_events,
)
from acoustic.model import CONDITIONS

QUICK = settings(max_examples=50, deadline=None, derandomize=True)


@given(part=st.sampled_from(PARTS), severity_db=st.floats(-60, 60))
@QUICK
def test_events_against_scipys_normal_law(part: str, severity_db: float) -> None:
    """Both compute a complementary error function: 1e-9, tails as deep as 1e-200 included."""
    mean, spread = EVENT_LAW_DB[part]
    theirs = stats.norm.sf(severity_db, loc=mean, scale=spread)
    assert chance_of_events(part, severity_db) == pytest.approx(theirs, rel=1e-9, abs=1e-200)


@given(part=st.sampled_from(PARTS), low_db=st.floats(-60, 60), more_db=st.floats(0.0, 20))
@QUICK
def test_more_is_never_likelier(part: str, low_db: float, more_db: float) -> None:
    assert 0 <= chance_of_events(part, low_db + more_db) <= chance_of_events(part, low_db) <= 1


def test_the_middle_of_each_law_is_half() -> None:
    for part, (mean, spread) in EVENT_LAW_DB.items():
        assert chance_of_events(part, mean) == pytest.approx(0.5, rel=1e-12)
        # printed tables of the normal law: 2.3263 spreads for 1 in 100
        assert chance_of_events(part, mean + 2.3263 * spread) == pytest.approx(0.01, rel=1e-3)


def test_nothing_heard_is_sound() -> None:
    """No events at all are what a sound bearing shows."""
    assert all(chance_of_events(part, -90.0) > 0.9 for part in PARTS)


def test_every_part_has_its_law_and_damage_lies_past_it() -> None:
    """Events as strong as the noise they stand in (0 dB) are no sound bearing's on any part that rolls."""
    assert set(EVENT_LAW_DB) == {*PARTS, "chain", "jockey", "hub"}
    assert set(PARTS) <= set(CONDITIONS)
    for part in ("outer_raceway", "inner_raceway", "ball"):
        assert chance_of_events(part, 0.0) < DETECTION_CHANCE


def test_ten_conditions_seldom_accuse_a_sound_bearing() -> None:
    """1 - (1 - p)^10 for ten judged at once: below 1 in 40, and not so strict that nothing counts."""
    assert 1 - (1 - DETECTION_CHANCE) ** len(CONDITIONS) < 0.025
    assert DETECTION_CHANCE >= 1e-4
