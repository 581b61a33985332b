"""Curves, bands, medians and log-rank tests equal to those of lifelines, a general-purpose survival library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from lifelines import KaplanMeierFitter
from lifelines.statistics import logrank_test
from lifelines.utils import survival_table_from_events

from acoustic.lifetimes.comparison import compare
from acoustic.lifetimes.lives import Life
from acoustic.lifetimes.survival import survival

CLOSE = 1e-9  # the agreement asked for


def drawn(seed: int, *, count: int = 60, late: bool = True, worn: float = 0.6, ties: int = 40) -> list[Life]:
    """Lives of whole days, many of them equal, some of no day at all, half of them watched late."""
    rng = np.random.default_rng(seed)
    ran = rng.integers(0, ties, count).astype(float)
    entered = np.where(rng.random(count) < 0.5, np.floor(ran * rng.random(count)), 0.0) * late
    ended = rng.random(count) < worn
    return [Life(float(r), bool(e), {}, float(s)) for r, e, s in zip(ran, ended, entered, strict=True)]


def fitted(lives: list[Life]) -> KaplanMeierFitter:
    ran, ended = [life.ran for life in lives], [life.ended for life in lives]
    late = any(life.entered for life in lives)
    return KaplanMeierFitter(alpha=0.1).fit(ran, ended, entry=[life.entered for life in lives] if late else None)


CASES = {
    "delayed entry": [drawn(seed) for seed in range(6)],
    "zero days": [drawn(7, late=False), [Life(0.0, True, {}), Life(0.0, False, {}), Life(9.0, True, {})]],
    "ties": [drawn(seed, ties=4, late=seed % 2 == 0) for seed in range(10, 14)],
    "all censored": [drawn(20, worn=0.0), drawn(21, worn=0.0, late=False)],
    "all worn": [drawn(30, worn=1.0), drawn(31, worn=1.0, late=False)],
    "one": [[Life(5.0, True, {})], [Life(5.0, False, {}, 3.0)]],
}


@pytest.mark.parametrize("lives", [pytest.param(each, id=name) for name, some in CASES.items() for each in some])
def test_curve_band_and_median(lives: list[Life]) -> None:
    curve, theirs = survival(lives), fitted(lives)
    assert curve.share == pytest.approx(theirs.survival_function_at_times(curve.at).to_numpy(), abs=CLOSE)
    band = theirs.confidence_interval_.loc[curve.at].to_numpy()
    told = (curve.share > 1e-6) & (curve.share < 1)  # at 1 and 0 their formula is not defined either
    assert curve.low[told] == pytest.approx(band[told, 0], abs=CLOSE)
    assert curve.high[told] == pytest.approx(band[told, 1], abs=CLOSE)
    table = theirs.event_table.loc[curve.at]
    new = table["entrance"].where(table.index > 0, 0)  # those that join at a length are at risk past it
    assert curve.at_risk.tolist() == (table["at_risk"] - new).tolist()
    assert curve.ends.tolist() == table["observed"].tolist()
    # Their median is the first share at or below one half to the last bit; ours forgives its rounding.
    share = theirs.survival_function_.iloc[:, 0]
    assert curve.median == next(iter(share.index[share <= 0.5 + CLOSE]), None)


@pytest.mark.parametrize("seed", range(6))
def test_log_rank(seed: int) -> None:
    first, second = drawn(seed, late=False), drawn(100 + seed, late=False, worn=0.4, ties=60)
    columns = [[getattr(life, name) for life in lives] for name in ("ran", "ended") for lives in (first, second)]
    theirs, found = logrank_test(*columns), compare(first, second, names=("a", "b"))
    assert found.chi_square == pytest.approx(theirs.test_statistic, rel=CLOSE)
    assert found.p == pytest.approx(theirs.p_value, rel=CLOSE)


@pytest.mark.parametrize("seed", range(6))
def test_log_rank_with_delayed_entry(seed: int) -> None:
    """Their test takes none, but their tables do: Mantel's sums over those at risk, length by length."""
    both = drawn(seed), drawn(200 + seed, worn=0.4, ties=60)
    first, second = (
        survival_table_from_events(
            *[[getattr(life, name) for life in lives] for name in ("ran", "ended", "entered")]
        )
        for lives in both
    )
    at = sorted({life.ran for lives in both for life in lives if life.ended})
    excess = variance = 0.0
    for t in at:
        # Watched at t: all that joined before (or were new) less those gone before.
        risk = [
            table["entrance"][(table.index < t) | (table.index == 0)].sum()
            - table["removed"][table.index < t].sum()
            for table in (first, second)
        ]
        ends = [table["observed"].get(t, 0) for table in (first, second)]
        n, d = sum(risk), sum(ends)
        excess += ends[0] - d * risk[0] / n
        variance += d * risk[0] * risk[1] * (n - d) / (n * n * (n - 1)) if n > 1 else 0.0
    found = compare(*both, names=("a", "b"))
    assert found.z == pytest.approx(excess / math.sqrt(variance), rel=CLOSE)


def test_the_median_of_bearings_that_went_in_before_the_book_began() -> None:
    """Lives of exponential law, median 300 days, over ten years; a book that begins in the eighth sees the rest.

    The bearings that wore out before are in nobody's book. Without regard to that the median comes out far too
    long; with it, within three standard errors (1.44/sqrt(events) of it) of the truth.
    """
    rng = np.random.default_rng(6)
    fitted_on = rng.uniform(0, 3650, 3000)
    ran = rng.exponential(300 / math.log(2), 3000)
    began, today = 2700.0, 3650.0
    seen = [
        (min(out, today) - day, out <= today, max(0.0, began - day))
        for day, out in zip(fitted_on, fitted_on + ran, strict=True)
        if out > began
    ]
    told = survival([Life(length, worn, {}, entered) for length, worn, entered in seen]).median
    unaware = survival([Life(length, worn, {}) for length, worn, _ in seen]).median
    reach = 3 * 300 * 1.44 / math.sqrt(sum(worn for _, worn, _ in seen))
    assert told == pytest.approx(300, abs=reach)
    assert unaware is not None and unaware > 300 + 2 * reach
