"""The picture of lifetimes: a line of its own each kind, in what the lives count, ticks on the curves."""

from __future__ import annotations

import pytest

from acoustic.lifetimes.kinds import MOST_KINDS, lifetimes_of
from acoustic.lifetimes.lives import Life, Measure
from acoustic.report.lifetimes_picture import LINES, lifetimes_figure


def test_as_many_kinds_as_are_compared_have_lines_of_their_own() -> None:
    lives = [Life(days, days < 9, {"lot": str(lot)}) for lot in range(12) for days in (5.0, 9.0)]
    told = lifetimes_of(lives, by="lot")
    assert len(told.curves) == MOST_KINDS
    assert told.past_most == 2 * (12 - MOST_KINDS)
    (axes,) = lifetimes_figure(told, title="t").axes
    curves = [line for line in axes.lines if line.get_drawstyle() == "steps-post"]
    assert len(curves) == MOST_KINDS == len(set(LINES))
    assert len({str(line._dash_pattern) for line in curves}) == MOST_KINDS  # type: ignore[attr-defined]


@pytest.mark.parametrize(("measure", "said", "at"), [("days", "months", 2.0), ("km", "1000 km", 0.0609)])
def test_the_axis_counts_in_what_the_lives_do(measure: Measure, said: str, at: float) -> None:
    """60.9 days are two months of 30.44 days; a bearing out of sight is a tick on the curve."""
    told = lifetimes_of([Life(30.0, True, {}), Life(60.875, False, {})], by=None, measure=measure)
    (axes,) = lifetimes_figure(told, title="t").axes
    assert said in axes.get_xlabel()
    ticks = next(line for line in axes.lines if line.get_marker() == "|")
    assert list(ticks.get_xdata()) == pytest.approx([at], rel=1e-2)
    assert list(ticks.get_ydata()) == pytest.approx([50.0])
