"""How often the intervals of a trend hold the truth, and how often a straight trend shows a step: printed.

Run by hand: ``python tests/calibration/trend_laws.py [--trends 1000]``. Trends are straight, with visits some
weeks apart on days of their own and scatter as of two spins of one bearing (1.5 dB, see `acoustic.triage.side`):
normal, or with long tails (Student's t, three degrees of freedom, the same variance). What is printed:

- the interval of the slope holds the true one nine times in ten (`acoustic.trend.slope.NINE_IN_TEN`),
- the range of days holds the day on which the true line reaches the limit (`acoustic.trend.due`),
- a step's chance of `STEP_CHANCE` or less comes up as rarely as it says (`acoustic.trend.step`).
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from acoustic.trend.due import due_range
from acoustic.trend.points import Point
from acoustic.trend.slope import Trend, fit_trend
from acoustic.trend.step import STEP_CHANCE, Step, find_step

SCATTER_DB = 1.5
VISITS = (4, 6, 8, 12, 20)


@dataclass(frozen=True)
class Shares:
    """Of straight trends: how many were held by the slope's interval and the days' range, and showed a step."""

    slope_held: float
    day_held: float
    step_found: float | None


def straight(visits: int, rng: np.random.Generator, *, long_tailed: bool) -> tuple[list[Point], float, float]:
    """Visits along a straight line, its slope [dB/day], and the level it starts from [dB]."""
    days = np.cumsum(np.round(rng.uniform(14, 60, visits)))
    slope = rng.uniform(0.02, 0.1)
    noise = rng.standard_t(3, visits) / np.sqrt(3) if long_tailed else rng.standard_normal(visits)
    values = -30 + slope * days + SCATTER_DB * noise
    return [Point(float(day), float(value)) for day, value in zip(days, values, strict=True)], slope, -30.0


def shares(visits: int, trends: int, *, long_tailed: bool, seed: int = 7) -> Shares:
    """Count over trends of so many visits."""
    rng = np.random.default_rng([seed, visits, long_tailed])
    slopes, due, steps = [], [], []
    for _ in range(trends):
        points, slope, start_db = straight(visits, rng, long_tailed=long_tailed)
        trend = fit_trend(points)
        assert isinstance(trend, Trend)
        slopes.append(trend.per_day.low <= slope <= trend.per_day.high)
        last = points[-1].day
        limit = start_db + slope * last * rng.uniform(1.1, 2.0) + 3 * SCATTER_DB
        true_day = (limit - start_db) / slope
        found = due_range(trend, limit=limit, today=last)
        if found.state == "due" and found.earliest_day is not None:
            due.append(
                found.earliest_day <= true_day and (found.latest_day is None or true_day <= found.latest_day)
            )
        step = find_step(points)
        if isinstance(step, Step):
            steps.append(step.chance <= STEP_CHANCE)
    return Shares(float(np.mean(slopes)), float(np.mean(due)), float(np.mean(steps)) if steps else None)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trends", type=int, default=1000, help="of each kind")
    count = parser.parse_args().trends
    print(f"{'visits':>6}{'scatter':>12}{'slope held':>12}{'day held':>10}{'step found':>12}   of {count}")
    for visits in VISITS:
        for long_tailed in (False, True):
            found = shares(visits, count, long_tailed=long_tailed)
            step = "" if found.step_found is None else f"{found.step_found:.3f}"
            kind = "long tails" if long_tailed else "normal"
            print(f"{visits:>6}{kind:>12}{found.slope_held:>12.3f}{found.day_held:>10.3f}{step:>12}")


if __name__ == "__main__":
    main()
