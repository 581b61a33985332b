"""What to do next with a seat: one or two steps for each verdict, with the grease in grams."""

from __future__ import annotations

from acoustic.bearings.grease import GreaseAmount
from acoustic.install.fit.advice import Verdict

CORRECT = (
    "Have it corrected by someone who is equipped for it, or ask the frame's maker; acoustic install choose names "
    "the kind of bearing unit that forgives most."
)
AGAIN = "Press nothing into it yet. Clean the seat and read it again"
STEPS: dict[Verdict, tuple[str, ...]] = {
    "out_of_round": (f"{AGAIN} at 0, 60 and 120 degrees.", CORRECT),
    "tapered": (f"{AGAIN} at the mouth and deeper.", CORRECT),
    "outside_limits": (
        f"{AGAIN}, and take the readings to the frame's maker or dealer: "
        "outside the maker's own limits it may be a case for the warranty.",
    ),
    "out_of_line": (
        "Press nothing into it yet. Measure the offset again; if it is so, ask the frame's maker. A unit in one "
        "piece through the shell brings its own alignment: acoustic install choose.",
    ),
    "loose": (
        "Do not rely on the press: read the seat again, clean and dry. If it is so, ask the frame's maker: an "
        "oversize or screwed-together unit, or a retaining compound by its maker's instructions.",
    ),
    "tight": (
        "Do not press it yet: read the seat again, and the outside of this very bearing. If it is so, take a "
        "bearing with more clearance or have the seat corrected; a double row stays out.",
    ),
    "single_only": (
        "Do not press the double row in: take a single row, or measure what is missing (two directions, "
        "two depths, the offset of the seats) and see whether it will do.",
    ),
    "fits": ("Clean seat and bearing, press squarely on the outer ring, and never through the balls.",),
}
COMPARE = (
    "Record it in the hand before and in its seat after: acoustic visit add --kind free, then --kind pressed, "
    "then acoustic install seat."
)


def next_steps(verdict: Verdict, grease: GreaseAmount | None) -> tuple[str, ...]:
    """The steps for a verdict; of grease only where the bearing may go in."""
    found = STEPS[verdict]
    if verdict != "fits":
        return found
    packed = () if grease is None else (f"If you grease it yourself: {grease.words}.",)
    return (*found, *packed, COMPARE)
