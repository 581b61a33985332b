"""How often the due range holds the truth, and how often flat courses get a date or a step is told falsely.

Run by hand: ``python tests/calibration/trend_laws.py [--courses 500] [--seed 1]``; it prints. Every course has
0 to 8 clean visits, then 4 to 10 worn ones, 14 to 60 days apart; the scatter is 1.5 to 3 dB, of independent
errors or of errors of which neighbours are correlated by 0.6 (autoregressive, as a phone or a season that stays
for some visits makes them). Damage starts in three ways: from the faintest value that is told, from a clean
level above it, or at once at a level of its own. From there it rises straight, or accelerating with a power of
1.3 to 2.2, and has come 0.4 to 0.95 of the way to the limit at the last visit, which is today. Flat courses
stay at any level that is no new bearing yet.

What is counted is what people are told: `due_range` and `find_step`. Ranges are not told where a rise is not
shown; the column 'told' says how often they are. The last two: how often an onset was told, and held between
the right visits. Seeds from 1000 on are for reporting alone: nothing was set by them.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from acoustic.trend.due import due_range
from acoustic.trend.points import Point
from acoustic.trend.step import Step, find_step
from acoustic.trend.wear import FAINTEST_DB, Wear, weigh

LIMIT_DB = -10.0
STARTS = ("faintest", "level", "at once")
COURSES = ("straight", "accelerating", "flat")
CORRELATIONS = (0.0, 0.6)


@dataclass(frozen=True)
class Counted:
    """Of so many courses: how many got a due range, how many of these held the truth or missed it, and steps told.

    `early`: the truth lies before the range; `late`: after it. `onsets`: an onset was told; `onsets_held`: between
    the right visits.
    """

    courses: int
    told: int
    held: int
    early: int
    late: int
    steps: int
    onsets: int
    onsets_held: int

    @property
    def held_share(self) -> float:
        """Share of the ranges told that hold the truth."""
        return self.held / max(self.told, 1)

    def __add__(self, other: Counted) -> Counted:
        return Counted(*(getattr(self, name) + getattr(other, name) for name in self.__dataclass_fields__))


def one_course(
    rng: np.random.Generator, course: str, start: str, correlation: float
) -> tuple[list[Point], float, int]:
    """Visits, the day on which the true course reaches the limit (infinity: never), and how many are clean."""
    clean, worn = int(rng.integers(0, 9)), int(rng.integers(4, 11))
    days = np.cumsum(np.round(rng.uniform(14, 60, clean + worn)))
    onset_day = days[clean] - (rng.uniform(0, 1) * (days[clean] - days[clean - 1]) if clean else 0.0)
    base_db = {"faintest": FAINTEST_DB, "level": rng.uniform(-30, -24), "at once": rng.uniform(-24, -16)}[start]
    way, power = rng.uniform(0.4, 0.95), rng.uniform(1.3, 2.2) if course == "accelerating" else 1.0
    spread_db = rng.uniform(1.5, 3.0)
    if course == "flat":
        level_db = base_db if start == "at once" else rng.uniform(-30, -14)
        true_db, truth_day = np.full(days.size, level_db), np.inf
    else:
        worn_days = days[-1] - onset_day
        share = np.maximum(days - onset_day, 0) / worn_days
        true_db = base_db + (LIMIT_DB - base_db) * way * share**power
        truth_day = onset_day + worn_days * way ** (-1 / power)
    values = np.maximum(true_db + spread_db * errors(rng, days.size, correlation), FAINTEST_DB)
    if start == "at once":
        values[:clean] = FAINTEST_DB
    return (
        [Point(float(day), float(value)) for day, value in zip(days, values, strict=True)],
        float(truth_day),
        clean,
    )


def errors(rng: np.random.Generator, count: int, correlation: float) -> np.ndarray:
    """Normal errors of variance 1, neighbours correlated."""
    fresh = rng.standard_normal(count)
    for place in range(1, count):
        fresh[place] = correlation * fresh[place - 1] + np.sqrt(1 - correlation**2) * fresh[place]
    return fresh


def count(course: str, start: str, correlation: float, courses: int, seed: int) -> Counted:
    """Judge so many courses of one kind as of their last visit's day."""
    rng = np.random.default_rng(
        [seed, COURSES.index(course), STARTS.index(start), CORRELATIONS.index(correlation)]
    )
    told = held = early = late = steps = onsets = onsets_held = 0
    for _ in range(courses):
        points, truth_day, clean = one_course(rng, course, start, correlation)
        wear, today = weigh(points), points[-1].day
        assert isinstance(wear, Wear)
        step = find_step(wear)
        steps += isinstance(step, Step) and step.found
        if wear.onset is not None:
            onsets += 1
            onsets_held += wear.onset.after < clean <= wear.onset.before
        due = due_range(wear, limit=LIMIT_DB, today=today)
        if due.state not in ("due", "already there"):
            continue
        told += 1
        soonest = today if due.earliest is None else due.earliest
        longest = today if due.state == "already there" else np.inf if due.latest is None else due.latest
        truth = max(truth_day, today)  # a limit passed before today is due now
        early += truth < soonest
        late += truth > longest
        held += soonest <= truth <= longest
    return Counted(courses, told, held, early, late, steps, onsets, onsets_held)


def count_each(course: str, correlation: float, courses: int, seed: int) -> dict[str, Counted]:
    """The three ways in which damage starts, as many courses of each."""
    shares = [courses // 3 + (number < courses % 3) for number in range(3)]
    return {
        start: count(course, start, correlation, share, seed) for start, share in zip(STARTS, shares, strict=True)
    }


def count_all(course: str, correlation: float, courses: int, seed: int) -> Counted:
    """All of them together."""
    return sum(count_each(course, correlation, courses, seed).values(), start=Counted(*[0] * 8))


def main() -> None:
    """Print the table, for each way that damage starts and for all of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--courses", type=int, default=500, help="of each kind, in all ways that damage starts")
    parser.add_argument("--seed", type=int, default=1, help="1000 and up: for reporting alone")
    asked = parser.parse_args()
    names = ("told", "held", "before", "after", "steps", "onset", "held")
    print(f"{'course':<14}{'errors':>12}{'starts':>10}" + "".join(f"{name:>8}" for name in names))
    for course in COURSES:
        for correlation in CORRELATIONS:
            each = count_each(course, correlation, asked.courses, asked.seed)
            for start, found in each.items():
                print(_line(course, correlation, start, found))
            total = sum(each.values(), start=Counted(*[0] * 8))
            print(_line(course, correlation, "all", total), flush=True)


def _line(course: str, correlation: float, start: str, found: Counted) -> str:
    kind = f"alike {correlation:g}" if correlation else "independent"
    told = found.told / found.courses
    shares = [found.held_share, found.early / max(found.told, 1), found.late / max(found.told, 1)]
    said = ["-"] * 3 if course == "flat" else [f"{share:.3f}" for share in shares]
    line = f"{course:<14}{kind:>12}{start:>10}{told:>8.3f}{said[0]:>8}{said[1]:>8}{said[2]:>8}"
    onset = "-" if course == "flat" else f"{found.onsets_held / max(found.onsets, 1):.3f}"
    return f"{line}{found.steps / found.courses:>8.3f}{found.onsets / found.courses:>8.3f}{onset:>8}"


if __name__ == "__main__":
    main()
