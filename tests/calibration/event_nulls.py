"""Null distributions of what has no order: creak, tight, contamination and rumble on healthy recordings.

Run by hand: ``python tests/calibration/event_nulls.py --folder REAL [--recordings N] [--held]``. Healthy bearings
of both generators, coasting and pedalled, in every room, with talk and bangs, after every codec, gain and
gate. The scores' upper fifth, where a finding begins to be rare, is fitted with an exponential tail; the
table prints location and scale with their standard errors, for each generator and for both together, and
how often the stored laws give small chances. Stored is the law of the generator whose tail is heavier.
``--held`` draws other seeds and the other half of the pieces.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from acoustic_plugins.detectors import contamination, creak, rumble, tight
from acoustic_plugins.detectors.angle_locked import locked_bursts
from acoustic_plugins.detectors.modulation import low_order_modulation
from acoustic_plugins.detectors.null_distribution import ExponentialTail
from numpy.typing import NDArray

from acoustic.api import defect_orders
from acoustic.listen import hear
from acoustic.marks import motion_from_marks
from acoustic.model import Bearing, Hearing
from acoustic.pipeline import read_recording
from acoustic.plugins import load_toolbox
from acoustic.simulator import SpinPlan

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from pieces import Pieces
from recorded import Generator, record
from rows import healthy, running
from spins import draw

Floats = NDArray[np.float64]
UPPER = 0.2  # share of the scores that the tail is fitted to
FITTED_SEEDS, HELD_SEEDS = 3000, 9000  # the findings' table is drawn from 0 on
LAWS = {
    "creak": creak.HEALTHY,
    "tight": tight.HEALTHY,
    "contamination": contamination.HEALTHY,
    "rumble": rumble.HEALTHY,
}


def healthy_plan(seed: int) -> SpinPlan:
    """Draw a healthy bearing in the rooms of the findings' table; every fourth stands well over its room."""
    return draw(seed, **(running(seed) if seed % 4 == 1 and seed % 3 else healthy(seed)))


def heard(plan: SpinPlan, seed: int, generator: Generator, pieces: Pieces | None) -> Hearing:
    """The whole road of one recording, as a file, by its true marks."""
    with tempfile.TemporaryDirectory() as folder:
        path, _, marks_s = record(plan, seed, Path(folder), widely=True, generator=generator, pieces=pieces)
        recording = read_recording(path, _readers(), [])
    motion = motion_from_marks(marks_s, duration_s=recording.duration_s, source="marks", timing_s=0.003)
    return hear(recording, motion, Bearing("drawn", (plan.geometry,), "given", "drawn"))


@cache
def _readers() -> Any:
    return load_toolbox().readers


def scores_of(hearing: Hearing, plan: SpinPlan) -> dict[str, float]:
    """Every score that is judged in this kind of spin."""
    bank, motion = hearing.bank, hearing.motion
    if plan.spin == "pedal":
        locked = locked_bursts(bank, motion.times_s, motion.turns)
        return {} if locked is None else {"creak": locked.score}
    scores = {"contamination": contamination.irregular_clicks(hearing).score}
    cage = defect_orders(plan.geometry).cage
    swell = low_order_modulation(bank, motion.times_s, motion.turns, cage)
    rough = rumble.roughest_bands(hearing)
    if swell is not None:
        scores["tight"] = swell.score
    if rough is not None and rough.of_crank is not None:
        scores["rumble"] = rough.score
    return scores


def healthy_scores(
    count: int, generator: Generator, pieces: Pieces | None = None, *, first_seed: int = FITTED_SEEDS
) -> dict[str, Floats]:
    """Scores of so many healthy recordings of one generator, by condition."""
    scores: dict[str, list[float]] = {condition: [] for condition in LAWS}
    for seed in range(first_seed, first_seed + count):
        plan = healthy_plan(seed)
        for condition, score in scores_of(heard(plan, seed, generator, pieces), plan).items():
            scores[condition].append(score)
    return {condition: np.array(values) for condition, values in scores.items()}


def fitted(scores: Floats) -> tuple[ExponentialTail, ExponentialTail]:
    """Exponential tail of the upper fifth, by maximum likelihood, and its standard errors.

    The mean excess over the quantile is the scale; the location is where the tail, drawn down, reaches one.
    The errors are read off 200 resamples (the bootstrap).
    """
    rng = np.random.default_rng(1)
    again = np.array([_fit(rng.choice(scores, scores.size)) for _ in range(200)])
    return ExponentialTail(*_fit(scores)), ExponentialTail(*(float(x) for x in again.std(axis=0)))


def _fit(scores: Floats) -> tuple[float, float]:
    least = float(np.quantile(scores, 1 - UPPER))
    scale = float(np.mean(scores[scores >= least] - least))
    return least + scale * float(np.log(UPPER)), scale


def print_law(condition: str, where: str, scores: Floats) -> None:
    """One row: the law that these scores give, and what the stored one says of them."""
    law, error = fitted(scores)
    chance = np.array([LAWS[condition].chance(float(score)) for score in scores])
    print(
        f"{condition:<14}{where:<10}{scores.size:>5}  location {law.location:6.2f} +- {error.location:.2f}  "
        f"scale {law.scale:5.2f} +- {error.scale:.2f}  stored: p<=0.1 {np.mean(chance <= 0.1):6.1%}  "
        f"p<=0.01 {np.mean(chance <= 0.01):6.1%}  p<=0.002 {np.mean(chance <= 0.002):6.1%}  "
        f"highest {np.round(np.sort(scores)[-4:], 1).tolist()}",
        flush=True,
    )


def main() -> None:
    """Print the laws."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, help="real recordings, to piece spins together")
    parser.add_argument("--recordings", type=int, default=200, help="of each generator, a third of them pedalled")
    parser.add_argument("--held", action="store_true", help="other seeds, and the other half of the pieces")
    said = parser.parse_args()
    first = HELD_SEEDS if said.held else FITTED_SEEDS
    drawn = {"physical": healthy_scores(said.recordings, "physical", first_seed=first)}
    if said.folder:
        pieces = Pieces.load(said.folder, "held" if said.held else "build")
        drawn["pieced"] = healthy_scores(said.recordings, "pieced", pieces, first_seed=first)
    for condition in LAWS:
        for where, scores in drawn.items():
            print_law(condition, where, scores[condition])
        if len(drawn) > 1:
            print_law(condition, "both", np.concatenate([scores[condition] for scores in drawn.values()]))


if __name__ == "__main__":
    main()
