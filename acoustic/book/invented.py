"""The invented workshop's year, written into a book."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import soundfile

from acoustic.book.asked import Asked
from acoustic.book.bikes import add_bike, all_bikes, bearings_of, fit_bearing, sitting, take_out
from acoustic.book.judging import listen_to, take_in
from acoustic.book.opening import Book
from acoustic.book.question import AskedBearing
from acoustic.book.records import Fitted, Judged, Visit
from acoustic.book.visits import add_visit
from acoustic.errors import InputError
from acoustic.model import Scene, SpeedRequest
from acoustic.plugin.registry import Registry
from acoustic.simulator import simulate
from acoustic.simulator.workshop import DESIGNATION, InventedVisit, invented_bearings, invented_visits

NAMED = AskedBearing(name=DESIGNATION)


def write_year(book: Book, registry: Registry, progress: Callable[[str], None]) -> int:
    """Write the invented workshop's year into an empty book; every spin is simulated, checked and kept.

    Parameters
    ----------
    book : Book
    registry : Registry
    progress : callable

    Returns
    -------
    int
        Visits written.

    Raises
    ------
    InputError
        The book is not empty.
    """
    with book.reading() as connection:
        if all_bikes(connection):
            raise InputError(
                f"the book {book.place} already holds bikes", hint="Give a new file: acoustic demo --book demo.db"
            )
    with book.writing() as connection:
        for one in invented_bearings():
            add_bike(connection, one.bike, notes="invented")
            fitted = Fitted(
                bike=one.bike,
                installed_on=one.on,
                designation=DESIGNATION,
                rows=one.rows,
                seal=one.seal,
                shell=one.shell,
                spindle_mm=25.0,
                use=one.use,
            )
            number = fit_bearing(connection, fitted).number
            if one.out is not None:
                take_out(connection, number, one.out, one.because)
    visits = invented_visits()
    for number, invented in enumerate(visits, 1):
        progress(f"visit {number} of {len(visits)}: {invented.bike}, {invented.kind}")
        judged = _judged(book, invented, registry)
        with book.writing() as connection:
            there = sitting(bearings_of(connection, invented.bike), invented.on)
            made = Visit(
                bike=invented.bike,
                bearing=there.uid if there else "",
                on_date=invented.on,
                kind=invented.kind,
                distance_km=invented.km,
                verdicts=(judged,),
            )
            add_visit(connection, made)
    return len(visits)


def _judged(book: Book, invented: InventedVisit, registry: Registry) -> Judged:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{invented.kind}-{invented.on}.flac"
        marks = path.with_suffix(".marks.csv")
        spin = simulate(invented.plan)
        soundfile.write(path, spin.samples, spin.sample_rate_hz)
        marks.write_text("\n".join(f"{mark:.3f}" for mark in spin.marks_s), encoding="utf-8")
        asked = Asked(bearing=NAMED, request=SpeedRequest(marks=marks), scene=Scene())
        return take_in(path, asked, listen_to(path, asked, registry, lambda _: None), book.files)
