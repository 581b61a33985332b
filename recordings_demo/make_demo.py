"""Make the demo recordings and their manifest from the simulator.

Run ``python recordings_demo/make_demo.py`` to write them again; the seeds are
fixed. The workshop, its tickets and its bikes are invented, and so is every sound.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import soundfile

from acoustic.dsp.geometry import BearingGeometry
from acoustic.simulator import SpinPlan, simulate

FOLDER = Path(__file__).parent
HEAD = """\
# Demo recordings of the Lantern Yard workshop, which does not exist. Every sound
# is simulated (acoustic/simulator) by make_demo.py; so is every bike and ticket.
# `truth` says what was simulated; `grade` and `detected` what the check is to find.
"""
SIZES = {
    "6805": BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0),
    "6806": BearingGeometry(balls=18, ball_diameter_mm=3.5, pitch_diameter_mm=36.0),
}


@dataclass(frozen=True)
class Ticket:
    """One demo recording: what is simulated, and what the check is to say."""

    file: str
    story: str
    bearing: str
    speed: str
    grade: str
    detected: tuple[str, ...]
    truth: str
    plan: dict[str, Any] = field(default_factory=dict)


COMMON: dict[str, Any] = {
    "duration_s": 12.0,
    "turns": 11.5,
    "start_hz": 1.8,
    "running_db": 4.0,
    "level": 0.005,
}
TICKETS = (
    Ticket(
        "ticket-101-grey-commuter",
        "Annual service. Chain off, crank spun by hand in the stand.",
        "6805",
        "marks",
        "clean",
        (),
        "a healthy bearing with the slight waviness of any",
        {"waviness": 0.06},
    ),
    Ticket(
        "ticket-102-red-road-bike",
        "Ticks at every turn of the pedals, says the rider.",
        "6806",
        "marks",
        "replace",
        ("outer_raceway",),
        "one deep pit in the outer ring's raceway, strikes 4 dB over the room",
        {"defects": (("outer_raceway", 4.0),), "slip": 0.006},
    ),
    Ticket(
        "ticket-103-blue-tourer",
        "Back from a wet tour, grumbles under the left foot.",
        "6805",
        "marks",
        "replace",
        ("inner_raceway",),
        "one deep pit in the inner ring's raceway, strikes 5 dB over the room",
        {"defects": (("inner_raceway", 5.0),), "load_zone": 0.8, "hum_db": 3.0},
    ),
    Ticket(
        "ticket-104-green-gravel-bike",
        "Noisy since a crash; nothing to be felt by hand.",
        "6806",
        "marks",
        "replace",
        ("ball",),
        "one spalled ball, strikes 5 dB over the room",
        {"defects": (("ball", 5.0),), "load_zone": 0.7, "talk_db": 6.0},
    ),
    Ticket(
        "ticket-105-yellow-winter-bike",
        "Stood outside all winter. Feels like gravel.",
        "6805",
        "marks",
        "replace",
        ("inner_raceway", "outer_raceway", "rumble"),
        "rust pits all round both rings, 16 dB over the room",
        {"defects": (("pitted", 16.0),), "pits": 14},
    ),
    Ticket(
        "ticket-106-black-mountain-bike",
        "Hosed down after a muddy race, crackles ever since.",
        "6806",
        "marks",
        "service",
        ("contamination",),
        "grit: nine irregular crackles a turn, 3 dB over the room",
        {"defects": (("grit", 3.0),), "knocks": 1},
    ),
    Ticket(
        "ticket-107-white-town-bike",
        "Recorded with the phone on the far bench, compressor running.",
        "6805",
        "marks",
        "undecided",
        (),
        "a healthy bearing, far below the room's noise",
        {"running_db": -25.0, "hum_db": 12.0, "room_tilt_db": -2.0, "high_hz": 9000.0},
    ),
    Ticket(
        "ticket-108-orange-cargo-bike",
        "Pedalled in the stand at a steady cadence; the turns marked from the film of it.",
        "6805",
        "marks",
        "watch",
        ("outer_raceway",),
        "an early pit in the outer ring's raceway, strikes 9 dB under the room",
        {
            "defects": (("outer_raceway", -9.0),),
            "spin": "pedal",
            "start_hz": 1.25,
            "running_db": 5.0,
        },
    ),
    Ticket(
        "ticket-109-violet-single-speed",
        "Crank spun by hand; a strip of card on the chainstay flicks the arm once a turn.",
        "6806",
        "ticks",
        "watch",
        ("inner_raceway",),
        "an early pit in the inner ring's raceway, strikes 11 dB under the room, beside a loud tick",
        {"defects": (("inner_raceway", -11.0),), "ticks_db": 34.0, "running_db": 3.0, "load_zone": 0.5},
    ),
)


def main() -> None:
    """Write every recording, its marks and the manifest."""
    entries = [HEAD]
    for number, ticket in enumerate(TICKETS):
        plan = SpinPlan(geometry=SIZES[ticket.bearing], seed=4100 + number, **{**COMMON, **ticket.plan})
        spin = simulate(plan)
        soundfile.write(FOLDER / f"{ticket.file}.flac", spin.samples, spin.sample_rate_hz, subtype="PCM_16")
        if ticket.speed == "marks":
            marks = "time_s\n" + "".join(f"{mark:.3f}\n" for mark in spin.marks_s)
            (FOLDER / f"{ticket.file}.marks.csv").write_text(marks, encoding="utf-8", newline="\n")
        entries.append(_entry(ticket))
    (FOLDER / "manifest.toml").write_text("\n".join(entries), encoding="utf-8", newline="\n")


def _entry(ticket: Ticket) -> str:
    speed = {
        "marks": f'marks = "{ticket.file}.marks.csv"',
        "ticks": "ticks = true",
    }[ticket.speed]
    detected = ", ".join(f'"{condition}"' for condition in ticket.detected)
    return (
        f'[[recording]]\nfile = "{ticket.file}.flac"\nstory = "{ticket.story}"\nbearing = "{ticket.bearing}"\n'
        f'{speed}\ntruth = "{ticket.truth}"\ngrade = "{ticket.grade}"\ndetected = [{detected}]\n'
    )


if __name__ == "__main__":
    main()
