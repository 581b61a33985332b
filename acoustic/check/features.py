"""From a recording and the crank's motion to all that the detectors judge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from acoustic import __version__
from acoustic.dsp.arrays import NINE_IN_TEN
from acoustic.dsp.geometry import BearingGeometry
from acoustic.dsp.levels.background import over_room
from acoustic.dsp.levels.filterbank import HIGHEST_SHARE, BandBank, band_bank
from acoustic.dsp.orders.drivetrain import drive_sets, heard_chain
from acoustic.dsp.orders.evidence import PartEvidence, Ranking
from acoustic.dsp.orders.harmonics import HarmonicSet
from acoustic.dsp.orders.ranking import rank_parts
from acoustic.dsp.orders.spectrum import OrderSpectra, band_groups, order_spectra
from acoustic.dsp.orders.tracking import AngleLevels, angle_levels, without_fixed_angle
from acoustic.dsp.tacholess.hypothesis import part_chances
from acoustic.dsp.transients import find_clicks, without
from acoustic.errors import InputError
from acoustic.model import Bearing, Drivetrain, Features, HeardDrivetrain, HeardTrain, Motion, Recording, Step

BY = f"acoustic {__version__}"
LOWEST_LINE_HZ = 500.0  # strikes ring shell and frame above this; below, rooms and hum are loudest
# The highest third-octave band, about 16 kHz, ends at 17.8 kHz (HIGHEST_BAND in
# acoustic/dsp/levels/filterbank.py).
TOP_HZ = 18000.0
# Cost: finer frames than the bands can follow tell nothing.
HIGHEST_RATE_HZ = 8000.0
# Judgement: slip of half a per cent blurs a line of order 9 over three of its widths in 64 turns.
MOST_TURNS = 64.0
# Judgement: as long as the stillness that is asked for before the push.
SHORTEST_ROOM_S = 2.0
# Judgement: a beat read off 12 turns is known to about 1 / (12 x 7 x 4 harmonics).
TRAIN_SPREAD = 0.003
FITTING = 0.5  # less, and the impact train is none of this bearing's
NAMED = 0.98  # a part is named where the others together are less likely than the rest
TACHOLESS = ("sound", "turns")  # sources that rest on the bearing's own impact train


def _middle_turns(motion: Motion) -> Motion:
    """Keep the middle of a very long run: slip blurs finer lines, and they would cost memory for nothing."""
    if motion.total_turns <= MOST_TURNS:
        return motion
    first = motion.turns[0] + (motion.total_turns - MOST_TURNS) / 2
    turns = np.linspace(first, first + MOST_TURNS, int(MOST_TURNS) * 8 + 1)
    return replace(motion, times_s=np.interp(turns, motion.turns, motion.times_s), turns=turns)


def extract_features(
    recording: Recording,
    motion: Motion,
    bearing: Bearing,
    drivetrain: Drivetrain | None = None,
    *,
    room: Recording | None = None,
) -> Features:
    """Filter in time, read in crank angle, and weigh the lines of every part of bearing and drivetrain."""
    top_hz = min(TOP_HZ, recording.bandwidth_hz)
    motion = _middle_turns(motion)
    fastest_hz = float(motion.speed_hz.max())
    # A fast shaft needs finer frames: some seventy events a turn must stay apart.
    frame_rate_hz = float(np.clip(140 * fastest_hz, 1000.0, HIGHEST_RATE_HZ))
    bank = band_bank(
        recording.heard, sample_rate_hz=recording.sample_rate_hz, top_hz=top_hz, frame_rate_hz=frame_rate_hz
    )
    quiet = None if room is None else _room_bank(room, bank, top_hz)
    levels = without_fixed_angle(angle_levels(bank, motion.times_s, motion.turns, blank_s=motion.own_clicks_s))
    spectra = order_spectra(
        levels.compressed,
        turns=levels.turns,
        groups=band_groups(bank.mid_hz.size, lowest=bank.first_band(LOWEST_LINE_HZ)),
        highest_order=0.45 / bank.frame_s / fastest_hz,
    )
    open_because = _no_drivetrain(motion, drivetrain)
    ranking = _ranked(spectra, levels, motion, bearing, drivetrain, drive_open=not open_because)
    step = Step("band bank", BY, {"top_hz": round(top_hz), "frame_rate_hz": round(1 / bank.frame_s)})
    return Features(
        recording=recording.then(step),
        motion=motion,
        bearing=bearing,
        bank=bank,
        room=quiet,
        over=over_room(bank, motion.start_s, motion.stop_s, motion.still, room=quiet),
        levels=levels,
        spectra=spectra,
        parts=ranking.parts,
        drivetrain=HeardDrivetrain(drivetrain, ranking.drive, open_because),
        counts=ranking.counts,
        unexplained=ranking.unexplained,
        clicks=without(find_clicks(bank), motion.own_clicks_s),
    )


def _ranked(
    spectra: OrderSpectra,
    levels: AngleLevels,
    motion: Motion,
    bearing: Bearing,
    drivetrain: Drivetrain | None,
    *,
    drive_open: bool,
) -> Ranking:
    """The parts of bearing and drivetrain by their lines, at a speed known as well as the motion says."""
    geometries, nats = bearing.candidates, bearing.count_nats
    spread = motion.relative_uncertainty / NINE_IN_TEN
    drive = _drive_sets(drivetrain, spectra, spread) if drive_open else ()
    if motion.impact_train is not None:
        # The scale was read off one part of one of them, which so lies at its very place.
        geometries, nats, spread = _as_read(motion.impact_train, geometries), (), TRAIN_SPREAD
    ranking = rank_parts(
        spectra, levels, geometries, speed_spread=spread, count_nats=nats, drive=drive, rows=bearing.rows
    )
    if motion.source not in TACHOLESS:
        return ranking
    # With the chain on, the impact train that the speed rests on may be the chain's.
    train = None if drivetrain else motion.impact_train
    return replace(ranking, parts=tuple(_with_open_scale(part, train) for part in ranking.parts))


def _room_bank(room: Recording, bank: BandBank, top_hz: float) -> BandBank:
    """The room's own recording in the bands of the other."""
    if room.sample_rate_hz * HIGHEST_SHARE < top_hz or room.duration_s < SHORTEST_ROOM_S:
        raise InputError(
            f"--room {room.path.name}: {room.duration_s:.1f} s at {room.sample_rate_hz:.0f} Hz; two seconds or "
            f"more at {top_hz / HIGHEST_SHARE:.0f} Hz or above are needed",
            hint="Record the still bike with the same phone, at the same place and settings.",
        )
    return band_bank(room.heard, sample_rate_hz=room.sample_rate_hz, top_hz=top_hz, frame_rate_hz=1 / bank.frame_s)


def _no_drivetrain(motion: Motion, drivetrain: Drivetrain | None) -> str:
    """Why the drivetrain's lines cannot be looked for; empty where they can."""
    if motion.source in TACHOLESS:
        return "the crank's angle is known by ear alone"
    if drivetrain is None and motion.spin == "hand":
        return "no tooth counts were given, and a crank spun by hand needs no chain"
    return ""


def _drive_sets(drivetrain: Drivetrain | None, spectra: OrderSpectra, spread: float) -> tuple[HarmonicSet, ...]:
    """The drivetrain's harmonics from the teeth given, or that of the chain that stands out most."""
    if drivetrain is None:
        return (heard_chain(spectra, speed_spread=spread),)
    return drive_sets(drivetrain.orders, speed_spread=spread)


def _as_read(train: HeardTrain, geometries: tuple[BearingGeometry, ...]) -> tuple[BearingGeometry, ...]:
    """The bearing that the impact train was read with."""
    return tuple(geometry for geometry in geometries if geometry.balls == train.readings[0].balls)[:1]


def _with_open_scale(part: PartEvidence, train: HeardTrain | None) -> PartEvidence:
    """A part's evidence where the speed rests on an impact train: no surer than that train and its reading."""
    if train is None or sum(reading.probability for reading in train.readings) < FITTING:
        return replace(part, chance=1.0)
    chances = part_chances(train.readings)
    doubt = (1 - NAMED) * sum(chances.values())
    likely = {name for name, chance in chances.items() if chance > doubt}
    rivals = set(part.rivals) | (likely - {part.part} if len(likely) > 1 else set())
    return replace(part, chance=max(part.chance, train.chance), rivals=tuple(sorted(rivals)))
