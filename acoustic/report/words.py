"""Codes in people's words."""

from __future__ import annotations

CONDITION = {
    "outer_raceway": "outer ring",
    "inner_raceway": "inner ring",
    "ball": "ball",
    "cage": "cage",
    "raceway": "part open",
    "rumble": "rumble",
    "contamination": "dirt",
    "creak": "creak",
    "tight": "tight",
    "drivetrain": "drivetrain",
}
STRUCK = ("outer_raceway", "inner_raceway", "ball", "raceway")  # what a weak strike may be of
# The conditions to a rider, who need not know how a bearing is made.
HEARD = {
    "outer_raceway": "A steady beat, as from a damaged spot on the bearing's outer ring.",
    "inner_raceway": "A steady beat, as from a damaged spot on the bearing's inner ring.",
    "ball": "A steady beat, as from a damaged ball in the bearing.",
    "cage": "A slow, steady beat, as from what keeps the bearing's balls apart.",
    "raceway": "A steady beat from the bearing; which of its parts makes it stays open.",
    "rumble": "A rough rumble, as from rust or wear inside the bearing.",
    "contamination": "Crackling, as from dirt in the bearing.",
    "creak": "A creak that comes at the same place of every turn.",
    "tight": "A noise that swells and fades as the crank turns, as from a bearing that runs tight.",
    "drivetrain": "A steady beat of the chain or what it runs over.",
}
GRADE = {
    "clean": "ride on",
    "watch": "listen again",
    "service": "to the workshop",
    "replace": "new bearing",
    "undecided": "check again",
}
NOTHING_HEARD = "It runs smoothly: no beat, no roughness, no dirt."
SOURCE = {
    "stated": "stated as steady",
    "turns": "from the turns counted",
    "marks": "from the marks given",
    "ticks": "from the ticks heard",
    "channel": "from the mark channel",
    "gyro": "from the gyro",
    "film": "from the film",
    "sound": "from the sound alone",
}
DRIVE = {"chain": "chain links", "jockey": "jockey wheel turns", "hub": "hub turns", "pedal": "pedal turns"}
RAREST = 0.001  # laws read off a few hundred healthy bearings say no more


def chance(probability: float) -> str:
    """Say a probability as one healthy bearing in so many; no law here is known beyond one in a thousand."""
    if probability >= 0.5:
        return "as many a healthy bearing shows"
    if probability < RAREST:
        return "fewer than 1 healthy bearing in 1000 shows as much"
    return f"1 healthy bearing in {float(f'{1 / probability:.1g}'):.0f} shows as much"


def share(probability: float) -> str:
    """Say how likely something is, in whole per cent."""
    if probability < 0.01:
        return "under 1 %"
    return f"{100 * probability:.0f} %"
