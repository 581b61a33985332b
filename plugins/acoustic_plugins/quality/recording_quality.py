"""What limits a recording, each with its advice."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.api import (
    DETECTION_CHANCE,
    QUIETEST,
    Hearing,
    Problem,
    Recording,
    bandwidth_hz,
    block_levels_db,
    chance_of_events,
    clipped_share,
    gaps,
    hookimpl,
    out_of_range,
    regularity,
    sounding_level,
)

ACOUSTIC_API = (1, 0)

# Judged on simulated spins: below these a defect of middling size is missed more often than found.
FEWEST_TURNS, FEW_TURNS = 4.0, 6.0
SHORTEST_S = 1.0
NARROW_HZ, TOO_NARROW_HZ = 5000.0, 2500.0
CLIPPED, MUCH_CLIPPED = 0.0002, 0.05
GAPS, MUCH_GAPS = 0.005, 0.15
HEARD_CERTAINTY, HEARD_DB = 4.0, 1.5  # a machine in the room may change its level by a decibel
RHYTHM_HEARD = 0.001
COASTING_DB = 5.0
EVEN = 1e-4

NEARER = (
    "Record again with the phone's microphone a hand's width from the bearing, on the shell's side away from "
    "the chain, and keep the room quiet."
)
SURER = "Film the crank with a strip of tape on one arm (--film), or let a card click once a turn (--ticks)."
COUNTED = f"{SURER} Counting the turns of the whole spin (--turns N) helps too."
LONGER = "Record one spin from two still seconds before the push until two seconds after the crank stands."


class RecordingQuality:
    """Silence, broken samples, clipping, gaps, bandwidth, turns, and sound over the room's."""

    name = "recording-quality"
    summary = "silence, broken samples, clipping, gaps, bandwidth, length, and level over the room"

    def check(self, recording: Recording, hearing: Hearing | None) -> Sequence[Problem]:
        """Check the samples first; the turning part once it is known."""
        if hearing is None:
            return _broken(recording) or [*_clipped(recording), *_gappy(recording), *_narrow(recording)]
        return [
            *_by_ear(hearing),
            *_short(hearing),
            *_unsteady(hearing),
            *_faint(hearing),
            *_stray(hearing),
            *_fixed_angle(hearing),
        ]


def _broken(recording: Recording) -> list[Problem]:
    """Problems after which no number would mean anything."""
    import numpy as np

    bad = int(np.count_nonzero(~np.isfinite(recording.samples)))
    if bad:
        return [
            Problem(
                "non_finite",
                f"{bad} sample{'s are' if bad > 1 else ' is'} not a number",
                "The file is damaged: copy it from the phone again, or record again.",
                voids="any",
            )
        ]
    wild = out_of_range(recording.samples)
    if wild:
        return [
            Problem(
                "out_of_range",
                f"{wild} sample{'s' if wild > 1 else ''} beyond four times full scale, which no recorder writes",
                "The file is damaged: copy it from the phone again, or record again.",
                voids="any",
            )
        ]
    if sounding_level(recording.heard) < QUIETEST:
        return [
            Problem(
                "silent",
                "the recording holds no sound, only a constant level",
                "Check that the microphone is not covered or switched off, and record again.",
                voids="any",
            )
        ]
    if recording.duration_s < SHORTEST_S:
        return [
            Problem(
                "too_short",
                f"the recording lasts {recording.duration_s:.2f} s; a spin lasts ten seconds or more",
                LONGER,
                voids="any",
            )
        ]
    return []


def _clipped(recording: Recording) -> list[Problem]:
    share = clipped_share(recording.heard)
    if share < CLIPPED:
        return []
    return [
        Problem(
            "clipped",
            f"{share:.1%} of the samples are cut off at the loudest value",
            "Hold the phone a little farther away, or lower the recording level.",
            voids="any" if share >= MUCH_CLIPPED else "nothing",
        )
    ]


def _gappy(recording: Recording) -> list[Problem]:
    found = gaps(recording.heard, recording.sample_rate_hz)
    share = sum(stop - start for start, stop in found) / recording.duration_s
    if share < GAPS:
        return []
    return [
        Problem(
            "dropouts",
            f"{len(found)} gaps without any sound make up {share:.1%} of the recording",
            "Switch off noise suppression and voice enhancement, close other programs, and record again.",
            voids="any" if share >= MUCH_GAPS else "clean",
        )
    ]


def _narrow(recording: Recording) -> list[Problem]:
    top_hz = bandwidth_hz(recording.heard, recording.sample_rate_hz)
    if top_hz >= NARROW_HZ:
        return []
    return [
        Problem(
            "narrow_band",
            f"nothing above {top_hz / 1000:.1f} kHz was recorded; {NARROW_HZ / 1000:.0f} kHz or more is wanted",
            "Use the phone's own recorder at its best quality, no call or messenger recording.",
            voids="any" if top_hz < TOO_NARROW_HZ else "nothing",
        )
    ]


def _by_ear(hearing: Hearing) -> list[Problem]:
    """A speed taken from the bearing's own sound says little where the bearing makes little."""
    motion = hearing.motion
    if motion.source not in ("sound", "turns"):
        return []
    if hearing.drivetrain.given is not None:
        return [
            Problem(
                "chain_on",
                "the crank's speed is known by the sound's own beat alone, and with the chain on that may be the "
                "chain's",
                "Take the chain off, or give the crank's angle: film it (--film) or mark every turn (--marks).",
                voids="clean",
            )
        ]
    if motion.beat is None:
        return [
            Problem(
                "no_beat",
                "nothing heard keeps the crank's time, so its speed at every moment is not known",
                COUNTED if motion.source == "sound" else SURER,
                voids="clean",
            )
        ]
    if motion.scale_known:
        return []
    return [
        Problem(
            "scale_open",
            "the speed's course is known by the bearing's own beat alone, and what beats is open",
            COUNTED,
            voids="clean",
        )
    ]


def _short(hearing: Hearing) -> list[Problem]:
    turns = hearing.motion.total_turns
    lasting_s = hearing.motion.stop_s - hearing.motion.start_s
    if turns >= FEW_TURNS and lasting_s >= SHORTEST_S:
        return []
    too_short = turns < FEWEST_TURNS or lasting_s < SHORTEST_S
    return [
        Problem(
            "too_short",
            f"the crank makes {turns:.1f} turns in {lasting_s:.1f} s; {FEW_TURNS:.0f} turns or more are needed",
            LONGER,
            voids="any" if too_short else "clean",
        )
    ]


def _faint(hearing: Hearing) -> list[Problem]:
    """Whether the crank is heard at all: over the still parts, or by the rhythm that sound bearings have too."""
    import numpy as np

    rhythm_heard = min(part.chance for part in hearing.parts) < RHYTHM_HEARD
    over = hearing.over
    if over is None:
        return [
            Problem(
                "no_still_part",
                "no still part was found to tell the room's noise from the bearing's"
                + ("" if rhythm_heard else ", and nothing heard keeps the crank's time"),
                LONGER,
                voids="nothing" if rhythm_heard else "clean",
            )
        ]
    width = min(5, over.certainty.size)
    mean = np.full(width, 1 / width)
    certainty, excess_db = (np.convolve(row, mean, mode="valid") for row in (over.certainty, over.excess_db))
    if rhythm_heard or np.any((certainty >= HEARD_CERTAINTY) & (excess_db >= HEARD_DB)):
        return []
    return [
        Problem(
            "faint",
            "the turning crank is no louder than the room: a sound bearing and a phone too far away look alike",
            NEARER,
            voids="clean",
        )
    ]


def _unsteady(hearing: Hearing) -> list[Problem]:
    """A coasting crank under a speed that was stated as steady."""
    import numpy as np

    motion = hearing.motion
    if motion.source != "stated":
        return []
    times_s, levels_db = block_levels_db(hearing.bank)
    loud_db = levels_db[hearing.bank.mid_hz >= 500].mean(axis=0)
    turning = (times_s >= motion.start_s) & (times_s < motion.stop_s)
    thirds = [float(np.median(third)) for third in np.array_split(loud_db[turning], 3)]
    if not (thirds[0] > thirds[1] > thirds[2] and thirds[0] - thirds[2] > COASTING_DB):
        return []
    return [
        Problem(
            "not_steady",
            f"the sound dies away by {thirds[0] - thirds[2]:.0f} dB as a coasting crank's does; "
            "--speed is for a steady one",
            "Give the time of every turn with --marks, or let a card click once a turn (--ticks).",
            voids="any",
        )
    ]


def _stray(hearing: Hearing) -> list[Problem]:
    """A beat that the assumed bearing does not make: then silence at its orders is no health."""
    import numpy as np

    motion, stray = hearing.motion, hearing.stray
    heard = (*hearing.parts, *hearing.drivetrain.parts)
    known = [part.event_ratio for part in heard if part.chance < RHYTHM_HEARD]
    severity_db = 10 * np.log10(max(stray.event_ratio, 1e-9))
    clear = max(stray.chance, chance_of_events("outer_raceway", float(severity_db))) <= DETECTION_CHANCE
    clicks_s = hearing.clicks.times_s
    inside = clicks_s[(clicks_s >= motion.start_s) & (clicks_s < motion.stop_s)]
    if clear and stray.event_ratio > max(known, default=0.0):
        what = f"a steady beat of {stray.order:.2f} strikes a turn fits no part of this bearing"
    elif not known and regularity(inside) < EVEN:
        what = "the clicks follow each other evenly, but at no pace of this bearing at this speed"
    else:
        return []
    return [
        Problem(
            "unknown_beat",
            what,
            "Check the bearing's designation, count its balls (--balls), and check that the speed or the marks "
            "belong to this very recording; take the chain off.",
            voids="clean",
        )
    ]


def _fixed_angle(hearing: Hearing) -> list[Problem]:
    """What sounds at the same angle in every turn is no bearing's rhythm, but worth a look."""
    if not hearing.levels.fixed_angles:
        return []
    return [
        Problem(
            "fixed_angle",
            "something sounds at the same angle of the crank in every turn; it was left out",
            "That is no bearing's rhythm: check crank arms, pedals, chainring bolts and whatever may rub.",
        )
    ]


@hookimpl
def acoustic_quality_checks() -> Sequence[RecordingQuality]:
    """Offer the checks of the recording."""
    return [RecordingQuality()]
