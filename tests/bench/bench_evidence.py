"""The chain's evidence against published methods, on the same recordings with the same crank angle.

Run by hand: ``python tests/bench/bench_evidence.py [--quick] [--recordings N]``. Each method gives one score for
the outer and one for the inner ring of the true geometry. Its threshold is the 99th percentile of the larger of
the two over healthy recordings, so that all are compared at the same rate of false alarms; then the share of
damaged ones past it is counted, and in how many of all the damaged ring scores higher. All methods' order
spectra are read in three ways: 'sum', five harmonics summed over the floor; 'rest', six less the strongest,
since waviness raises one; and 'likelihood', the log Bayes factor of ten less the strongest two, with the
sidebands of that ring. Ours goes on from there: 'chance' is what a finding carries, after calibration and
competition. A quarter of the recordings went through AAC, a quarter through automatic gain. The seeds are none
of those the chain was tuned on. Times count all three readings of a rival, and of ours the whole `hear`.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import scipy.fft
from acoustic_plugins.detectors.defect_lines import DefectLines
from numpy.typing import NDArray
from recorded import record
from rival_methods import RIVALS, take
from spins import draw

from acoustic.check.features import extract_features
from acoustic.check.pipeline import read_recording
from acoustic.dsp.geometry import BearingGeometry
from acoustic.dsp.orders.harmonics import REACH, HarmonicSet, LineEvidence, bases_about, log_prior, log_sum
from acoustic.dsp.orders.hypotheses import part_sets
from acoustic.dsp.orders.spectrum import OrderSpectra
from acoustic.errors import InputError
from acoustic.model import Bearing, Features, Motion, Recording
from acoustic.plugin.registry import load_plugins
from acoustic.speed.from_marks import motion_from_marks

Floats = NDArray[np.float64]
Scores = tuple[float, float]

RINGS = ("outer_raceway", "inner_raceway")
FIRST_SEED = 40_000
QUANTILES = (0.99, 0.95)  # the second rests on fewer sound recordings' luck
SUMMED = 5
TIMING_S = 0.003
LEAST_CHANCE = 1e-300


def ring(seed: int) -> str:
    """Outer and inner ring by turns, so that each is recorded in all four ways."""
    return RINGS[(seed + seed // 4) % 2]


def damaged(level_db: float, **more: Any) -> Callable[[int], dict[str, Any]]:
    """One ring damaged, 8 to 20 turns."""
    return lambda seed: {
        "defects": ((ring(seed), level_db),),
        "turns": float(np.random.default_rng(seed).uniform(8, 20)),
        **more,
    }


ROWS: dict[str, Callable[[int], dict[str, Any]]] = {
    "sound": lambda seed: {"hum_db": -6.0 if seed % 5 == 0 else None},
    "ring-8": damaged(-8),
    "ring-14": damaged(-14),
    "ring-18": damaged(-18),
    "ring-8 bangs": damaged(-8, knocks=3, talk_db=6.0),
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What all methods say of one recording: scores by method and reading, seconds by method, rings detected."""

    seed: int
    scores: dict[str, Scores]
    seconds: dict[str, float]
    detected: tuple[str, ...]


def sets_of(geometry: BearingGeometry) -> tuple[HarmonicSet, HarmonicSet]:
    """Harmonics of the outer and the inner ring, with the check's own room for slip (0.6 %, one deviation)."""
    sets = {one.name: one for one in part_sets(geometry, speed_spread=0.0)}
    return sets[RINGS[0]], sets[RINGS[1]]


def harmonic_sum(spectra: OrderSpectra, ring_set: HarmonicSet, *, dropped: int) -> float:
    """Harmonics of an order summed over the floor, less the strongest ones: highest over slips and rows."""
    tolerance = REACH * ring_set.spread
    tried = ring_set.order * (
        1 + np.linspace(-tolerance, tolerance, 2 * math.ceil(tolerance * spectra.turns * 160) + 1)
    )
    index = np.rint(np.multiply.outer(np.arange(1, SUMMED + dropped + 1), tried) / spectra.orders[1])
    places = index.astype(np.intp)
    known = places < spectra.orders.size
    lines = np.where(known, spectra.power[:, np.minimum(places, spectra.orders.size - 1)], 1.0)
    return float(np.sort(lines, axis=1)[:, :SUMMED].sum(axis=1).max())


def likelihood(spectra: OrderSpectra, ring_set: HarmonicSet) -> float:
    """Log Bayes factor of the harmonics less the strongest two, over the prior of their order [nats]."""
    bases = bases_about(ring_set.order, ring_set.spread, spectra.turns)
    scores = LineEvidence(spectra).scores(bases, ring_set.offsets)
    return log_sum(scores.trimmed + log_prior(ring_set.order, ring_set.spread, bases))


READINGS: dict[str, Callable[[OrderSpectra, HarmonicSet], float]] = {
    "sum": lambda spectra, ring_set: harmonic_sum(spectra, ring_set, dropped=0),
    "rest": lambda spectra, ring_set: harmonic_sum(spectra, ring_set, dropped=1),
    "likelihood": likelihood,
}


def read_rings(spectra: OrderSpectra, geometry: BearingGeometry, name: str) -> dict[str, Scores]:
    """Scores of both rings in one method's spectra, in each reading."""
    outer, inner = sets_of(geometry)
    return {
        f"{name}, {reading}": (look(spectra, outer), look(spectra, inner)) for reading, look in READINGS.items()
    }


def our_scores(features: Features) -> tuple[dict[str, Scores], tuple[str, ...]]:
    """Scores of both rings by the chain, and what it calls damaged.

    'chance' is -ln of the chance of such lines in a healthy bearing, after all parts have competed.
    """
    found = DefectLines().detect(features)
    chances = {finding.condition: finding.false_alarm_probability for finding in found}
    scores = {"ours, chance": (_nats(chances[RINGS[0]]), _nats(chances[RINGS[1]]))}
    return scores, tuple(f.condition for f in found if f.detected)


def _nats(chance: float) -> float:
    return -math.log(max(chance, LEAST_CHANCE))


def listen(recording: Recording, motion: Motion, bearing: Bearing, seed: int) -> Outcome:
    """Let every method hear one recording, each timed."""
    scores: dict[str, Scores] = {}
    seconds: dict[str, float] = {}
    start = time.perf_counter()
    features = extract_features(recording, motion, bearing)
    ours, detected = our_scores(features)
    seconds["ours"] = time.perf_counter() - start
    scores |= ours | read_rings(features.spectra, bearing.geometry, "ours")
    start = time.perf_counter()
    part = take(recording.heard, recording.sample_rate_hz, motion.times_s, motion.turns)
    shared_s = time.perf_counter() - start
    for name in RIVALS:
        start = time.perf_counter()
        scores |= read_rings(RIVALS[name](part), bearing.geometry, name)
        seconds[name] = shared_s + time.perf_counter() - start
    return Outcome(seed, scores, seconds, detected)


def heard_by_all(row: str, seed: int, waviness_lines: int) -> Outcome | None:
    """Simulate one recording and let all methods hear it; None where its marks are refused."""
    plan = draw(seed, waviness_lines=waviness_lines, **ROWS[row](seed))
    # A little more still time at the end, for a length that transforms fast: simulating costs most of the time.
    samples = scipy.fft.next_fast_len(int(plan.duration_s * plan.sample_rate_hz), real=True)
    plan = replace(plan, duration_s=(samples + 0.5) / plan.sample_rate_hz)
    with tempfile.TemporaryDirectory() as folder:
        path, _, marks_s = record(plan, seed, Path(folder), widely=False)
        recording = read_recording(path, load_plugins().readers, [])
    try:
        motion = motion_from_marks(marks_s, duration_s=recording.duration_s, source="marks", timing_s=TIMING_S)
    except InputError:
        return None
    return listen(recording, motion, Bearing("drawn", (plan.geometry,), "given", "drawn"), seed)


def row_of(row: str, count: int, waviness_lines: int) -> list[Outcome]:
    """Hear a whole row, and say how many were left out."""
    heard = [heard_by_all(row, FIRST_SEED + k, waviness_lines) for k in range(count)]
    kept = [outcome for outcome in heard if outcome is not None]
    print(f"{row}: {len(kept)} recordings, {count - len(kept)} refused for their marks", file=sys.stderr)
    return kept


def print_table(rows: dict[str, list[Outcome]], quantile: float) -> None:
    """Print for each method: threshold, then found and right ring, row by row."""
    sound = rows["sound"]
    names = [name for name in rows if name != "sound"]
    print(f"\nat {1 - quantile:.0%} false alarms, of {len(sound)} sound: found | right ring larger")
    print(f"{'':<28}{'threshold':>10}" + "".join(f"{name:>16}" for name in names))
    for method in sound[0].scores:
        limit = float(np.quantile([max(o.scores[method]) for o in sound], quantile))
        shown = []
        for name in names:
            found = np.mean([max(o.scores[method]) > limit for o in rows[name]])
            right = np.mean([_right(o.scores[method], o.seed) for o in rows[name]])
            shown.append(f"{found:>9.0%} | {right:>4.0%}")
        print(f"{method:<28}{limit:>10.1f}" + "".join(shown))


def print_own_rule(rows: dict[str, list[Outcome]]) -> None:
    """Print what the check itself calls damaged."""
    sound = rows["sound"]
    names = [name for name in rows if name != "sound"]
    print(f"\nours by its own rule: called damaged in {_called(sound):.1%} of the sound")
    for name in names:
        named = np.mean([ring(o.seed) in o.detected for o in rows[name]])
        wrong = np.mean([bool(set(o.detected) & set(RINGS) - {ring(o.seed)}) for o in rows[name]])
        print(f"  {name:<16} found {_called(rows[name]):.0%}, ring named {named:.0%}, wrong ring {wrong:.0%}")


def _right(scores: Scores, seed: int) -> bool:
    """Whether the damaged ring scores higher than the other."""
    own = RINGS.index(ring(seed))
    return scores[own] > scores[1 - own]


def _called(outcomes: list[Outcome]) -> float:
    """Share in which a ring, or an open raceway, is called damaged."""
    return float(np.mean([bool(set(o.detected) & {*RINGS, "raceway"}) for o in outcomes]))


def print_times(outcomes: list[Outcome]) -> None:
    """Print each method's time on a recording, and over ours."""
    print(f"\n{'time a recording':<28}{'median':>10}{'over ours':>12}")
    ours = np.array([o.seconds["ours"] for o in outcomes])
    for method in outcomes[0].seconds:
        spent = np.array([o.seconds[method] for o in outcomes])
        print(f"{method:<28}{np.median(spent):>8.3f} s{np.median(spent / ours):>11.2f}x")


def main() -> None:
    """Hear all rows and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="3 recordings a row: shows that it runs, no more")
    parser.add_argument(
        "--recordings", type=int, default=50, help="for each row of damage; twice as many healthy ones"
    )
    parser.add_argument("--waviness-lines", type=int, default=1, help="harmonics in the waviness of all bearings")
    said = parser.parse_args()
    count = 3 if said.quick else said.recordings
    rows = {row: row_of(row, 2 * count if row == "sound" else count, said.waviness_lines) for row in ROWS}
    for quantile in QUANTILES:
        print_table(rows, quantile)
    print_own_rule(rows)
    print_times([outcome for outcomes in rows.values() for outcome in outcomes])


if __name__ == "__main__":
    main()
