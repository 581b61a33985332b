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
SPIN = {"hand": "spun by hand", "pedal": "pedalled", "steady": "turned steadily"}


def chance(probability: float) -> str:
    """Say a probability as one sound bearing in so many."""
    if probability >= 0.5:
        return "as many a sound bearing shows"
    if probability < 1e-9:
        return "no sound bearing in 1 000 000 000 shows as much"
    size = 1 / probability
    rounded = int(float(f"{size:.1g}"))
    return f"one sound bearing in {rounded:,} shows as much".replace(",", " ")


def share(probability: float) -> str:
    """Say how likely something is, in whole per cent."""
    if probability < 0.01:
        return "under 1 %"
    return f"{100 * probability:.0f} %"
