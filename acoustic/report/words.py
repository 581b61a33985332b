"""Codes in people's words."""

from __future__ import annotations

DRIVE = {"chain": "chain links", "jockey": "jockey wheel turns", "hub": "hub turns", "pedal": "pedal turns"}
# A bare adjective in a list says little.
EXPLAINED = {"tight": "tight (noise swelling twice a turn, as under preload)"}
ORDERS = "Times a turn: the order found in the sound, beside the one that this bearing gives."
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
