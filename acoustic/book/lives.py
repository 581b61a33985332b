"""From bearings in the book to lives: how long each ran, since when it was watched, what tells it from others."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from typing import Any

import sqlalchemy as sa

from acoustic.bearings.catalogue import CatalogueRow, load_catalogue
from acoustic.bearings.names import settle
from acoustic.book.naming import steps
from acoustic.book.records import Fitted
from acoustic.book.tables import bikes, visits
from acoustic.errors import InputError
from acoustic.lifetimes.lives import Life, Measure

WORN = "worn"
ROWS = {1: "single row", 2: "double row"}


@dataclass(frozen=True, slots=True)
class Reading:
    """A day of a bike in the workshop, and the bike's own count of kilometres where it was written down."""

    bike: str
    day: date
    km: float | None


@dataclass(frozen=True, slots=True)
class Taken:
    """Lives, and what could not be taken into them.

    Attributes
    ----------
    lives : tuple of Life
    began : date or None
        Since when bearings are watched; None if each is from the day it went in.
    joined : int
        Lives of bearings that went in before.
    came_out : int
        Bearings that had come out by then: left out, since those that outlasted them would be missing.
    unknown : int
        Bearings whose kilometres are not on record.
    """

    lives: tuple[Life, ...]
    began: date | None = None
    joined: int = 0
    came_out: int = 0
    unknown: int = 0


def readings_of(connection: sa.Connection) -> tuple[Reading, ...]:
    """The days of all visits that count, with the kilometres; their verdicts are not read."""
    chosen = sa.select(bikes.c.name, visits.c.on_date, visits.c.distance_km)
    chosen = chosen.join(bikes, visits.c.bike == bikes.c.number).where(visits.c.removed_because.is_(None))
    return tuple(Reading(*row) for row in connection.execute(chosen.order_by(visits.c.on_date)))


def began_on(bearings: Iterable[Fitted], readings: Iterable[Reading]) -> date | None:
    """The day since when the book saw what came out: that of its first visit, or of a removal before.

    A book without visits does not tell: None.
    """
    days = [reading.day for reading in readings]
    return min([*days, *(one.removed_on for one in bearings if one.removed_on)]) if days else None


def lives(
    bearings: Iterable[Fitted],
    *,
    today: date,
    began: date | None = None,
    measure: Measure = "days",
    readings: Sequence[Reading] = (),
    ride_km: float = 1.0,
) -> Taken:
    """How long each bearing ran.

    Parameters
    ----------
    bearings : iterable of Fitted
    today : date
        What happened later is not looked at.
    began : date or None
        Bearings that went in before this day are watched from then on.
    measure : {'days', 'km', 'rides'}
    readings : sequence of Reading
        Kilometres of the bikes, for the measures that need them.
    ride_km : float
        Length of a usual ride [km], > 0; for rides.

    Returns
    -------
    Taken
        A life ended if the bearing came out because it was worn; else it only went out of sight.
    """
    every = tuple(_as_of(one, today) for one in bearings if one.installed_on <= today)
    began = began if any(began and one.installed_on < began for one in every) else None
    counts = _Counts(every, readings, 1.0 if measure == "km" else ride_km)
    found: list[Life] = []
    came_out = unknown = 0
    for one in every:
        if began and one.installed_on < began and (one.removed_on or today) <= began:
            came_out += 1
            continue
        span = _days(one, today, began) if measure == "days" else counts.span(one, today, began)
        if span is None:
            unknown += 1
            continue
        ran, entered = span
        if entered and entered >= ran:
            came_out += 1
            continue
        worn = one.removed_because.strip().casefold().startswith(WORN)
        found.append(Life(ran, one.removed_on is not None and worn, labels_of(one), entered))
    joined = sum(life.entered > 0 for life in found)
    return Taken(tuple(found), began, joined, came_out, unknown)


def _as_of(one: Fitted, today: date) -> Fitted:
    """A bearing as it was on a day: one that came out later still ran."""
    later = one.removed_on is not None and one.removed_on > today
    return replace(one, removed_on=None, removed_because="", removed_km=None) if later else one


def _days(one: Fitted, today: date, began: date | None) -> tuple[float, float]:
    """Days that a bearing ran, and those of them before the book began."""
    ran = ((one.removed_on or today) - one.installed_on).days
    return float(ran), float(min(ran, max(0, (began - one.installed_on).days)) if began else 0)


class _Counts:
    """The bikes' own counts of kilometres, day by day.

    Parameters
    ----------
    bearings : sequence of Fitted
    readings : sequence of Reading
    unit_km : float
        What lengths are counted in [km].
    """

    def __init__(self, bearings: Sequence[Fitted], readings: Sequence[Reading], unit_km: float) -> None:
        self._unit_km = unit_km
        known: dict[str, dict[date, float]] = {}
        for reading in readings:
            if reading.km is not None:
                known.setdefault(reading.bike, {})[reading.day] = reading.km
        for one in bearings:
            for day, km in ((one.installed_on, one.installed_km), (one.removed_on, one.removed_km)):
                if day is not None and km is not None:
                    known.setdefault(one.bike, {})[day] = km
        self._known = {bike: sorted(days.items()) for bike, days in known.items()}

    def span(self, one: Fitted, today: date, began: date | None) -> tuple[float, float] | None:
        """How far a bearing ran, and how far before the book began; None where a count is missing or falls."""
        known = self._known.get(one.bike, [])
        start_km = _at(known, one.installed_on) if one.installed_km is None else one.installed_km
        if one.removed_on is None:
            last = [km for day, km in known if one.installed_on <= day <= today]
            end_km = last[-1] if last else None
        else:
            end_km = _at(known, one.removed_on) if one.removed_km is None else one.removed_km
        if start_km is None or end_km is None or end_km < start_km:
            return None
        entered_km = 0.0
        if began is not None and one.installed_on < began:
            later = [km for day, km in known if day >= began]
            seen_km = _at(known, began)
            seen_km = seen_km if seen_km is not None else later[0] if later else end_km
            entered_km = min(max(0.0, seen_km - start_km), end_km - start_km)
        return (end_km - start_km) / self._unit_km, entered_km / self._unit_km


def _at(known: Sequence[tuple[date, float]], day: date) -> float | None:
    """The count on a day [km], evenly between two readings; None before the first and after the last."""
    place = bisect_left(known, day, key=lambda reading: reading[0])
    if place < len(known) and known[place][0] == day:
        return known[place][1]
    if place in (0, len(known)):
        return None
    (first, low_km), (second, high_km) = known[place - 1], known[place]
    return low_km + (high_km - low_km) * (day - first).days / (second - first).days


def labels_of(fitted: Fitted) -> dict[str, str]:
    """The labels of a bearing; those that neither book nor catalogue knows are left out."""
    name = settled(fitted.designation)
    listed = _listed(name)
    rows = fitted.rows or (None if listed is None else listed.rows)
    words = {
        "designation": name,
        "kind": "" if listed is None else listed.kind,
        "shell": fitted.shell,
        "shell-width": "" if fitted.shell_width_mm is None else f"{fitted.shell_width_mm:g} mm",
        "use": fitted.use,
        "seal": fitted.seal,
        "side": fitted.side,
        "rows": "" if rows is None else ROWS[rows],
        "spindle": "" if fitted.spindle_mm is None else f"{fitted.spindle_mm:g} mm",
        "supplier": fitted.supplier,
        "lot": fitted.lot,
    }
    return {name: word.strip() for name, word in words.items() if word.strip()}


@cache
def _catalogue() -> tuple[CatalogueRow, ...]:
    """The program's own catalogue, read once: reading takes longer than all the lives."""
    return load_catalogue()


@cache
def settled(designation: str) -> str:
    """The catalogue's name for a bearing, however it was written; what the catalogue does not know stays."""
    try:
        return settle(_catalogue(), designation).designation if designation.strip() else ""
    except InputError:
        return designation


@cache
def _listed(designation: str) -> CatalogueRow | None:
    """The catalogue's row of a settled name; None where it does not know it."""
    return next((row for row in _catalogue() if row.designation == designation), None)


def matching(found: Sequence[Life], wanted: Mapping[str, str]) -> tuple[Life, ...]:
    """The lives that carry all the labels wanted, however they are written.

    Raises
    ------
    InputError
        None does.
    """
    asked = {name: _folded(name, word) for name, word in wanted.items()}
    kept = tuple(
        life
        for life in found
        if all(_folded(name, life.labels.get(name, "")) == word for name, word in asked.items())
    )
    if kept:
        return kept
    if not wanted:
        raise InputError(
            "the book has no bearing whose life could be counted",
            hint=steps(("Add bearings with", "acoustic bike fit NAME"), ("List them with", "acoustic bike list")),
        )
    told = " and ".join(f"{name} {word}" for name, word in wanted.items())
    there = [f"{name}: {', '.join(values) or 'none'}" for name, values in _values(found, wanted).items()]
    raise InputError(f"the book has no bearing with {told}", hint=f"On record are {'; '.join(there)}.")


def _values(found: Sequence[Life], wanted: Iterable[str]) -> dict[str, list[Any]]:
    return {name: sorted({life.labels[name] for life in found if name in life.labels}) for name in wanted}


def _folded(name: str, word: str) -> str:
    """One spelling: without case, spaces, hyphens and the unit; a bearing by its settled name, rows by number."""
    text = settled(word.strip()) if name == "designation" else word
    text = re.sub(r"[\s\-_]", "", text).casefold()
    text = re.sub(r"(?<=\d)mm$", "", text.removesuffix("spindle"))
    return {"1": "singlerow", "2": "doublerow"}.get(text, text) if name == "rows" else text
