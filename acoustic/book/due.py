"""What falls due over all bikes of the book: by the grade of the last visit, or by the trend of what was found."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from acoustic.book.records import Fitted, Visit
from acoustic.book.series import all_series
from acoustic.trend.series import NOUN, Series
from acoustic.trend.wear import FEWEST_VISITS

By = Literal["last visit", "trend"]
SOONEST = -1.0  # before any day: what the last visit already asks for


@dataclass(frozen=True, slots=True, kw_only=True)
class DueBike:
    """A bike's bearing of which something falls due.

    Attributes
    ----------
    bike, next_grade : str
        What is due, as a noun.
    by : {'last visit', 'trend'}
        Whether the last visit's grade asks for it already, or the trend says when.
    last_visit : date
    series : Series or None
        The one that is due soonest; None by the last visit.
    """

    bike: str
    next_grade: str
    by: By
    last_visit: date
    series: Series | None = None

    @property
    def order(self) -> tuple[float, float, str]:
        """Soonest first: by the day that the range begins on, then the likeliest."""
        due = None if self.series is None else self.series.result.due
        if due is None or due.earliest is None:
            return SOONEST, SOONEST, self.bike
        return due.earliest, due.likeliest or float("inf"), self.bike


@dataclass(frozen=True, slots=True, kw_only=True)
class DueList:
    """All bikes looked at.

    Attributes
    ----------
    due : tuple of DueBike
        Soonest first.
    later : int
        Bikes with a range that begins after what was asked for.
    not_rising, too_few : tuple of str
        Bikes whose last visit asks for nothing: nothing is shown to rise, or too few visits tell.
    """

    due: tuple[DueBike, ...]
    later: int
    not_rising: tuple[str, ...]
    too_few: tuple[str, ...]


def due_list(
    visits: Iterable[Visit], bearings: Iterable[Fitted], today: date, *, within_days: float | None = None
) -> DueList:
    """List what falls due, soonest first.

    Parameters
    ----------
    visits : iterable of Visit
        Of all bikes, oldest first.
    bearings : iterable of Fitted
    today : date
    within_days : float or None
        Leave out what is due later than so many days from today, by the beginning of its range.

    Returns
    -------
    DueList
        Without the bikes whose bearings all came out: nothing runs there.
    """
    of_bike: dict[str, list[Visit]] = defaultdict(list)
    fitted: dict[str, list[Fitted]] = defaultdict(list)
    for visit in visits:
        of_bike[visit.bike].append(visit)
    for one in bearings:
        fitted[one.bike].append(one)
    found: list[DueBike] = []
    still: dict[bool, list[str]] = {True: [], False: []}
    for bike, each in sorted(of_bike.items()):
        heard = [visit for visit in each if visit.verdicts and visit.kind != "free"]
        if not heard or (fitted[bike] and all(one.removed_on is not None for one in fitted[bike])):
            continue
        due, told = _of_bike(bike, heard, each, fitted[bike], today)
        if due is None:
            still[told].append(bike)
        else:
            found.append(due)
    last = float("inf") if within_days is None else today.toordinal() + within_days
    kept = sorted((one for one in found if one.order[0] <= last), key=lambda one: one.order)
    return DueList(
        due=tuple(kept),
        later=len(found) - len(kept),
        not_rising=tuple(still[True]),
        too_few=tuple(still[False]),
    )


def _of_bike(
    bike: str, heard: Sequence[Visit], each: Sequence[Visit], bearings: Sequence[Fitted], today: date
) -> tuple[DueBike | None, bool]:
    """What is due of one bike, if anything; and whether its visits can tell a course at all."""
    asked = _asked_for(heard[-1], bearings)
    if asked:
        return DueBike(bike=bike, next_grade=asked, by="last visit", last_visit=heard[-1].on_date), True
    series = all_series(each, bearings, None, today, kilometres=False)
    states = [one.result.due.state for one in series if one.result.due is not None]
    rising = [
        DueBike(bike=bike, next_grade=one.next_grade, by="trend", last_visit=heard[-1].on_date, series=one)
        for one in series
        if one.result.due is not None and one.result.due.state in ("due", "already there")
    ]
    # A clean bearing of which nothing was ever found has no series; that it does not rise is known then.
    enough = "not rising" in states or len({visit.on_date for visit in heard}) >= FEWEST_VISITS
    return min(rising, key=lambda one: one.order, default=None), enough


def _asked_for(last: Visit, bearings: Sequence[Fitted]) -> str:
    """What the last visit's grade asks for, unless it was done then, or a bearing went in since."""
    done_since = last.done != "nothing" or any(one.installed_on > last.on_date for one in bearings)
    grades = {judged.grade for judged in last.verdicts}
    return "" if done_since else next((NOUN[grade] for grade in ("replace", "service") if grade in grades), "")
