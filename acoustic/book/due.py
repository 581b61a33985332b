"""What falls due over all bikes of the book: by the grade of the last visit, or by the trend of what was found."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from acoustic.book.records import Fitted, Visit
from acoustic.book.series import all_series, bearings_until, heard_of, visits_until
from acoustic.install.spins import EASE_IT, FREE_IT, SEND_BACK
from acoustic.install.standing import Standing, where_it_stands
from acoustic.trend.series import NOUN, Series
from acoustic.trend.wear import FEWEST_VISITS

By = Literal["last visit", "install", "trend"]
SOONEST = -1.0  # before any day: what the last visit already asks for
HEAR_AGAIN = timedelta(weeks=4)  # as the table's advice 'hear_again' tells it
WORK_LEFT = {FREE_IT, SEND_BACK, EASE_IT}  # an install's advice with which it is not finished


@dataclass(frozen=True, slots=True, kw_only=True)
class DueBike:
    """A bike's bearing of which something falls due.

    Attributes
    ----------
    bike, next_grade : str
        What is due, as a noun.
    by : {'last visit', 'install', 'trend'}
        Whether the last visit's grade asks for it already, a fresh install is not finished, or the trend tells it.
    last_visit : date
    serviced : bool
        A service was done since, which does not answer what the grade asks for.
    standing : Standing or None
        Of the install, which says what to do first.
    series : Series or None
        The one that is due soonest; None by the last visit.
    """

    bike: str
    next_grade: str
    by: By
    last_visit: date
    serviced: bool = False
    standing: Standing | None = None
    series: Series | None = None

    @property
    def order(self) -> tuple[float, float, str]:
        """Soonest first: by the day that the range begins on, then the likeliest."""
        due = None if self.series is None else self.series.result.due
        if due is None or due.earliest is None:
            return SOONEST, SOONEST, self.bike
        return due.earliest, due.likeliest or float("inf"), self.bike


@dataclass(frozen=True, slots=True, kw_only=True)
class HearAgain:
    """A bike of which nothing is due that is to be recorded again.

    Attributes
    ----------
    bike : str
    on : date
        When; since when, where it is past.
    last_visit : date
    watched : bool
        The last visit's grade said so, for that day; else the trend does.
    series : Series or None
        What likely rises, and is not yet sure.
    """

    bike: str
    on: date
    last_visit: date
    watched: bool
    series: Series | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DueList:
    """All bikes looked at.

    Attributes
    ----------
    due : tuple of DueBike
        Soonest first.
    hear_again : tuple of HearAgain
        Soonest first.
    later : tuple of str
        Bikes with a range or a recording that begins after what was asked for.
    not_rising, too_few : tuple of str
        Bikes whose last visit asks for nothing: nothing is shown to rise, or too few visits tell.
    """

    due: tuple[DueBike, ...]
    hear_again: tuple[HearAgain, ...]
    later: tuple[str, ...]
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
        What is in the book of later is left out.
    within_days : float or None
        Leave out what is due later than so many days from today, by the beginning of its range.

    Returns
    -------
    DueList
        Without the bikes whose bearings all came out: nothing runs there.
    """
    of_bike: dict[str, list[Visit]] = defaultdict(list)
    fitted: dict[str, list[Fitted]] = defaultdict(list)
    for visit in visits_until(visits, today):
        of_bike[visit.bike].append(visit)
    for one in bearings_until(bearings, today):
        fitted[one.bike].append(one)
    due: list[DueBike] = []
    again: list[HearAgain] = []
    still: dict[bool, list[str]] = {True: [], False: []}
    for bike, each in sorted(of_bike.items()):
        heard = [visit for visit in each if visit.verdicts and visit.kind != "free"]
        if not heard or (fitted[bike] and all(one.removed_on is not None for one in fitted[bike])):
            continue
        found, told = _of_bike(bike, heard, each, fitted[bike], today)
        if isinstance(found, DueBike):
            due.append(found)
        elif isinstance(found, HearAgain):
            again.append(found)
        else:
            still[told].append(bike)
    last = float("inf") if within_days is None else today.toordinal() + within_days
    later = [one.bike for one in due if one.order[0] > last]
    later += [one.bike for one in again if one.on.toordinal() > last]
    return DueList(
        due=tuple(sorted((one for one in due if one.bike not in later), key=lambda one: one.order)),
        hear_again=tuple(sorted((one for one in again if one.bike not in later), key=lambda one: one.on)),
        later=tuple(sorted(later)),
        not_rising=tuple(still[True]),
        too_few=tuple(still[False]),
    )


def _of_bike(
    bike: str, heard: Sequence[Visit], each: Sequence[Visit], bearings: Sequence[Fitted], today: date
) -> tuple[DueBike | HearAgain | None, bool]:
    """What is due of one bike, if anything; and whether its visits can tell a course at all."""
    last = heard[-1]
    asked = _asked_for(last, each, bearings)
    if asked is not None:
        return asked, True
    series = all_series(each, bearings, None, today, kilometres=False)
    states = [one.result.due.state for one in series if one.result.due is not None]
    rising = [
        DueBike(bike=bike, next_grade=one.next_grade, by="trend", last_visit=last.on_date, series=one)
        for one in series
        if one.result.due is not None and one.result.due.state in ("due", "already there")
    ]
    # A clean bearing of which nothing was ever found has no series; that it does not rise is known then.
    enough = "not rising" in states or len({visit.on_date for visit in heard}) >= FEWEST_VISITS
    if rising:
        return min(rising, key=lambda one: one.order), enough
    return _hear_again(last, series, _works_since(last, each, bearings), today), enough


def _hear_again(last: Visit, series: Sequence[Series], done: set[str], today: date) -> HearAgain | None:
    """When to record it again: as a watched bearing's grade said where that day is past, else by the trend."""
    likely = [one for one in series if one.result.due is not None and one.result.due.state == "likely rising"]
    first = min(likely, key=lambda one: one.result.next_visit or 0.0, default=None)
    on = last.on_date + HEAR_AGAIN
    if "watch" in _grades(last) and not done and on < today:
        return HearAgain(bike=last.bike, on=on, last_visit=last.on_date, watched=True, series=first)
    if first is None or first.result.next_visit is None:
        return None
    on = date.fromordinal(int(first.result.next_visit))
    return HearAgain(bike=last.bike, on=on, last_visit=last.on_date, watched=False, series=first)


def _asked_for(last: Visit, each: Sequence[Visit], bearings: Sequence[Fitted]) -> DueBike | None:
    """What the last visit asks for, unless it was done then or since; a fresh install's next step comes first."""
    done, grades = _works_since(last, each, bearings), _grades(last)
    grade = next((grade for grade in ("replace", "service") if grade in grades), "")
    # A worn raceway stays worn in fresh grease: only a new bearing answers that.
    if "replacement" in done or ("service" in done and grade != "replace"):
        return None
    found = None if last.kind == "check" else where_it_stands(heard_of(each), ())
    if found is not None and found.before_grade and (grade or WORK_LEFT.intersection(found.told.advice)):
        return DueBike(
            bike=last.bike, next_grade="the install", by="install", last_visit=last.on_date, standing=found
        )
    if not grade:
        return None
    return DueBike(
        bike=last.bike,
        next_grade=NOUN[grade],
        by="last visit",
        last_visit=last.on_date,
        serviced="service" in done,
    )


def _works_since(last: Visit, each: Sequence[Visit], bearings: Sequence[Fitted]) -> set[str]:
    """The works done after a visit's recording: then, or at a later visit."""
    done = {visit.done for visit in each[each.index(last) :]} - {"nothing"}
    return done | {"replacement" for one in bearings if one.installed_on > last.on_date}


def _grades(visit: Visit) -> set[str]:
    return {judged.grade for judged in visit.verdicts}
