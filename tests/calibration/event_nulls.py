"""Null distributions of what has no order: creak, tight, contamination and rumble on recordings that have none.

Run by hand: ``python tests/calibration/event_nulls.py --folder REAL [--recordings N] [--fold held --first 9000]``.
Healthy bearings of both generators, coasting and pedalled, in every room, with talk and bangs, after every
codec, gain and gate; for creaks also pedalled cranks with a damaged ring, which strikes harder under load. The
table prints the scores that half and a tenth of the recordings reach and the mean excess over the latter, with
their standard errors, for each generator and for both together, and how often the stored laws give small
chances. Stored is the law of the generator whose tail is heavier.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from acoustic_plugins.detectors import contamination, creak, rumble, tight
from acoustic_plugins.detectors.angle_locked import locked_bursts
from acoustic_plugins.detectors.modulation import low_order_modulation
from acoustic_plugins.detectors.null_distribution import HALF, TENTH, HealthyScores
from both_generators import parser, recorded
from numpy.typing import NDArray
from pieces import Pieces
from recorded import Generator, record
from rows import pedalled, ring
from spins import draw

from acoustic.api import defect_orders
from acoustic.check.features import extract_features
from acoustic.check.pipeline import read_recording
from acoustic.model import Bearing, Features
from acoustic.plugin.registry import load_plugins
from acoustic.simulator import SpinPlan
from acoustic.speed.from_marks import motion_from_marks

Floats = NDArray[np.float64]
Scores = dict[str, Floats]
FITTED_SEEDS = 1000  # the findings' table is drawn from 0 on; what is held out, from 3000 on
LAWS = {
    "creak, once": creak.ONCE,
    "creak, twice": creak.TWICE,
    "tight": tight.HEALTHY,
    "contamination": contamination.HEALTHY,
    "rumble": rumble.HEALTHY,
    "rumble, no still part": rumble.WITHOUT_STILLNESS,
}


class Heard(NamedTuple):
    """One recording without any of the four."""

    generator: Generator
    plan: SpinPlan
    features: Features


def options(description: str | None) -> argparse.ArgumentParser:
    """Those of every calibration script, from this one's seeds on."""
    made = parser(description or "", recordings=150)
    made.set_defaults(first=FITTED_SEEDS)
    return made


def uneventful(said: argparse.Namespace) -> Iterator[Heard]:
    """The healthy recordings, and a third as many of pedalled cranks with a damaged ring."""
    for made in recorded("healthy", said):
        yield Heard(made.generator, made.plan, heard(made.path, made.plan, made.spin.marks_s))
    generators: tuple[Generator, ...] = ("physical", "pieced") if said.folder else ("physical",)
    for generator in generators:
        pieces = Pieces.load(said.folder, said.fold) if generator == "pieced" else None
        for seed in range(said.first, said.first + said.recordings // 3):
            plan = draw(seed, **pedalled(seed, defects=((ring(seed), -3.0),)))
            with tempfile.TemporaryDirectory() as folder:
                path, _, marks_s = record(
                    plan, seed, Path(folder), widely=True, generator=generator, pieces=pieces
                )
                yield Heard(generator, plan, heard(path, plan, marks_s))


def heard(path: Path, plan: SpinPlan, marks_s: Floats) -> Features:
    """The road of one file by its true marks."""
    recording = read_recording(path, _readers(), [])
    motion = motion_from_marks(marks_s, duration_s=recording.duration_s, source="marks", timing_s=0.003)
    return extract_features(recording, motion, Bearing("drawn", (plan.geometry,), "given", "drawn"))


@cache
def _readers() -> Any:
    return load_plugins().readers


def scores_of(features: Features, plan: SpinPlan) -> dict[str, float]:
    """Every score that is judged in this kind of spin."""
    bank, motion = features.bank, features.motion
    if plan.defects:
        return _creak(features)
    scores = {"contamination": contamination.irregular_clicks(features).score}
    rough = rumble.roughest_bands(features)
    if rough is not None:
        scores["rumble" if rough.of_crank is not None else "rumble, no still part"] = rough.score
    if plan.spin == "pedal":
        return scores | _creak(features)
    swell = low_order_modulation(bank, motion.times_s, motion.turns, defect_orders(plan.geometry).cage)
    return scores if swell is None else {**scores, "tight": swell.score}


def _creak(features: Features) -> dict[str, float]:
    locked = locked_bursts(features.bank, features.motion.times_s, features.motion.turns)
    return {} if locked is None else {f"creak, {'once' if locked.times_a_turn == 1 else 'twice'}": locked.score}


def null_scores(said: argparse.Namespace) -> dict[Generator, Scores]:
    """Scores of all uneventful recordings, by generator and condition."""
    scores: dict[Generator, dict[str, list[float]]] = {}
    for one in uneventful(said):
        for condition, score in scores_of(one.features, one.plan).items():
            scores.setdefault(one.generator, {name: [] for name in LAWS})[condition].append(score)
    return {
        generator: {condition: np.array(values) for condition, values in found.items()}
        for generator, found in scores.items()
    }


def fitted(scores: Floats) -> tuple[HealthyScores, HealthyScores]:
    """Median, tenth and mean excess over it, and their standard errors, read off 200 resamples (the bootstrap)."""
    rng = np.random.default_rng(1)
    again = np.array([_fit(rng.choice(scores, scores.size)) for _ in range(200)])
    return HealthyScores(*_fit(scores)), HealthyScores(*(float(x) for x in again.std(axis=0)))


def _fit(scores: Floats) -> tuple[float, float, float]:
    tenth = float(np.quantile(scores, 1 - TENTH))
    return float(np.quantile(scores, 1 - HALF)), tenth, float(np.mean(scores[scores >= tenth] - tenth))


def print_law(condition: str, where: str, scores: Floats) -> None:
    """One row: the law that these scores give, and what the stored one says of them."""
    law, error = fitted(scores)
    chance = np.array([LAWS[condition].chance(float(score)) for score in scores])
    print(
        f"{condition:<22}{where:<10}{scores.size:>5}  median {law.median:6.2f} +- {error.median:.2f}  "
        f"tenth {law.tenth:6.2f} +- {error.tenth:.2f}  fall {law.fall:5.2f} +- {error.fall:.2f}  "
        f"stored: p<=0.1 {np.mean(chance <= 0.1):6.1%}  "
        f"p<=0.01 {np.mean(chance <= 0.01):6.1%}  p<=0.002 {np.mean(chance <= 0.002):6.1%}  "
        f"highest {np.round(np.sort(scores)[-4:], 1).tolist()}",
        flush=True,
    )


def main() -> None:
    """Print the laws."""
    found = null_scores(options(__doc__).parse_args())
    for condition in LAWS:
        for generator, scores in found.items():
            if scores[condition].size:
                print_law(condition, generator, scores[condition])
        if sum(scores[condition].size > 0 for scores in found.values()) > 1:
            print_law(condition, "both", np.concatenate([scores[condition] for scores in found.values()]))


if __name__ == "__main__":
    main()
