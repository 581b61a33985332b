"""Which kind of bearing unit suits a frame and its rider: the table's points, added up for what is known.

What is not measured counts as if it were out of true: then a kind that needs a true seat is ruled out, and the
kind that forgives stands first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace

from acoustic.install.fit.advice import CAREFUL_TILT_RAD, DOUBLE_ROW_CHANCE, DOUBLE_ROW_TILT_RAD, UTMOST_TILT_RAD
from acoustic.install.fit.sheet import FitSheet
from acoustic.install.units import Bore, Form, Line, Point, Size, Unit, Upkeep, Use, unit_table
from acoustic.lifetimes.lives import Life

FEWEST_LIVES = 5  # fewer of one kind say nothing of it (judgement)
THICK_SPINDLE_MM = 28.0  # between the 24 and the 28.99 and 30 mm that cranks are built with


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What is known of a frame and its rider; the facts that units.toml speaks of."""

    size: Size = "unknown"
    form: Form = "unknown"
    line: Line = "unknown"
    use: Use = "everyday"
    upkeep: Upkeep = "yearly"
    shell: str = "aluminium"
    spindle: Bore = "unknown"


@dataclass(frozen=True, slots=True)
class ShopRecord:
    """How long one kind lasted in this shop.

    Attributes
    ----------
    lives, worn : int
        Bearings in all, and those worn out.
    median_days, low_days, high_days : float or None
        Life that half of them reach, and the interval that holds it nine times in ten [days].
    """

    lives: int
    worn: int
    median_days: float | None
    low_days: float | None
    high_days: float | None


@dataclass(frozen=True, slots=True)
class Choice:
    """One kind of unit for a situation.

    Attributes
    ----------
    unit : Unit
    score : int
        Sum of the weights.
    speaks_for, speaks_against, ruled_out : tuple of Point
        The points that hold here; one that is ruled out at all is no choice.
    record : ShopRecord or None
        None with fewer than five lives of this kind.
    """

    unit: Unit
    score: int
    speaks_for: tuple[Point, ...]
    speaks_against: tuple[Point, ...]
    ruled_out: tuple[Point, ...]
    record: ShopRecord | None


def with_seat(known: Situation, sheet: FitSheet | None, tilt_rad: float | None) -> Situation:
    """Add to what is known of a rider what a fit sheet says of the frame.

    Parameters
    ----------
    known : Situation
    sheet : FitSheet or None
        None where the seat was not measured.
    tilt_rad : float or None
        Between the two seats [rad]; None where it was not measured.
    """
    if sheet is None or sheet.seat.drawn:
        return replace(known, line=_line(tilt_rad))
    return replace(known, size=_size(sheet), form=_form(sheet), line=_line(tilt_rad))


def spindle_of(diameter_mm: float | None) -> Bore:
    """Whether a spindle is thin or thick, by its diameter [mm]."""
    if diameter_mm is None:
        return "unknown"
    return "thick" if diameter_mm >= THICK_SPINDLE_MM else "thin"


def rank_units(situation: Situation, lives: Iterable[Life] = (), *, seals: bool = False) -> tuple[Choice, ...]:
    """All kinds of unit, or of seal, the best first; those that are ruled out last.

    Parameters
    ----------
    situation : Situation
    lives : iterable of Life
        The shop's own.
    seals : bool
        Rank kinds of seal.

    Returns
    -------
    tuple of Choice
    """
    table, every = unit_table(), tuple(lives)
    found = []
    for unit in table.unit:
        if unit.seal != seals:
            continue
        points = [point for point in table.point if unit.code in point.units and holds(point, situation)]
        found.append(
            Choice(
                unit,
                sum(point.weight for point in points),
                tuple(point for point in points if point.weight > 0),
                tuple(point for point in points if point.weight < 0),
                tuple(point for point in points if point.rules_out),
                shop_record([life for life in every if unit_of(life, seals=seals) == unit.code]),
            )
        )
    return tuple(sorted(found, key=lambda one: (bool(one.ruled_out), -one.score)))


def holds(point: Point, situation: Situation) -> bool:
    """Whether all that a point asks is so."""
    asked = ((getattr(point.when, field.name), getattr(situation, field.name)) for field in fields(Situation))
    return all(not allowed or value in allowed for allowed, value in asked)


def unit_of(life: Life, *, seals: bool = False) -> str | None:
    """Code of the unit that a bearing in the book was, by its labels; None where they do not say."""
    table, said = unit_table(), " ".join(life.labels.values()).lower()
    kinds = {unit.code for unit in table.unit if unit.seal == seals}
    for record in table.record:
        if record.unit in kinds and all(word in said for word in record.words):
            return record.unit
    return None


def shop_record(lives: Sequence[Life]) -> ShopRecord | None:
    """How long bearings of one kind lasted here; None with fewer than five."""
    if len(lives) < FEWEST_LIVES:
        return None
    from acoustic.lifetimes.survival import survival  # loads numpy

    found = survival(lives)
    median = None if found.gap is not None else found.median  # past a gap the curve tells nothing
    return ShopRecord(found.lives, found.ended, median, found.median_low, found.median_high)


def _size(sheet: FitSheet) -> Size:
    chances = sheet.chances
    if sheet.judgement.size == "outside":
        return "wrong"
    if chances.play >= DOUBLE_ROW_CHANCE:
        return "loose"
    return "tight" if max(chances.preload or 0.0, chances.too_tight) >= DOUBLE_ROW_CHANCE else "right"


def _form(sheet: FitSheet) -> Form:
    standings = {sheet.judgement.roundness, sheet.judgement.cylindricity}
    if "outside" in standings:
        return "untrue"
    if "unknown" in standings:
        return "unknown"
    return "doubtful" if "open" in standings else "true"


def _line(tilt_rad: float | None) -> Line:
    if tilt_rad is None:
        return "unknown"
    if tilt_rad <= DOUBLE_ROW_TILT_RAD:
        return "true"
    if tilt_rad <= CAREFUL_TILT_RAD:
        return "fair"
    return "crooked" if tilt_rad <= UTMOST_TILT_RAD else "beyond"
