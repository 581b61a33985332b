"""What limits the turning part: how its angle is known, how long it is, and whether the crank is heard in it."""

from __future__ import annotations

from acoustic.api import DETECTION_CHANCE, Features, Problem, block_levels_db, healthy_db, regularity
from acoustic_plugins.quality.following import Contrast, fast_over_slow, noise_steps, turning_over_still
from acoustic_plugins.quality.samples import LONGER, SHORTEST_S

# Judged on simulated spins: below these a defect of middling size is missed more often than found.
FEWEST_TURNS, FEW_TURNS = 4.0, 6.0
# Running noise grows with about the square of the speed. A bearing a third of whose level at full speed is its
# own sounds 1.5 dB louder in the fastest third of a usual run-down than in the slowest. A machine in the room may
# change its level by a decibel; the shape of its spectrum stays.
HEARD_CERTAINTY, HEARD_DB, RESHAPED_DB = 4.0, 1.5, 0.8
# Judgement: the hand pushes for as long, and knocks.
PUSH_S = 0.3
COASTS = 1.5  # times as fast in the fastest third as in the slowest
# Judgement: ten times as sure as a finding (DETECTION_CHANCE).
RHYTHM_HEARD = 0.001
# Judgement: a little less than what half the speed takes off, 6 dB by the square law above.
COASTING_DB = 5.0
# Judgement: clicks at random are as even once in 10 000.
EVEN = 1e-4

NEARER = (
    "Record again with the phone's microphone a hand's width from the bearing, on the shell's side away from "
    "the chain, and keep the room quiet."
)
SURER = "Film the crank with a strip of tape on one arm (--film), or let a card click once a turn (--ticks)."
COUNTED = f"{SURER} Counting the turns of the whole spin (--turns N) helps too."


def problems_of_turning(features: Features) -> list[Problem]:
    """List what limits what the turning part can tell."""
    return [
        *_by_ear(features),
        *_short(features),
        *_unsteady(features),
        *_follows(features),
        *_steady_noise(features),
        *_stray(features),
        *_fixed_angle(features),
    ]


def _by_ear(features: Features) -> list[Problem]:
    """A speed taken from the bearing's own sound says little where the bearing makes little."""
    motion = features.motion
    if motion.source not in ("sound", "turns"):
        return []
    if features.drivetrain.given is not None:
        return [
            Problem(
                "chain_on",
                "the crank's speed is known by the sound's own rhythm alone, and with the chain on that may be "
                "the chain's",
                "Take the chain off, or give the crank's angle: film it (--film) or mark every turn (--marks).",
                voids="clean",
            )
        ]
    if motion.impact_train is None and motion.source == "sound":
        return [
            Problem(
                "no_beat",
                "nothing heard keeps the crank's time, so its speed is not known",
                COUNTED,
                voids="clean",
            )
        ]
    if motion.scale_known:
        return []
    return [
        Problem(
            "scale_open",
            "the speed is known by the bearing's own rhythm alone, and which part makes it is open",
            COUNTED,
            voids="clean",
        )
    ]


def _short(features: Features) -> list[Problem]:
    turns = features.motion.total_turns
    lasting_s = features.motion.stop_s - features.motion.start_s
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


def _follows(features: Features) -> list[Problem]:
    """Whether the sound follows the crank, so that silence at the bearing's orders says something."""
    motion = features.motion
    coast = fast_over_slow(features.bank, motion.times_s, motion.speed_hz, least_ratio=COASTS)
    if coast is not None:
        return [] if _stands_out(coast) else [_faint("fast or slow, the crank sounds alike")]
    still = turning_over_still(features.bank, motion.start_s, motion.stop_s, motion.still)
    if still:
        heard = all(_stands_out(one) for one in still)
        return [] if heard else [_faint("the turning crank is no louder than the room")]
    over = features.over  # the room recorded apart
    if over is not None and bool((over.excess_db * (over.certainty >= HEARD_CERTAINTY) >= HEARD_DB).any()):
        return []
    rhythm_heard = any(part.certain for part in features.parts)
    return [
        Problem(
            "no_still_part",
            "no still part was found to tell the room's noise from the bearing's"
            + ("" if rhythm_heard else ", and nothing heard keeps the crank's time"),
            LONGER,
            voids="nothing" if rhythm_heard else "clean",
        )
    ]


def _stands_out(contrast: Contrast) -> bool:
    """By its level, or, where automatic gain hides that, by which bands are loud among the others."""
    return contrast.louder(least_db=HEARD_DB, certainty=HEARD_CERTAINTY) or contrast.reshaped(
        least_db=RESHAPED_DB, certainty=HEARD_CERTAINTY
    )


def _faint(what: str) -> Problem:
    return Problem(
        "faint", f"{what}: a healthy bearing and a phone too far away cannot be told apart", NEARER, voids="clean"
    )


def _steady_noise(features: Features) -> list[Problem]:
    """A steady noise that begins or ends at once hides what the crank does, and no crank makes it."""
    motion = features.motion
    # A driven crank may begin at once, up to a turn before its first mark.
    begins_s = motion.start_s - 1 / float(motion.speed_hz[0]) - PUSH_S
    telling = [
        step
        for step in noise_steps(features.bank)
        # What ends before the push, or changes once the crank stands, hides nothing.
        if (step.rise_db > 0 and step.at_s < begins_s)
        or motion.start_s + PUSH_S < step.at_s < motion.stop_s - PUSH_S
    ]
    if not telling:
        return []
    step = max(telling, key=lambda one: abs(one.rise_db))
    return [
        Problem(
            "steady_noise",
            f"at {step.at_s:.1f} s a steady noise {'begins' if step.rise_db > 0 else 'ends'} at once, "
            f"{abs(step.rise_db):.0f} dB in all bands; no crank sounds so",
            "Switch off machines in the room; if none was running, copy the damaged file from the phone again.",
            voids="clean",
        )
    ]


def _unsteady(features: Features) -> list[Problem]:
    """A coasting crank under a speed that was stated as steady."""
    import numpy as np

    motion = features.motion
    if motion.source != "stated":
        return []
    times_s, levels_db = block_levels_db(features.bank)
    loud_db = levels_db[features.bank.mid_hz >= 500].mean(axis=0)
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


def _stray(features: Features) -> list[Problem]:
    """A rhythm that the assumed bearing does not make: then silence at its orders is no health."""
    import numpy as np

    motion, stray = features.motion, features.unexplained
    heard = (*features.parts, *features.drivetrain.parts)
    known = [part.impact_ratio for part in heard if part.chance < RHYTHM_HEARD]
    strength_db = 10 * np.log10(max(stray.impact_ratio, 1e-9))
    clear = stray.chance <= DETECTION_CHANCE and strength_db >= healthy_db("unexplained")
    clicks_s = features.clicks.times_s
    inside = clicks_s[(clicks_s >= motion.start_s) & (clicks_s < motion.stop_s)]
    if clear and stray.impact_ratio > max(known, default=0.0):
        what = f"a steady rhythm of {stray.order:.2f} strikes a turn fits no part of this bearing"
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


def _fixed_angle(features: Features) -> list[Problem]:
    """What sounds at the same angle in every turn is no bearing's rhythm, but worth a look."""
    if not features.levels.fixed_angles:
        return []
    return [
        Problem(
            "fixed_angle",
            "something sounds at the same angle of the crank in every turn; it was left out",
            "That is no bearing's rhythm: check crank arms, pedals, chainring bolts and whatever may rub.",
        )
    ]
