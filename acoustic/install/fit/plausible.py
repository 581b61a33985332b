"""What is taken where nobody measured, said in a sentence each, and sizes that look like slips of a finger."""

from __future__ import annotations

from acoustic.install.fit.parts import ROOM_C, Cup, FittedBearing, Shell, Spindle, Temperatures
from acoustic.install.fit.seat import Seat, hundredths
from acoustic.install.fit.tolerances import material_row, outside_limits, roughness_allowance

# Judgement: beyond these a slip is likelier than such a part.
FARTHEST_READINGS_UM, MOST_SPINDLE_PLAY_UM, MOST_OFF_UM = 80.0, 60.0, 150.0
THINNEST_WALL_MM = 0.8  # judgement too

BALLS_K = 10.0  # judgement: a crank's bearing hardly warms, so this is more than the balls ever see
CERAMIC_STRAIN_PER_K = 3.2e-6  # silicon nitride (from memory: makers' catalogues of hybrid bearings)


def usual_shell_mm(name: str, seat_mm: float) -> float:
    """Outside diameter [mm] of a usual shell of this material about a seat of so many."""
    return seat_mm + 2 * material_row(name).usual_wall_mm


def doubts(
    seat: Seat, bearing: FittedBearing, shell: Shell, cup: Cup | None = None, spindle: Spindle | None = None
) -> tuple[str, ...]:
    """Sizes that are likelier misread or mistyped than true, a sentence each.

    Parameters
    ----------
    seat, bearing, shell, cup, spindle
        As `reckon_fit` takes them.

    Returns
    -------
    tuple of str
    """
    found = []
    sizes = [size for section in seat.sections for size in section.diameters_mm]
    spread_um = 1e3 * (max(sizes) - min(sizes))
    if spread_um >= FARTHEST_READINGS_UM:
        found.append(f"the readings lie {hundredths(spread_um)} apart, from {min(sizes):g} to {max(sizes):g} mm")
    nominal_mm = (cup or bearing).outside_mm
    off_um = 1e3 * (seat.mean_mm - nominal_mm)
    if abs(off_um) >= MOST_OFF_UM:
        size, wide = hundredths(abs(off_um)), "wider" if off_um > 0 else "narrower"
        found.append(f"the seat is {size} {wide} than the {nominal_mm:g} mm that go into it")
    if shell.outside_mm is not None:
        wall_mm = (shell.outside_mm - nominal_mm) / 2
        if 0 < wall_mm < THINNEST_WALL_MM:
            found.append(f"a shell of {shell.outside_mm:g} mm outside has a wall of {wall_mm:.2f} mm only")
    if spindle is not None:
        play_um = 1e3 * (bearing.bore_mm - spindle.outside_mm)
        if abs(play_um) >= MOST_SPINDLE_PLAY_UM:
            under = "under" if play_um > 0 else "over"
            found.append(
                f"a spindle of {spindle.outside_mm:g} mm is {hundredths(abs(play_um))} {under} the bearing's bore "
                f"of {bearing.bore_mm:g} mm"
            )
    return tuple(found)


def taken(
    seat: Seat,
    bearing: FittedBearing,
    shell: Shell,
    temperatures: Temperatures,
    *,
    shell_is_usual: bool,
    gauge_is_usual: bool,
    cup: Cup | None = None,
    spindle: Spindle | None = None,
) -> tuple[str, ...]:
    """Whatever the sheet rests on that nobody measured, a sentence each.

    Parameters
    ----------
    seat, bearing, shell, temperatures, cup, spindle
        As `reckon_fit` takes them.
    shell_is_usual, gauge_is_usual : bool
        The shell's outside, or how far the gauge may be off, was not given.

    Returns
    -------
    tuple of str
    """
    group = "no clearance of its own" if bearing.group is None else f"clearance group {bearing.group}"
    rows = "two rows" if bearing.rows == 2 else "one row"
    found = [f"A shell of {shell.material.name}; a bearing with rings of {bearing.rings}, {rows}, {group}."]
    row = material_row(shell.material.name)
    if shell_is_usual:
        found.append(
            f"The shell's outside was not given: {shell.outside_mm:g} mm is taken, a usual wall of "
            f"{row.usual_wall_mm:g} mm for {row.name}. Measure it and give --shell-outside."
        )
    if shell.material.name == "carbon":
        found.append(
            "Carbon is no plain ring: its lay-up decides how stiff it is, and an insert is glued, so clearance "
            "lost is rough. The frame's maker has the last word on how tight a fit it takes."
        )
    if gauge_is_usual and not seat.drawn:
        found.append(
            f"Readings are taken as good to {seat.uncertainty_um:g} µm, a bore gauge's; a calliper's are good to "
            "20 to 30 µm: give --gauge 25 for one."
        )
    if cup is None and bearing.outside is None:
        off = outside_limits(bearing.outside_mm)
        found.append(
            f"The bearing's outside is taken as the normal class allows: {off.low_um:g} to {off.high_um:g} µm off "
            f"{bearing.outside_mm:g} mm."
        )
    peaks = roughness_allowance(shell.finish)
    if peaks.high_um > 0:
        found.append(
            f"Of the interference {peaks.low_um:g} to {peaks.high_um:g} µm are pressed flat at the surfaces "
            f"(a {shell.finish} seat)."
        )
    at_c = (temperatures.measured_c, temperatures.ridden_c)
    if at_c == (ROOM_C, ROOM_C):
        found.append(f"Measured and ridden at {ROOM_C:g} °C. For others: --shell-temp, --ride-temp, --press-temp.")
    else:
        found.append(f"Shell measured at {at_c[0]:g} °C by a gauge at {ROOM_C:g} °C; ridden at {at_c[1]:g} °C.")
    if spindle is None:
        found.append("The spindle slips into the bearing and takes no clearance; if it is pressed give --spindle.")
    return tuple(found)


def ceramic_note(bearing: FittedBearing) -> str:
    """What ceramic balls change of a fit: next to nothing."""
    less_per_k = bearing.inner_ring.material.strain_per_k - CERAMIC_STRAIN_PER_K
    um = 2e3 * bearing.ball_diameter_mm * less_per_k * BALLS_K
    return (
        f"Ceramic balls grow {um:.1f} µm less than steel ones over {BALLS_K:g} °C: negligible here. They ask for "
        "the same seat."
    )
