"""What healthy bearings show at the orders of their parts: how whitened bins and sets of harmonics score by luck.

Run by hand: ``python tests/calibration/order_lines.py [--folder REAL] [--recordings N] [--fold held]``. Healthy
bearings of both generators, coasting and pedalled, in every room, with talk and bangs, after every codec, gain and
gate, go through the product's own chain up to its findings; each chance that it gives is turned back into the
score that it was given for. Printed are:

- the share of bins that stand so far over the floor, beside the tabled law (`NULL_SHAPE` and the stray lines);
- how much more the harmonics of a ring score by luck where waviness has raised the two that do not count: at
  orders that mean nothing, all of eight over the eight weakest of ten (`LUCK_LEFT_NATS`), and how far those two
  have to stand out for it (`WAVINESS_NATS`, least squares over both rings). Waviness is drawn evenly from none to
  10 %, in one line or two;
- for each part the score over that which one recording in ten reaches (`TENTH_NATS`) and how fast it falls off
  beyond (`FALL_NATS`), with standard errors from resampling whole recordings, and how often the stored ones give
  small chances. What is stored lies near the generator that reaches farther, falls within an error of both;
- with ``--folder``, how strong the strikes of real healthy bearings read (`HEALTHY_DB`).
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from acoustic_plugins.detectors.defect_lines import DefectLines
from both_generators import parser, recorded
from numpy.typing import NDArray

from acoustic.check.features import extract_features
from acoustic.check.pipeline import check_recording, read_recording
from acoustic.dsp.arrays import NINE_IN_TEN
from acoustic.dsp.geometry import defect_orders
from acoustic.dsp.orders.harmonics import (
    HARMONICS,
    MULTIPLES,
    TRIMMED,
    HarmonicSet,
    LineEvidence,
    bases_about,
    log_prior,
    log_sum,
    null_centres,
)
from acoustic.dsp.orders.healthy import FALL_NATS, LUCK_LEFT_NATS, TENTH_NATS, healthy_db
from acoustic.dsp.orders.hypotheses import PARTS, part_sets
from acoustic.dsp.orders.likelihood import NULL_SHAPE, STRAY_FROM, STRAY_SHARE, STRAY_TAIL
from acoustic.dsp.orders.ranking import NULL_GAP, NULLS
from acoustic.dsp.orders.residual import without_turn_lines
from acoustic.errors import AcousticError
from acoustic.model import Bearing, Features
from acoustic.plugin.registry import load_plugins
from acoustic.simulator import SpinPlan
from acoustic.speed.from_marks import motion_from_marks

Floats = NDArray[np.float64]
FITTED_SEEDS = 1000  # the findings' table is drawn from 0 on; what is held out, from 3000 on
HEIGHTS = (1.0, 2.0, 4.0, 8.0, 12.0, 25.0)
CONDITIONS = (*PARTS, "raceway")
UPPER = 0.1
RESAMPLED = 400


class Ring(NamedTuple):
    """How a ring's harmonics score in one healthy recording [nats].

    Attributes
    ----------
    rest : float
        Less the strongest two, over the median at orders that mean nothing.
    lines : float
        The strongest two alone, over the same.
    left : float
        By luck, at orders that mean nothing: the third harmonic and up over all less the strongest two.
    """

    rest: float
    lines: float
    left: float


class Heard(NamedTuple):
    """What one healthy recording showed.

    Attributes
    ----------
    generator : str
    seed : int
    chances : dict of str to float
        Of every condition, as found.
    above : ndarray, shape (heights,)
        Share of bins past each of `HEIGHTS`, where luck is read.
    rings : list of Ring
    """

    generator: str
    seed: int
    chances: dict[str, float]
    above: Floats
    rings: list[Ring]


def options(description: str | None) -> argparse.ArgumentParser:
    """Those of every calibration script, from this one's seeds on."""
    made = parser(description or "", recordings=150)
    made.set_defaults(first=FITTED_SEEDS)
    return made


def healthy(said: argparse.Namespace) -> Iterator[Heard]:
    """Every healthy recording, heard by its true marks as well as a film gives them."""
    for made in recorded("healthy", said):
        recording = read_recording(made.path, _registry().readers, [])
        motion = motion_from_marks(
            made.spin.marks_s, duration_s=recording.duration_s, source="marks", timing_s=0.003
        )
        features = extract_features(recording, motion, Bearing("drawn", (made.plan.geometry,), "given", "drawn"))
        chances = {one.condition: one.false_alarm_probability for one in DefectLines().detect(features)}
        above = bins_above(features, made.plan)
        yield Heard(made.generator, made.seed, chances, above, ring_scores(features, made.plan))


@cache
def _registry() -> Any:
    return load_plugins()


def bins_above(features: Features, plan: SpinPlan) -> Floats:
    """Share of bins past each height, at the harmonics of orders that mean nothing."""
    spectra, orders = features.spectra, defect_orders(plan.geometry)
    parts = (orders.outer_raceway, orders.inner_raceway, orders.ball)
    centres = null_centres(parts, low=0.78 * min(parts), high=1.28 * max(parts), count=2 * NULLS, gap=NULL_GAP)
    places = np.rint(np.multiply.outer(centres, np.arange(1, HARMONICS + 1)).ravel() / spectra.step).astype(
        np.intp
    )
    bins = spectra.power[:, places[places < spectra.orders.size]]
    return np.array([np.mean(bins > height) for height in HEIGHTS])


def ring_scores(features: Features, plan: SpinPlan) -> list[Ring]:
    """Both rings' scores, and what luck scores, before anything is taken out but whole turns."""
    orders = defect_orders(plan.geometry)
    parts = (orders.outer_raceway, orders.inner_raceway, orders.ball)
    spectra, _ = without_turn_lines(features.spectra, np.array(parts))
    evidence = LineEvidence(spectra)
    spread = features.motion.relative_uncertainty / NINE_IN_TEN
    rings = []
    for one in part_sets(plan.geometry, speed_spread=spread)[:2]:
        centres = null_centres(parts, low=0.78 * one.order, high=1.28 * one.order, count=NULLS, gap=NULL_GAP)
        own = _scores(evidence, one, one.order)
        whole, rest, late = np.transpose([_scores(evidence, one, float(order)) for order in centres])
        left = float(np.median(late) - np.median(rest))
        rings.append(Ring(own[1] - float(np.median(rest)), own[0] - own[1] - float(np.median(whole - rest)), left))
    return rings


def _scores(evidence: LineEvidence, one: HarmonicSet, order: float) -> tuple[float, float, float]:
    """All harmonics, those less the strongest two, and those from the third up."""
    bases = bases_about(order, one.spread, evidence.turns)
    at = log_prior(order, one.spread, bases)
    scores = evidence.scores(bases, one.offsets)
    late = evidence.scores(bases, one.offsets, multiples=MULTIPLES[TRIMMED:])
    return log_sum(scores.whole + at), log_sum(scores.trimmed + at), log_sum(late.whole + at)


def luck_left(found: list[Heard]) -> float:
    """What luck scores more where waviness has used up the two harmonics that do not count."""
    return float(np.median([ring.left for one in found for ring in one.rings]))


def waviness_of(found: list[Heard]) -> float:
    """How far the strongest two stand out for 1 - 1/e of that, by least squares, the rings' own mean left free."""
    rest, lines = np.array([(ring.rest, ring.lines) for one in found for ring in one.rings]).T
    tried = np.arange(2.0, 20.0, 0.1)
    left = rest + LUCK_LEFT_NATS * np.expm1(-np.maximum(lines, 0) / tried[:, np.newaxis])
    return float(tried[left.var(axis=1).argmin()])


def tabled_above(height: float) -> float:
    """Share of bins past a height by the tabled law, integrated by hand."""
    stray = min(1.0, (STRAY_FROM / height) ** STRAY_TAIL)
    return (1 - STRAY_SHARE) * float((1 + height / NULL_SHAPE) ** -NULL_SHAPE) + STRAY_SHARE * stray


def score_of(part: str, chance: float) -> float:
    """The score beyond luck that the stored law gives a chance for; where it is as good as 1, far below any."""
    if chance >= 1:
        return -10.0
    return TENTH_NATS[part] - FALL_NATS[part] * float(np.log(np.log1p(-chance) / np.log1p(-0.1)))


def scores_of(found: list[Heard], part: str) -> Floats:
    """A part's scores in all recordings."""
    return np.array([score_of(part, one.chances[part]) for one in found])


def tenth_of(scores: Floats) -> float:
    """The score that one in ten reaches."""
    return float(np.quantile(scores, 1 - UPPER))


def fall_of(scores: Floats) -> float:
    """How far one has to go on for e times fewer: the mean excess of the upper tenth over its least."""
    least = tenth_of(scores)
    return float(np.mean(scores[scores >= least] - least))


def standard_error(found: list[Heard], value: Callable[[list[Heard]], float]) -> float:
    """By resampling recordings (the bootstrap)."""
    rng = np.random.default_rng(1)
    again = [value([found[k] for k in rng.integers(len(found), size=len(found))]) for _ in range(RESAMPLED)]
    return float(np.std(again))


def print_bins(found: list[Heard], where: str) -> None:
    """Shares of bins past each height."""
    above = np.mean([one.above for one in found], axis=0)
    print(f"bins past     {where:<10}" + "".join(f"{x:>9.3%}" for x in above), flush=True)


def print_part(found: list[Heard], condition: str, where: str) -> None:
    """One row: tenth and fall, and how often the stored law gives small chances."""
    chances = np.array([one.chances[condition] for one in found])
    law = ""
    if condition in PARTS:
        tenth, fall = tenth_of(scores_of(found, condition)), fall_of(scores_of(found, condition))
        errors = (
            standard_error(found, lambda these: tenth_of(scores_of(these, condition))),
            standard_error(found, lambda these: fall_of(scores_of(these, condition))),
        )
        law = f"tenth {tenth:5.2f} +- {errors[0]:.2f}  fall {fall:4.2f} +- {errors[1]:.2f}"
    lowest = ", ".join(f"{one.seed}: {one.chances[condition]:.0e}" for one in _clearest(found, condition))
    print(
        f"{condition:<14}{where:<10}{chances.size:>4}  {law:<42}stored: p<=0.1 {np.mean(chances <= 0.1):5.1%}  "
        f"p<=0.01 {np.mean(chances <= 0.01):5.1%}  lowest {lowest}",
        flush=True,
    )


def print_waviness(found: list[Heard], where: str) -> None:
    """One row: what luck scores more beside waviness, and how far waviness has to stand out for it."""
    left, lines = luck_left(found), waviness_of(found)
    errors = (standard_error(found, luck_left), standard_error(found, waviness_of))
    print(
        f"waviness      {where:<10}{len(found):>4}  luck left {left:5.2f} +- {errors[0]:.2f}  "
        f"lines {lines:4.1f} +- {errors[1]:.1f}",
        flush=True,
    )


def _clearest(found: list[Heard], condition: str) -> list[Heard]:
    return sorted(found, key=lambda one: one.chances[condition])[:3]


def real_healthy(said: argparse.Namespace) -> Iterator[Any]:
    """Real healthy recordings by their stated speed, and another generator's by their marks."""
    from bench_real import spins, steady

    for case in steady(said.folder, "phone"):
        if case.truth in ("healthy", "running", "minor"):
            yield case
    for case in spins(said.folder):
        if case.truth == "healthy" and case.group == "spins, marks":
            yield case


def print_strengths(case: Any) -> None:
    """The strikes of one real recording whose chance is small, over what healthy bearings may show."""
    bearing = Bearing("given", (case.geometry,), "given", "given")
    try:
        result = check_recording(case.path, bearing=bearing, request=case.request, registry=_registry())
    except AcousticError as refusal:
        print(f"{case.group:<14}{case.name:<34} {refusal.found}")
        return
    if result.features is None:
        print(f"{case.group:<14}{case.name:<34} not heard: {', '.join(p.code for p in result.quality.problems)}")
        return
    told = "  ".join(
        f"{part.part} {part.impact_db:6.1f} dB (p {part.chance:.0e}, {healthy_db(part.paced_by):.1f} allowed)"
        for part in result.features.parts
        if part.chance <= 0.1
    )
    called = "+".join(one.condition for one in result.findings if one.detected)
    print(
        f"{case.group:<14}{case.truth:<8} {case.name:<34} {told or 'no lines'}  {called and 'called ' + called}",
        flush=True,
    )


def main() -> None:
    """Print the laws."""
    said = options(__doc__).parse_args()
    found = list(healthy(said))
    groups = {
        generator: [one for one in found if one.generator == generator] for generator in ("physical", "pieced")
    }
    groups = {where: these for where, these in groups.items() if these}
    if len(groups) > 1:
        groups["both"] = found
    print(f"{'power over the floor':<24}" + "".join(f"{height:>9.0f}" for height in HEIGHTS))
    print("bins past     tabled    " + "".join(f"{tabled_above(height):>9.3%}" for height in HEIGHTS))
    for where, these in groups.items():
        print_bins(these, where)
    for where, these in groups.items():
        print_waviness(these, where)
    for condition in CONDITIONS:
        for where, these in groups.items():
            print_part(these, condition, where)
    if said.folder:
        for case in real_healthy(said):
            print_strengths(case)


if __name__ == "__main__":
    main()
