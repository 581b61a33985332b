"""Spins drawn wide for the benchmarks: bearings, speeds, rooms, talk and dropped tools, by seed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from acoustic.core.geometry import BearingGeometry
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
        running_db=rng.uniform(-6, 3),
        waviness=rng.uniform(0.0, 0.1),
        room_tilt_db=rng.uniform(-6, -2),
        talk_db=rng.uniform(-8, 6),
        knocks=2,
        low_hz=rng.uniform(80, 200),
        high_hz=rng.uniform(12_000, 17_000),
        level=10 ** rng.uniform(-2.6, -1.7),
        seed=seed,
    )
    plan = replace(plan, **changes)
    coulomb, viscous = coast_drag(start_hz=plan.start_hz, turns=plan.turns, viscous_share=plan.viscous_share)
    coast_s = math.log(1 + plan.start_hz * viscous / coulomb) / viscous
    lasting_s = sum(plan.still_s) + 0.4 + coast_s if plan.spin == "hand" else plan.duration_s
    # Whole twentieths of a second: a transform of so many samples takes a tenth of the time.
    return replace(plan, duration_s=math.ceil(20 * lasting_s) / 20)
