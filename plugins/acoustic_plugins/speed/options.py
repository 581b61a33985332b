"""The options that ask for the bundled speed sources; imported for help, so that nothing heavy may stand here."""

from __future__ import annotations

from acoustic.api import Option

FILM = (Option(flag="--film", help="Follow the crank in the picture of this film.", kind="flag"),)
GYRO = (
    Option(
        flag="--gyro",
        help="File of angular speed against time, from a phone strapped to the crank arm.",
        kind="file",
        metavar="FILE.csv",
    ),
)
MARK_CHANNEL = (
    Option(
        flag="--mark-channel",
        help="Channel N of the recording holds one pulse per turn.",
        kind="channel",
        metavar="N",
    ),
)
MARKS = (
    Option(
        flag="--marks",
        help="File with the time [s] of each crank turn, one per line.",
        kind="file",
        metavar="FILE.csv",
    ),
)
SPEED = (
    Option(
        flag="--speed",
        help="The crank turns steadily at this speed.",
        kind="number",
        metavar="RPM",
        key="speed_rpm",
    ),
)
TICKS = (
    Option(flag="--ticks", help="A card clicks once per turn and can be heard in the recording.", kind="flag"),
)
TURNS = (
    Option(
        flag="--turns",
        help="Turns of the whole spin, counted by eye, for example 9.5.",
        kind="number",
        metavar="N",
        key="counted_turns",
    ),
)
