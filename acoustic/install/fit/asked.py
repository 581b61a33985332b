"""A fit as people say it, in words and numbers as they are typed, made into the sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from acoustic.errors import InputError
from acoustic.typed import number_in

if TYPE_CHECKING:
    from acoustic.install.fit.parts import Cup, FittedBearing, Shell, Spindle, Temperatures
    from acoustic.install.fit.seat import BoreReading, Seat, SizeLimits
    from acoustic.install.fit.sheet import FitSheet

THICK = "thick"
# How far a reading of a bore gauge may be off, set by a ring (common practice) [um].
USUAL_GAUGE_UM = 5.0


@dataclass(frozen=True, slots=True)
class Asked:
    """A sheet, and what was taken for it that nobody measured."""

    sheet: FitSheet
    taken: tuple[str, ...]


def asked_sheet(name: str, said: Mapping[str, Any]) -> Asked:
    """Compute the sheet that options ask for.

    Raises
    ------
    InputError
        Something cannot be read or computed, or a size is likelier a slip than true and was not confirmed.
    """
    from acoustic.install.fit.plausible import ceramic_note, doubts, taken
    from acoustic.install.fit.sheet import fit_sheet

    limits = _limits(said["limits"], name, said["catalogue"])
    seat = _seat(said["readings"], said["gauge_um"], limits)
    bearing = _bearing(name, said["catalogue"], said["group"], said["rings"])
    bearing = replace(bearing, rows=said["rows"])
    cup = _cup(said["cup"])
    shell, usual = _shell(said["shell"], said["shell_outside"], said["finish"], (cup or bearing).outside_mm)
    gauge_um = said["gauge_um"] or USUAL_GAUGE_UM
    spindle = _spindle(said["spindle"], said["spindle_bore"], said["spindle_metal"], gauge_um)
    temperatures = _temperatures(said)
    found = doubts(seat, bearing, shell, cup, spindle)
    if found and not said["sure"]:
        raise InputError(
            f"this looks like a slip: {'; '.join(found)}",
            hint="Read it once more, clean and square. If it is so, add --sure.",
        )
    sheet = fit_sheet(
        seat,
        bearing,
        shell,
        cup=cup,
        spindle=spindle,
        limits=limits,
        tilt_rad=tilt_rad(said["offset"], said["shell_width"]),
        temperatures=temperatures,
    )
    notes = taken(
        seat,
        bearing,
        shell,
        temperatures,
        shell_is_usual=usual,
        gauge_is_usual=said["gauge_um"] is None,
        cup=cup,
        spindle=spindle,
    )
    ceramic = (ceramic_note(bearing),) if said["balls"] == "ceramic" else ()
    return Asked(sheet, (*notes, *ceramic))


def _number(text: str, where: str, example: str) -> float:
    try:
        return number_in(text)
    except ValueError as error:
        found = str(error).partition(";")[0]
        raise InputError(f"{where}: {found}", hint=f"Write {example}.") from None


def _seat(texts: tuple[str, ...], gauge_um: float | None, limits: SizeLimits | None) -> Seat:
    from acoustic.install.fit.seat import drawn_seat, measure_seat

    if texts:
        return measure_seat([_reading(text) for text in texts], uncertainty_um=gauge_um or USUAL_GAUGE_UM)
    if limits is not None:
        return drawn_seat(limits)
    raise InputError(
        "neither a reading of the bore nor its maker's limits were given",
        hint="Measure the seat and give --bore once a reading, or give --limits to compute it as drawn.",
    )


def _reading(text: str) -> BoreReading:
    from acoustic.install.fit.seat import BoreReading

    size, _, place = text.partition("@")
    depth, _, direction = place.partition("/")
    where, example = f"--bore {text}", "36.982, 36.982@5 or 36.982@5/90"
    return BoreReading(
        _number(size, where, example),
        depth_mm=_number(depth, where, example) if depth else None,
        direction_deg=_number(direction, where, example) if direction else None,
    )


def _bearing(name: str, catalogue: Path | None, group: str, rings: str) -> FittedBearing:
    from acoustic.bearings.catalogue import load_catalogue
    from acoustic.bearings.search import find
    from acoustic.install.fit.parts import FittedBearing

    row = find(load_catalogue(catalogue), name)
    if row.bore_mm is None or row.outside_mm is None:
        raise InputError(
            f"{row.designation} has no bore and outside diameter in the catalogue",
            hint="Name a ring bearing, or add one of your own with --catalogue.",
        )
    return FittedBearing(
        bore_mm=row.bore_mm,
        outside_mm=row.outside_mm,
        width_mm=row.width_mm,
        ball_diameter_mm=row.ball_sets[0].ball_diameter_mm,
        pitch_diameter_mm=row.pitch_diameter_mm,
        group=None if row.kind == "angular contact" else group,
        rings=rings,
        note=row.note,
    )


def _shell(name: str, outside: str | None, finish: str, seat_mm: float) -> tuple[Shell, bool]:
    """The shell, and whether its outside is a usual one that nobody gave."""
    from acoustic.install.fit.interference import material
    from acoustic.install.fit.parts import Shell
    from acoustic.install.fit.plausible import usual_shell_mm

    if outside is None:
        return Shell(material=material(name), outside_mm=usual_shell_mm(name, seat_mm), finish=finish), True
    if outside == THICK:
        return Shell(material=material(name), outside_mm=None, finish=finish), False
    outside_mm = _number(outside, f"--shell-outside {outside}", f"48 [mm], or {THICK}")
    return Shell(material=material(name), outside_mm=outside_mm, finish=finish), False


def _cup(text: str | None) -> Cup | None:
    if text is None:
        return None
    from acoustic.install.fit.interference import material
    from acoustic.install.fit.parts import Cup
    from acoustic.install.fit.tolerances import Limits

    size, low, high, name = [*text.split(":"), "", "", "", ""][:4]
    example = "41:-20:0:polyamide: outside [mm], its least and most deviation [um], what it is made of"
    numbers = [_number(part, f"--cup {text}", example) for part in (size, low, high)]
    return Cup(
        outside_mm=numbers[0],
        outside=Limits(numbers[1], numbers[2], "as measured"),
        material=material(name),
    )


def _spindle(outside_mm: float | None, inside_mm: float, metal: str, gauge_um: float) -> Spindle | None:
    if outside_mm is None:
        return None
    from acoustic.install.fit.interference import material
    from acoustic.install.fit.parts import Spindle

    return Spindle(outside_mm=outside_mm, inside_mm=inside_mm, material=material(metal), uncertainty_um=gauge_um)


def _temperatures(said: Mapping[str, Any]) -> Temperatures:
    from acoustic.install.fit.parts import ROOM_C, Temperatures

    measured_c, ridden_c = (ROOM_C if said[name] is None else said[name] for name in ("shell_temp", "ride_temp"))
    return Temperatures(
        measured_c=measured_c,
        ridden_c=ridden_c,
        pressed_c=said["press_temp"],
        inner_warmer_k=said["warmer"],
    )


def _limits(text: str | None, name: str, catalogue: Path | None) -> SizeLimits | None:
    if text is None:
        return None
    from acoustic.install.fit.seat import SizeLimits

    if text[:1].isalpha():
        return SizeLimits.of_hole(text.upper(), _bearing(name, catalogue, "CN", "steel").outside_mm)
    low, _, high = text.partition(":")
    numbers = [
        _number(part, f"--limits {text}", "36.970:36.990 [mm], or a zone such as N7") for part in (low, high)
    ]
    return SizeLimits(numbers[0], numbers[1], "the frame's maker, as given")


def bore_mm(name: str | None, catalogue: Path | None) -> float | None:
    """The bore of a bearing by its name; None without one."""
    return None if name is None else _bearing(name, catalogue, "CN", "steel").bore_mm


def tilt_rad(offset_mm: float | None, width_mm: float | None) -> float | None:
    """The tilt that an offset of the seats over their distance makes; None where it was not measured."""
    if (offset_mm is None) != (width_mm is None):
        raise InputError(
            "--offset and --shell-width are needed together, and only one was given",
            hint="Give both, or leave both out.",
        )
    if offset_mm is None or width_mm is None:
        return None
    from acoustic.install.fit.advice import tilt_of_seats_rad

    return tilt_of_seats_rad(offset_mm, width_mm)
