"""The options that ask for the bundled speed sources; imported for help, so that nothing heavy may stand here."""

from __future__ import annotations

from acoustic.api import Option

FILM = (Option(flag="--film", help="Follow the crank in the picture of this film.", kind="flag"),)
GYRO = (
    Option(
        flag="--gyro",
        help="Angular speed against time, from a phone strapped to the crank arm.",
        kind="file",
        metavar="FILE.csv",
    ),
)
MARK_CHANNEL = (
    Option(
        flag="--mark-channel",
        help="A pulse once a turn is on channel N of the recording.",
        kind="channel",
        metavar="N",
    ),
)
MARKS = (
    Option(
        flag="--marks", help="Times [s] of one mark a crank turn, one a line.", kind="file", metavar="FILE.csv"
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
TICKS = (Option(flag="--ticks", help="A card clicks once per turn and can be heard in the recording.", kind="flag"),)
TURNS = (
    Option(
        flag="--turns",
        help="Turns of the whole spin counted by eye, 9.5 say.",
        kind="number",
        metavar="N",
        key="counted_turns",
    ),
)
