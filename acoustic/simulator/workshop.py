"""Most of a year of a workshop that does not exist: its bikes, bearings and spins, all invented."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np

from acoustic.dsp.geometry import BearingGeometry
from acoustic.simulator.plan import SpinPlan

Kind = Literal["check", "free", "pressed", "final"]
# A 6805 of the catalogue.
GEOMETRY = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
DESIGNATION = "6805"
# An invented spin, plainly audible and plainly long enough.
SPIN = SpinPlan(geometry=GEOMETRY, duration_s=12.0, turns=11.5, start_hz=1.8, running_db=4.0, level=0.005)
NOTCH = (2.0, 0.55)  # twice a turn, as of a spindle that the seats hold crooked


@dataclass(frozen=True, slots=True, kw_only=True)
class InventedVisit:
    """A visit, and what is spun at it.

    Attributes
    ----------
    bike : str
    on : date
    kind : str
        As the workshop's book has it.
    km : float
    plan : SpinPlan
    """

    bike: str
    on: date
    kind: Kind
    km: float
    plan: SpinPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class InventedBearing:
    """A bearing in a bike, and how it ended.

    Attributes
    ----------
    bike, shell, seal, use : str
    rows : int
    on : date
    out : date or None
    because : str
    """

    bike: str
    shell: str
    seal: str
    use: str
    rows: int
    on: date
    out: date | None = None
    because: str = ""


WEARING, LASTING, SQUEEZED = "ticket 201, silver gravel", "ticket 202, black road", "ticket 203, orange trail"
# An invented winter and spring.
FIRST, LAST = date(2025, 10, 6), date(2026, 6, 30)


def invented_visits() -> tuple[InventedVisit, ...]:
    """The visits with recordings, by day.

    Returns
    -------
    tuple of InventedVisit
        One bearing whose outer ring wears, one that lasts, one that its seat squeezes at first.
    """
    told = [
        _visit(WEARING, 0, "final", 0),
        *(_visit(WEARING, 40 + 42 * k, "check", 700 + 640 * k, level_db=-14.5 + 1.1 * k) for k in range(6)),
        _visit(LASTING, 7, "final", 0),
        *(_visit(LASTING, 70 + 75 * k, "check", 1500 + 1400 * k) for k in range(3)),
        _visit(SQUEEZED, 20, "free", 0),
        _visit(SQUEEZED, 20, "pressed", 0, notchy=True),
        _visit(SQUEEZED, 22, "free", 0),
        _visit(SQUEEZED, 22, "pressed", 0),
        _visit(SQUEEZED, 22, "final", 0),
    ]
    numbered = [replace(one, plan=replace(one.plan, seed=500 + k)) for k, one in enumerate(told)]
    return tuple(sorted(numbered, key=lambda one: one.on))


def _visit(
    bike: str, day: int, kind: Kind, km: float, *, level_db: float | None = None, notchy: bool = False
) -> InventedVisit:
    plan = SPIN if level_db is None else replace(SPIN, defects=(("outer_raceway", level_db),))
    if notchy:
        plan = replace(plan, notch=NOTCH)
    # Seals and grease ease a little with use; the rest is how hard it was pushed.
    plan = replace(plan, start_hz=1.7 + 0.2 * (day % 3) / 2, turns=11.5 + 0.004 * day)
    return InventedVisit(bike=bike, on=FIRST + timedelta(days=day), kind=kind, km=km, plan=plan)


def invented_bearings() -> tuple[InventedBearing, ...]:
    """The bearings in all bikes of the workshop: those that visit, and 48 of which only the days are known.

    Returns
    -------
    tuple of InventedBearing
        Pressed-in ones ridden in the wet wear fastest, double rows in one piece last longest.
    """
    rng = np.random.default_rng(77)
    made = [
        InventedBearing(bike=WEARING, shell="press-fit 41 mm", seal="low-friction", use="wet", rows=1, on=FIRST),
        InventedBearing(
            bike=LASTING, shell="threaded", seal="contact", use="road", rows=1, on=FIRST + timedelta(days=7)
        ),
        InventedBearing(
            bike=SQUEEZED,
            shell="press-fit 41 mm",
            seal="contact",
            use="off-road",
            rows=2,
            on=FIRST + timedelta(days=20),
        ),
    ]
    for number in range(48):
        shell, use = ("press-fit 41 mm", "threaded")[number % 2], ("wet", "road", "off-road")[number % 3]
        rows = 2 if rng.random() < 0.3 else 1
        usual_days = 150.0 * (2.4 if shell == "threaded" else 1.0) * (2.0 if rows == 2 else 1.0)
        usual_days *= {"wet": 0.8, "road": 1.6, "off-road": 1.0}[use]
        on = FIRST - timedelta(days=int(rng.integers(0, 600)))
        out = on + timedelta(days=max(3, round(usual_days * rng.weibull(1.8))))
        gone = out <= LAST
        made.append(
            InventedBearing(
                bike=f"ticket {301 + number}",
                shell=shell,
                seal=("contact", "low-friction")[number // 2 % 2],
                use=use,
                rows=rows,
                on=on,
                out=out if gone else None,
                because="" if not gone else "worn" if rng.random() < 0.85 else "bike sold",
            )
        )
    return tuple(made)
