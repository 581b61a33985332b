"""The crank's angle from the gyro of a phone strapped to the crank arm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from acoustic.api import (
    ClockAlignment,
    InputError,
    Motion,
    MotionError,
    Recording,
    SpeedRequest,
    align_clock,
    band_bank,
    hookimpl,
    kind_of_spin,
    still_parts,
)
from acoustic_plugins.speed.gyro.rotation import (
    Rotation,
    Stretch,
    gyro_limit_deg,
    longest_gap_s,
    rotation_about_axis,
    share_off_axis,
    still_within,
    turning_stretches,
    turns_made,
)
from acoustic_plugins.speed.gyro.table import LOG_FASTER, NAME_UNIT, GyroTable, read_gyro
from acoustic_plugins.speed.options import GYRO

ACOUSTIC_API = (1, 0)

TOP_HZ = 18000.0  # as the check itself listens to
SHORTEST_S = 1.0  # a turn or so
LONGEST_GAP_S = 0.1  # at two turns a second a crank moves 0.2 turns in it
MOST_OFF_AXIS = 0.04  # of the power: 0.2 of the rate, a strap 11 degrees askew (judgement)
MOST_BACKWARD = 0.25  # of the way onward: more is rocked to and fro, not turned (judgement)
LEAST_INSIDE = 1.0  # turns within the recording
# Half widths that hold the truth nine times in ten.
SENSITIVITY = 0.01  # a phone's gyro is specified to one per cent or so, its clock far better
UNKNOWN_REST_HZ = 0.01  # turns/s, 3.6 deg/s
NEARER = (
    "Give the gyro's file of this very spin. If it is, record again from two still seconds before the push "
    "until it stops, nearer to the bearing, in a quieter room, with the recorder's automatic gain off; or give "
    "the turns' times with --marks."
)


class GyroFile:
    """Angle from --gyro."""

    name = "gyro-file"
    summary = "a CSV file of angular speed from a phone strapped to the crank arm, given with --gyro"
    code, label = "gyro", "the gyro"
    rank = 30
    options = GYRO

    def present(self, recording: Recording) -> bool:
        """A gyro file must be given."""
        return False

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Read the speed, set its clock by what is heard, and integrate it."""
        path = request.value("gyro")
        if path is None:
            raise InputError("no gyro file was given", hint="Give one with --gyro FILE.csv.")
        table = read_gyro(path)
        rotation = rotation_about_axis(table.times_s, table.rates_hz, signed=table.signed)
        turning = _turning(path, table, rotation)
        fit = _clock(recording, rotation, turning)
        return _motion(path, recording, request, rotation, turning, fit)


def _turning(path: Path, table: GyroTable, rotation: Rotation) -> list[Stretch]:
    """The parts that turn forward; refuses what is no spin of a crank."""
    found = turning_stretches(rotation)
    forward = [stretch for stretch in found if stretch.turns > 0]
    if not forward:
        fastest_hz = float(abs(rotation.speed_hz).max())
        raise InputError(
            f"{path.name}: the crank makes no whole turn; the fastest speed is {fastest_hz:.2g} turns a second",
            hint=f"Log a spin of eight turns or more. {NAME_UNIT}",
        )
    onward, back = sum(stretch.turns for stretch in forward), -sum(s.turns for s in found if s.turns < 0)
    if back > MOST_BACKWARD * onward:
        raise InputError(
            f"{path.name}: the crank makes {onward:.1f} turns one way and {back:.1f} the other",
            hint="Spin it one way, or cut the file to the spin that was recorded.",
        )
    for stretch in forward:
        gap_s, at_s = longest_gap_s(rotation, stretch)
        if gap_s > LONGEST_GAP_S:
            raise InputError(
                f"{path.name}: {gap_s:.2f} s are missing from {at_s:.2f} s on, while the crank turns; "
                f"{LONGEST_GAP_S:g} s are bridged at most",
                hint=LOG_FASTER,
            )
    off_axis = max(share_off_axis(rotation, stretch) for stretch in forward)
    if off_axis > MOST_OFF_AXIS:
        raise InputError(
            f"{path.name}: {100 * off_axis:.0f} % of the turning is not about one axis",
            hint="Strap the phone tight to the arm, and give the gyro's columns, not the accelerometer's.",
        )
    scale_deg = gyro_limit_deg(table.times_s, table.rates_hz)
    if scale_deg is not None:
        raise InputError(
            f"{path.name}: the speed stands at the gyro's limit of about {scale_deg:g} deg/s",
            hint="Set the logger to a wider range, or push less hard.",
        )
    return forward


def _clock(recording: Recording, rotation: Rotation, turning: Sequence[Stretch]) -> ClockAlignment:
    """Set the gyro's clock against the recording's; refuses where nothing heard tells where its spin lies."""
    if recording.duration_s < SHORTEST_S:
        raise MotionError(
            f"a recording of {recording.duration_s:.2f} s is too short to find the gyro's spin in it", hint=NEARER
        )
    top_hz = min(TOP_HZ, recording.bandwidth_hz)
    bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz, top_hz=top_hz)
    parts = [(float(rotation.times_s[s.first]), float(rotation.times_s[s.last])) for s in turning]
    setting = align_clock(bank, rotation.times_s, rotation.speed_hz, parts)
    if setting is None:
        raise MotionError(
            "the spin that the gyro shows cannot be heard in the recording, so that its clock cannot be set",
            hint=NEARER,
        )
    return setting


def _motion(
    path: Path,
    recording: Recording,
    request: SpeedRequest,
    rotation: Rotation,
    turning: Sequence[Stretch],
    fit: ClockAlignment,
) -> Motion:
    """Integrate the stretch that makes most turns within the recording."""
    inside = []
    for stretch in turning:
        start_s = max(float(rotation.times_s[stretch.first]), -fit.offset_s)
        stop_s = min(float(rotation.times_s[stretch.last]), recording.duration_s - fit.offset_s)
        if start_s < stop_s:
            inside.append(turns_made(rotation, start_s, stop_s))
    if not inside or max(turns[-1] for _, turns in inside) < LEAST_INSIDE:
        raise MotionError(f"next to nothing of the spin in {path.name} lies in the recording", hint=NEARER)
    times_s, turns = max(inside, key=lambda part: float(part[1][-1]))
    start_s, stop_s = float(times_s[0]), float(times_s[-1])
    lasts_s = stop_s - start_s
    rest_hz = UNKNOWN_REST_HZ if rotation.rest_hz is None else rotation.rest_hz
    return Motion(
        times_s=(times_s + fit.offset_s).clip(0, recording.duration_s),
        turns=turns,
        source="gyro",
        spin=request.spin or kind_of_spin(times_s, turns),
        # A clock that is off shifts a coasting crank's mean order by twice its share of the spin.
        relative_uncertainty=math.hypot(
            SENSITIVITY, rest_hz * lasts_s / float(turns[-1]), 2 * fit.half_width_s / lasts_s
        ),
        scale_known=True,
        still=_still(recording, rotation, fit, start_s, stop_s) if fit.sure else (),
    )


def _still(
    recording: Recording, rotation: Rotation, fit: ClockAlignment, start_s: float, stop_s: float
) -> tuple[tuple[float, float], ...]:
    """Parts of the recording in which the gyro stood, kept clear by what its clock may be off."""
    outside = still_parts(
        recording.duration_s, start_s + fit.offset_s, stop_s + fit.offset_s, before_s=0.0, after_s=0.0
    )
    stood = [
        part
        for a, b in outside
        for part in still_within(rotation, a - fit.offset_s, b - fit.offset_s, margin_s=fit.half_width_s)
    ]
    return tuple((a + fit.offset_s, b + fit.offset_s) for a, b in stood)


@hookimpl
def acoustic_speed_sources() -> Sequence[GyroFile]:
    """Offer the gyro's file."""
    return [GyroFile()]
