"""Searching the bearing catalogue, and settling which bearing is meant."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from acoustic.bearings.catalogue import BallSet, CatalogueRow, Fit, load_catalogue, plain
from acoustic.bearings.names import plain_of, row_named, rows_of_size
from acoustic.dsp.geometry import BearingGeometry, Ring
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.model import Bearing

__all__ = [
    "BallSet",
    "CatalogueRow",
    "Fit",
    "find",
    "load_catalogue",
    "nothing_found",
    "resolve_bearing",
    "search",
]

_NAME_HINT = "See `acoustic bearings`, or give --balls, --ball-diameter and --pitch-diameter in place of a name."
_BEARING_HINT = (
    "Name it with --bearing (see `acoustic bearings`), or give --balls, --ball-diameter and --pitch-diameter"
)
_NUMBER = r"(\d+(?:\.\d+)?)\s*"
_SPINDLE = re.compile(rf"{_NUMBER}(?:mm\s*)?(?:spindle|axle)|(?:spindle|axle)\s*{_NUMBER}(?:mm)?")
_WORD = re.compile(rf"{_NUMBER}(?:(mm|in|tpi)\b)?|[a-z]+")
_FILLERS = frozenset(
    {"shell", "x", "with", "and", "of", "for", "in", "a", "the", "on", "bb", "bottom", "bracket", "bearing"}
    | {"spindle", "axle", "wide", "width", "mm"}
)
# What the trade says for the catalogue's own words.
_SAME = {"thread": "threaded", "screwed": "threaded", "pressed": "pres", "tapered": "taper"}
_SAME |= {"dual": "double", "twin": "double", "two": "double", "one": "single", "max": "full"}
_ROWS = {1: "single row", 2: "double row"}
# Spindles go by rounded names: 28.99 mm is called 29 mm.
_SPINDLE_TOLERANCE_MM = 0.05
# Where nobody counted. Balls over the most that fit round the circle, in the catalogue's rows: half lie below
# 0.57, nine in ten from 0.50 to 0.78.
FEWEST_BALLS, MOST_BALLS = 7, 32
# Middle and spread of that half, and a floor (judgement) so that no count is ruled out by its fill alone.
USUAL_FILL, FILL_SPREAD, LEAST_NATS = 0.57, 0.07, -6.0


def _words(text: str) -> set[str]:
    """Split into words and numbers with their unit: "41mm", "press", "fit"."""
    text = text.lower().replace("×", " x ").replace("pressfit", "press fit")
    text = re.sub(r"\b[mt](\d+)", r"\1 mm ", text)  # a thread of M47, or T47, is 47 mm wide
    text = re.sub(r"\b([12])[ -]rows?\b", lambda match: _ROWS[int(match[1])], text)
    words = {f"{m[1]}{m[2] or ''}" if m[1] else m[0].removesuffix("s") for m in _WORD.finditer(text)}
    return {_SAME.get(word, word) for word in words - _FILLERS}


def _is_used(row: CatalogueRow, wanted: set[str], spindle_mm: float | None) -> bool:
    """Tell whether one of the row's uses answers every word, and the spindle."""
    of_row = _words(f"{row.kind} {_ROWS[row.rows]}")
    for fit in row.fits:
        words = of_row | _words(" ".join((fit.place, *fit.also)))
        words |= {f"{width_mm:g}mm" for width_mm in fit.widths_mm}
        if fit.spindle_mm is not None:
            words |= {f"{fit.spindle_mm:g}mm", f"{fit.spindle_mm:.0f}mm"}
        words |= {re.sub(r"(?<=\d)(mm|in|tpi)$", "", word) for word in words}  # units may be left out
        on_spindle = spindle_mm is None or (
            fit.spindle_mm is not None and abs(fit.spindle_mm - spindle_mm) <= _SPINDLE_TOLERANCE_MM
        )
        if wanted <= words and on_spindle:
            return True
    return False


def search(catalogue: Sequence[CatalogueRow], text: str) -> tuple[CatalogueRow, ...]:
    """Find the rows that a text may mean.

    Parameters
    ----------
    catalogue : sequence of CatalogueRow
    text : str
        A size ("25x37x7"), the start of a designation or alias, with or without
        seal suffix ("6805-2RS"), or words of shell, its width, spindle, part and rows
        ("press-fit 86.5 mm, 24 mm spindle", "square taper", "threaded double row").
        Empty for all rows.

    Returns
    -------
    tuple of CatalogueRow
        In the catalogue's order; empty if nothing answers.
    """
    if not text.strip():
        return tuple(catalogue)
    rows = rows_of_size(catalogue, text) or ()
    named = row_named(catalogue, text)
    start = plain(text) if named is None else min(map(plain, named[0].names), key=len)
    if not rows and start:
        rows = tuple(row for row in catalogue if any(plain(name).startswith(start) for name in row.names))
    if rows:
        return rows
    spindle = _SPINDLE.search(text.lower())
    spindle_mm = float(spindle[1] or spindle[2]) if spindle else None
    wanted = _words(_SPINDLE.sub(" ", text.lower()))
    if not wanted and spindle_mm is None:
        return ()
    return tuple(row for row in catalogue if _is_used(row, wanted, spindle_mm))


def nothing_found(catalogue: Sequence[CatalogueRow], text: str) -> InputError:
    """Build the error for a text that no row answers, with the nearest names in it."""
    spellings = {plain(name): row.designation for row in catalogue for name in row.names}
    near = dict.fromkeys(spellings[match] for match in get_close_matches(plain(text), spellings, n=4))
    nearest = f"; the nearest names are {', '.join(near)}" if near else ""
    rings = _same_rings(catalogue, text)
    if rings:
        nearest = f"; {' and '.join(rings)} {'has' if len(rings) == 1 else 'have'} its rings at another width"
        hint = "The width changes no rhythm: name that one to judge the sound, and measure the width for the fit."
        return InputError(f"no bearing in the catalogue matches '{text}'{nearest}", hint=hint)
    return InputError(f"no bearing in the catalogue matches '{text}'{nearest}", hint=_NAME_HINT)


def _same_rings(catalogue: Sequence[CatalogueRow], text: str) -> list[str]:
    """Bearings of a size's bore and outside, at any width; none where the text is no size."""
    if rows_of_size(catalogue, text) is None:
        return []
    bore_mm, outside_mm, _ = map(float, re.findall(r"\d+(?:\.\d+)?", text))
    return [row.designation for row in catalogue if (row.bore_mm, row.outside_mm) == (bore_mm, outside_mm)]


def find(catalogue: Sequence[CatalogueRow], name: str) -> CatalogueRow:
    """Find the one row that a name or a full size means.

    Parameters
    ----------
    catalogue : sequence of CatalogueRow
    name : str
        A designation or alias, with or without seal suffix, or a size.

    Raises
    ------
    InputError
        No row answers, or several do.
    """
    named = row_named(catalogue, name)
    if named is not None:
        return named[0]
    rows = rows_of_size(catalogue, name)
    if rows is None:
        rows = search(catalogue, name) if name.strip() else ()
    elif len(plain_of(rows)) == 1:
        return plain_of(rows)[0]
    if not rows:
        raise nothing_found(catalogue, name)
    listed = ", ".join(row.designation for row in rows)
    found = f"'{name}' names no single bearing; it may mean {listed}"
    raise InputError(found, hint="Give its designation in full.")


def resolve_bearing(
    *,
    name: str | None = None,
    balls: int | None = None,
    ball_diameter_mm: float | None = None,
    pitch_diameter_mm: float | None = None,
    contact_angle_deg: float | None = None,
    turning: Ring = "inner",
    rows: int | None = None,
    catalogue: Path | None = None,
) -> Bearing:
    """Settle which bearing is meant, by name, by numbers, or by a name with some numbers put right.

    Parameters
    ----------
    name : str or None
        As `find` takes it.
    balls : int or None
        Ball count of one row; with a name, in place of the catalogue's counts.
    ball_diameter_mm, pitch_diameter_mm : float or None
        Diameters [mm]; with a name, in place of the catalogue's.
    contact_angle_deg : float or None
        Contact angle [deg]; the catalogue's, or 0 without a name, where None.
    turning : {'inner', 'outer'}
        The ring that turns.
    rows : {1, 2} or None
        Rows of balls; the catalogue's, or 1 without a name, where None.
    catalogue : Path or None
        A user's own catalogue, as `load_catalogue` takes it.

    Returns
    -------
    Bearing
        With a candidate for every ball count it may have, likeliest first.

    Raises
    ------
    InputError
        Nothing or too little was given, the name is not known, or no such
        bearing can be built.
    """
    from acoustic.model import Bearing  # brings numpy, which listing the catalogue does not need

    if rows not in (None, 1, 2):
        raise InputError(f"1 or 2 rows of balls are needed, got {rows}", hint="Use --rows 1 or --rows 2")
    row = None if name is None else find(load_catalogue(catalogue), name)
    if row is None:
        _check_complete(balls, ball_diameter_mm, pitch_diameter_mm)
    # Numbers that are still missing here are the row's to give.
    pitch_mm = pitch_diameter_mm if row is None or pitch_diameter_mm is not None else row.pitch_diameter_mm
    angle_deg = contact_angle_deg if row is None or contact_angle_deg is not None else row.contact_angle_deg
    try:
        candidates = [
            BearingGeometry(
                balls=ball_set.balls,
                ball_diameter_mm=ball_set.ball_diameter_mm,
                pitch_diameter_mm=pitch_mm or 0.0,
                contact_angle_deg=angle_deg or 0.0,
                turning=turning,
            )
            for ball_set in _ball_sets(row, balls, ball_diameter_mm, pitch_mm)
        ]
    except ValueError as error:
        hint = "Check the numbers given; `acoustic bearings` shows those of common bearings"
        raise InputError(f"no such bearing can be built: {error}", hint=hint) from error
    nats: tuple[float, ...] = ()
    if row is None and balls is None:
        # Likeliest first, by how full bearings usually are.
        candidates.sort(key=_count_nats, reverse=True)
        nats = tuple(_count_nats(geometry) for geometry in candidates)
    changed = any(value is not None for value in (ball_diameter_mm, pitch_diameter_mm, contact_angle_deg))
    source = "as given" if row is None else row.source
    return Bearing(
        designation="as given" if row is None else row.designation,
        candidates=tuple(dict.fromkeys(candidates)),
        balls_source="given" if balls is not None else "catalogue",
        source=f"{source}; some numbers as given" if row and (changed or balls is not None) else source,
        rows=rows or (1 if row is None else row.rows),
        count_nats=nats,
    )


def _count_nats(geometry: BearingGeometry) -> float:
    """What speaks for a ball count before the sound is judged: how full the circle is in other bearings."""
    fill = geometry.balls / _most_balls(geometry.ball_diameter_mm, geometry.pitch_diameter_mm)
    return max(LEAST_NATS, -0.5 * ((fill - USUAL_FILL) / FILL_SPREAD) ** 2)


def _most_balls(ball_mm: float, pitch_mm: float) -> float:
    """Balls that touch each other all round the circle."""
    return math.pi / math.asin(ball_mm / pitch_mm)


def _check_complete(balls: int | None, ball_mm: float | None, pitch_mm: float | None) -> None:
    """Refuse a bearing without a name and without both diameters."""
    options = {"--ball-diameter": ball_mm, "--pitch-diameter": pitch_mm}
    missing = " and ".join(option for option, value in options.items() if value is None)
    if balls is None and all(value is None for value in options.values()):
        raise InputError("no bearing was given", hint=_BEARING_HINT)
    if missing:
        found = f"without --bearing both {' and '.join(options)} are needed; missing: {missing}"
        raise InputError(found, hint=f"Add {missing}, or name the bearing with --bearing")


def _ball_sets(
    row: CatalogueRow | None, balls: int | None, diameter_mm: float | None, pitch_mm: float | None
) -> Sequence[BallSet]:
    """Choose counts and diameters: what was given first, what the row has otherwise."""
    if row is None:
        if balls is not None:
            return [BallSet(balls, diameter_mm or 0.0)]
        if not 0 < (diameter_mm or 0.0) < (pitch_mm or 0.0):
            return [BallSet(FEWEST_BALLS, diameter_mm or 0.0)]  # refused with the reason where it is built
        most = min(MOST_BALLS, int(_most_balls(diameter_mm or 0.0, pitch_mm or 0.0)))
        return [BallSet(count, diameter_mm or 0.0) for count in range(min(FEWEST_BALLS, most), most + 1)]
    sets = list(row.ball_sets)
    if balls is not None:
        # The ball that makers pair with this count if there is one, the likeliest otherwise.
        sets = [*(s for s in sets if s.balls == balls), replace(sets[0], balls=balls)][:1]
    return sets if diameter_mm is None else [replace(s, ball_diameter_mm=diameter_mm) for s in sets]
