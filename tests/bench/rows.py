"""The table of findings: what each row records, how it asks, and what must hold."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from asking import Way

Changes = dict[str, Any]
RINGS = ("outer_raceway", "inner_raceway")
BEARING = (*RINGS, "raceway", "ball", "cage")
DEFECTS = (*BEARING, "contamination", "rumble", "creak", "tight", "drivetrain")
GRADED = ("clean", "watch", "service", "replace")


@dataclass(frozen=True)
class Row:
    """One row of the table.

    Attributes
    ----------
    changes : callable
        Seed to fields of the plan that are not drawn.
    wanted : callable
        Seed to the conditions that count as found, the exact name first.
    wrong : sequence of str
        Conditions that are a mistake where they are not wanted.
    way : {'marks', 'turns', 'gyro', 'alone'}
        How the speed is told.
    least_found, least_named, most_wrong : float or None
        Shares: found of all, named exactly of those found, wrong of all.
    counts : {'findings', 'motion', 'clean', 'never clean', 'never graded', 'one verdict'}
        What 'found' and 'wrong' mean. Findings as they are; a motion within 0.03 turn; graded clean; wrong where
        clean; wrong where graded; wrong too where marks give another verdict.
    recordings : int
        For each generator.
    quick : int
        The same in the quick form, by the physical simulator alone; a row of 0 is left out of it. What is to be
        found needs 60 or more, what must not be called 200: see `bounds`.
    falls_short : float or None
        Share that the physical simulator's recordings of the quick form showed found, where it is known to be less
        than asked: the quick form holds the row there, and says so.
    widely : bool
        Gates, clipping and low rates too.
    """

    changes: Callable[[int], Changes]
    wanted: Callable[[int], Sequence[str]]
    wrong: Sequence[str]
    way: Way = "marks"
    least_found: float | None = None
    least_named: float | None = None
    most_wrong: float | None = None
    counts: Literal["findings", "motion", "clean", "never clean", "never graded", "one verdict"] = "findings"
    recordings: int = 100
    quick: int = 0
    falls_short: float | None = None
    widely: bool = False

    def judged(self, seed: int, result: dict[str, Any]) -> tuple[bool, bool, bool]:
        """Whether a result counts as found, named and wrong. A crash is always wrong."""
        said = set(result["found"])
        wrong = bool((said & set(self.wrong)) - set(self.wanted(seed))) or "crash" in result
        found = bool(said & set(self.wanted(seed)))
        if self.counts == "motion":
            found = result.get("angle_off", 1.0) <= 0.03
        elif self.counts == "clean":
            found = result["grade"] == "clean"
        elif self.counts == "never clean":
            wrong |= result["grade"] == "clean"
        elif self.counts == "never graded":
            wrong |= result["grade"] in GRADED
        elif self.counts == "one verdict":
            both = (result["grade"], result.get("grade_by_marks"))
            wrong |= both[0] != both[1] and both[0] in GRADED and both[1] in GRADED
        return found, found and bool(said & set(self.wanted(seed)[:1])), wrong


def ring(seed: int) -> str:
    """Outer and inner ring by turns."""
    return RINGS[seed % 2]


def nothing(seed: int) -> Sequence[str]:
    return ()


def rings_wanted(seed: int) -> Sequence[str]:
    """The damaged ring, or a raceway left open: which of them is counted apart."""
    return (ring(seed), "raceway")


def rooms(seed: int, level_db: float) -> Changes:
    """Half with talk as loud as the events: over its pauses, and in the events' band, it is at 8 dB more.

    Running noise from what nobody hears to what drowns the room: where it is faint, no level tells when the crank
    turns.
    """
    rng = np.random.default_rng(700_000 + seed)
    loud = seed // 2 % 2 == 0
    return {
        "talk_db": level_db + 8 if loud else float(rng.uniform(-10, -2)),
        "running_db": float(rng.uniform(-18, 3)),
    }


def damaged(level_db: float, *, loud: bool = False) -> Callable[[int], Changes]:
    """One ring damaged, 8 to 20 turns; in loud rooms every fifth is pedalled."""

    def changes(seed: int) -> Changes:
        one: Changes = {
            "defects": ((ring(seed), level_db),),
            "turns": float(np.random.default_rng(seed).uniform(8, 20)),
        }
        if not loud:
            return one
        one |= rooms(seed, level_db)
        return pedalled(seed, **one) if seed % 5 == 4 else one

    return changes


def pedalled(seed: int, **changes: Any) -> Changes:
    """Pedalled for 9 to 18 turns at 50 to 100 turns a minute."""
    rng = np.random.default_rng(300_000 + seed)
    start_hz = rng.uniform(0.8, 1.7)
    return {
        "spin": "pedal",
        "still_s": (1.5, 1.5),
        "duration_s": rng.uniform(9, 18) / start_hz + 3.0,
        "start_hz": start_hz,
        "wobble": rng.uniform(0.01, 0.06),
        "cut_s": (0.0, 0.0) if seed % 4 else (1.6, 1.6),
        **changes,
    }


def healthy(seed: int) -> Changes:
    """Every room: silent, hum, talk, engines, rain; swells at one pace or two; every third one pedalled."""
    rng = np.random.default_rng(800_000 + seed)
    room: Changes = {
        "hum_db": -6.0 if seed % 5 == 0 else None,
        "talk_db": float(rng.uniform(-8, 9)) if seed % 4 else None,
        "compressor_db": float(rng.uniform(-9, 3)) if seed % 7 == 0 else None,
        "surroundings_db": float(rng.uniform(-12, 3)) if seed % 3 == 1 else None,
        "waviness_lines": 1 + seed % 2,
        "knocks": int(rng.integers(0, 4)),
        "running_db": float(rng.uniform(-15, 12)),
    }
    return pedalled(seed, **room) if seed % 3 == 0 else room


def loud_room(seed: int) -> Changes:
    """Loud talk, and an engine that strikes at a pace of its own."""
    rng = np.random.default_rng(400_000 + seed)
    return {"talk_db": 9.0, "compressor_db": float(rng.uniform(-6, 6)), "knocks": 4}


def running(seed: int) -> Changes:
    """A healthy bearing whose running noise is heard well."""
    return {**rooms(seed, -3.0), "running_db": float(np.random.default_rng(seed).uniform(0, 12))}


def heard(seed: int) -> Changes:
    """A healthy bearing over the room, both still parts there, nobody loud."""
    rng = np.random.default_rng(seed)
    return {
        "running_db": float(rng.uniform(0, 12)),
        "talk_db": float(rng.uniform(-12, 0)) if seed % 2 else None,
        "surroundings_db": None,
        "push_db": None,
        "knocks": seed % 2,
        "cut_s": (0.0, 0.0),
        "turns": float(rng.uniform(9, 20)),
    }


def swelling(seed: int) -> Changes:
    """Running noise that swells once a turn by 1 to 3 dB: an arm that hides the microphone, a bent ring.

    The louder it runs and the fewer the turns, the more it looks like a swell at twice the cage's rate.
    """
    rng = np.random.default_rng(seed)
    return {
        "notch": (1.0, float(10 ** (rng.uniform(1, 3) / 20) - 1)),
        "running_db": float(rng.uniform(3, 15)),
        "turns": float(6 + 14 * rng.random() ** 2),
        "cut_s": (0.0, 0.0),
    }


def creaking(seed: int, *, bursts_db: float | None = None) -> Changes:
    """Creaks once or twice a turn, half with talk: 0 dB on average, or so loud while they last."""
    plan = pedalled(seed, creaks_per_turn=1 + seed % 2)
    level_db = 0.0
    if bursts_db is not None:
        # 60 ms each, of which one in eight stays away
        share = 0.06 * plan["start_hz"] * plan["creaks_per_turn"] * 7 / 8
        level_db = bursts_db + 10 * float(np.log10(share))
    return {**plan, "defects": (("creak", level_db),), **rooms(seed, -3.0)}


def _ring_row(level_db: float, least_found: float, falls_short: float | None = None) -> Row:
    return Row(
        damaged(level_db),
        rings_wanted,
        (*RINGS, "ball", "cage", "contamination"),
        least_found=least_found,
        most_wrong=0.01,
        quick=60,
        falls_short=falls_short,
    )


def _creak_row(changes: Callable[[int], Changes], quick: int = 0) -> Row:
    return Row(changes, lambda seed: ("creak",), BEARING, least_found=0.92, most_wrong=0.02, quick=quick)


ROWS = {
    "alone-3": Row(damaged(-3, loud=True), rings_wanted, RINGS, "alone", 0.92, None, 0.02, quick=60),
    "turns-3": Row(damaged(-3, loud=True), rings_wanted, RINGS, "turns", 0.92, 0.90, 0.02, quick=60),
    "gyro-3": Row(
        damaged(-3, loud=True), rings_wanted, RINGS, "gyro", 0.98, None, None, "motion", quick=60, falls_short=0.78
    ),
    "ring-8": _ring_row(-8, 0.97),
    "ring-14": _ring_row(-14, 0.90),
    "ring-18": _ring_row(-18, 0.60, falls_short=0.38),
    "ball-8": Row(
        lambda seed: {"defects": (("ball", -8.0),), "turns": float(np.random.default_rng(seed).uniform(8, 20))},
        lambda seed: ("ball", "raceway"),
        (*RINGS, "cage", "contamination"),
        least_found=0.90,
        most_wrong=0.03,
        quick=60,
    ),
    "creak": _creak_row(creaking, quick=60),
    "creak-bursts": _creak_row(lambda seed: creaking(seed, bursts_db=0.0)),
    "speech-squeal": Row(
        lambda seed: pedalled(seed, talk_db=6.0, squeal_db=9.0 if seed % 2 else None),
        nothing,
        ("creak",),
        most_wrong=0.02,
    ),
    "grit-3": Row(
        lambda seed: {"defects": (("grit", -3.0),)},
        lambda seed: ("contamination",),
        BEARING,
        least_found=0.92,
        most_wrong=0.02,
        quick=60,
    ),
    "healthy": Row(healthy, nothing, DEFECTS, most_wrong=0.01, recordings=250, quick=200, widely=True),
    "healthy-turns": Row(running, nothing, DEFECTS, "turns", most_wrong=0.02, counts="one verdict"),
    "healthy-alone": Row(running, nothing, DEFECTS, "alone", most_wrong=0.02, counts="one verdict"),
    "clean-marks": Row(heard, nothing, DEFECTS, "marks", 0.85, None, 0.01, "clean", quick=60),
    "clean-turns": Row(heard, nothing, DEFECTS, "turns", 0.70, None, 0.01, "clean"),
    "spoilt": Row(damaged(-3), rings_wanted, (), most_wrong=0.0, counts="never clean", recordings=150, quick=200),
    "other-marks": Row(damaged(-3), nothing, (), most_wrong=0.05, counts="never graded"),
    "swell": Row(swelling, nothing, ("tight",), most_wrong=0.0),
    "harsh": Row(loud_room, nothing, DEFECTS, most_wrong=0.01, widely=True),
    "harsh-3": Row(
        lambda seed: {**loud_room(seed), "defects": ((ring(seed), -3.0),)},
        rings_wanted,
        (*RINGS, "ball", "cage", "contamination", "creak", "tight"),
        most_wrong=0.01,
        widely=True,
    ),
    "tight": Row(
        lambda seed: {"notch": (2.0 if seed % 2 else 0.888, 0.5), "running_db": 3.0},
        lambda seed: ("tight",),
        (*BEARING, "contamination", "rumble"),
    ),
}
