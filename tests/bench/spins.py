"""Spins drawn wide for the benchmarks: bearings, speeds, rooms, talk and dropped tools, by seed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from acoustic.dsp.geometry import BearingGeometry
from acoustic.simulator import SpinPlan
from acoustic.simulator.kinematics import coast_drag

# Balls, ball and pitch diameter [mm] of thin bearings of the sizes that cranks turn in.
GEOMETRIES = (
    (16, 3.5, 31.0),
    (15, 3.5, 31.0),
    (18, 3.5, 36.0),
    (17, 3.5, 36.0),
    (13, 3.5, 26.0),
    (14, 3.175, 29.5),
    (19, 3.5, 36.0),
    (12, 3.969, 27.0),
)


def draw(seed: int, **changes: Any) -> SpinPlan:
    """Draw a hand-spun crank: 6 to 20 turns, let go at 60 to 160 rpm, talk, two knocks.

    Spread of heights from strike to strike and ball to ball, and how restless running noise is, are those of the
    real pieces (`pieces.py`): 0.1 to 0.5 and 0.02 to 0.25 of the logarithm, 0.03 to 0.1. One recording in ten
    begins, and one ends, with the crank turning.

    Parameters
    ----------
    seed : int
    **changes
        Fields of the plan to set in place of what was drawn.

    Returns
    -------
    SpinPlan
    """
    rng = np.random.default_rng(7000 + seed)
    balls, ball_mm, pitch_mm = GEOMETRIES[int(rng.integers(len(GEOMETRIES)))]
    start_hz, turns = rng.uniform(1.0, 2.67), rng.uniform(6, 20)
    viscous_share = rng.uniform(0.15, 0.85)
    plan = SpinPlan(
        geometry=BearingGeometry(balls=balls, ball_diameter_mm=ball_mm, pitch_diameter_mm=pitch_mm),
        start_hz=start_hz,
        turns=turns,
        viscous_share=viscous_share,
        still_s=(rng.uniform(0.8, 2.5), rng.uniform(0.8, 2.5)),
        slip=rng.uniform(0, 0.008),
        jitter=rng.uniform(0.002, 0.01),
        load_zone=rng.uniform(0.1, 0.9),
        running_db=rng.uniform(-12, 4),
        waviness=rng.uniform(0.0, 0.1),
        room_tilt_db=rng.uniform(-6, -2),
        talk_db=rng.uniform(-8, 6),
        knocks=2,
        low_hz=rng.uniform(80, 200),
        high_hz=rng.uniform(12_000, 17_000),
        level=10 ** rng.uniform(-2.6, -1.7),
        seed=seed,
    )
    plan = replace(plan, **_restless(plan, rng))
    plan = replace(plan, **changes)
    coulomb, viscous = coast_drag(start_hz=plan.start_hz, turns=plan.turns, viscous_share=plan.viscous_share)
    coast_s = math.log(1 + plan.start_hz * viscous / coulomb) / viscous
    lasting_s = sum(plan.still_s) + 0.4 + coast_s if plan.spin == "hand" else plan.duration_s
    # Whole twentieths of a second: a transform of so many samples takes a tenth of the time.
    return replace(plan, duration_s=math.ceil(20 * lasting_s) / 20)


def _restless(plan: SpinPlan, rng: np.random.Generator) -> dict[str, Any]:
    """What keeps a spin from being a textbook's."""
    chance = rng.random(5)
    return {
        "strike_spread": rng.uniform(0.1, 0.5),
        "ball_spread": rng.uniform(0.0, 0.3),
        "shape_spread": bool(chance[0] < 0.5),
        "spall": rng.uniform(0.05, 0.4) * float(chance[1] < 0.4),
        "fluctuation": rng.uniform(0.0, 0.2),
        "creak_s": (0.03, 0.09),
        "push_db": rng.uniform(0, 12) if chance[2] < 0.3 else None,
        "surroundings_db": rng.uniform(-12, -2) if chance[3] < 0.25 else None,
        "cut_s": (
            plan.still_s[0] + rng.uniform(0, 0.5) if chance[4] < 0.1 else 0.0,
            plan.still_s[1] + rng.uniform(0, 1.0) if chance[4] > 0.9 else 0.0,
        ),
    }
