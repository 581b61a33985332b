"""Numbers that a verdict, a date or an answer rests on, written a second time, so that none moves unseen.

Beside each stands where it comes from. Who recalibrates prints it anew by the script that is named, and changes
both. The limits of grades are pinned in tests/check/test_grade.py, the law of healthy impacts in
tests/dsp/orders/test_healthy.py, tables of fits in tests/install/fit/.
"""

from __future__ import annotations

import tomllib
from importlib import import_module
from operator import attrgetter
from pathlib import Path
from typing import Any

import pytest
from acoustic_plugins.detectors.null_distribution import HealthyScores

from acoustic.triage import rules

DETECTORS, QUALITY = "acoustic_plugins.detectors", "acoustic_plugins.quality"
EVENTS = "tests/calibration/event_nulls.py"
TRAINS = "tests/calibration/tacholess_null.py"
COURSES = "judgement, and what tests/calibration/trend_laws.py prints"
SIMULATED = "judged on simulated spins: a defect of middling size is missed more often than found"
PINNED: list[tuple[str, dict[str, Any], str]] = [
    # What a finding rests on.
    (f"{DETECTORS}.creak", {"ONCE": HealthyScores(median=0.73, tenth=1.2, fall=0.5)}, EVENTS),
    (f"{DETECTORS}.creak", {"TWICE": HealthyScores(median=1.1, tenth=2.2, fall=1.2)}, EVENTS),
    (f"{DETECTORS}.tight", {"HEALTHY": HealthyScores(median=-0.03, tenth=0.92, fall=1.47)}, EVENTS),
    (f"{DETECTORS}.rumble", {"HEALTHY": HealthyScores(median=0.33, tenth=1.13, fall=0.50)}, EVENTS),
    (f"{DETECTORS}.rumble", {"WITHOUT_STILLNESS": HealthyScores(median=0.78, tenth=2.1, fall=0.8)}, EVENTS),
    (f"{DETECTORS}.contamination", {"HEALTHY": HealthyScores(median=-0.39, tenth=0.50, fall=0.55)}, EVENTS),
    (f"{DETECTORS}.contamination", {"IN_STEP": 0.15, "STEADY": 0.001, "MOST_TRAINS": 3}, "judgement"),
    (f"{DETECTORS}.rumble", {"FASTEST_STRIKES_HZ": 45.0}, "judgement"),
    (f"{DETECTORS}.defect_lines", {"LEAST_OWN_SHARE": 0.15, "EXPLAINS": 0.1}, "judgement"),
    (f"{DETECTORS}.creak", {"MOST_OFF_TURNS": 0.75}, "judgement"),
    (f"{DETECTORS}.tight", {"MOST_OFF_TURNS": 0.75}, "judgement"),
    ("acoustic.check.features", {"NAMED": 0.98, "FITTING": 0.5, "TRAIN_SPREAD": 0.003}, "judgement"),
    (
        "acoustic.dsp.tacholess.null",
        {"COAST.at_10_s": 12.3, "COAST.per_log_length": 4.0, "COAST.scale": 1.6},
        TRAINS,
    ),
    ("acoustic.dsp.tacholess.null", {"COAST.struck_mean": 2.1, "COAST.struck_spread": 1.5}, TRAINS),
    (
        "acoustic.dsp.tacholess.null",
        {"CADENCE.at_10_s": 10.5, "CADENCE.per_log_length": 8.2, "CADENCE.scale": 4.1},
        TRAINS,
    ),
    ("acoustic.dsp.tacholess.null", {"CADENCE.struck_mean": 2.5, "CADENCE.struck_spread": 1.6}, TRAINS),
    # What a grade rests on besides.
    ("acoustic.check.sensitivity", {"TRIED_DB": (-18.0, -16.0, -14.0)}, "tests/calibration/clean_witnesses.py"),
    ("acoustic.check.pipeline", {"FEWEST_TURNS": 3.0, "SHORTEST_S": 0.5}, "judgement"),
    (f"{QUALITY}.samples", {"NARROW_HZ": 5000.0, "TOO_NARROW_HZ": 2500.0}, SIMULATED),
    (
        f"{QUALITY}.samples",
        {"CLIPPED": 0.0002, "MUCH_CLIPPED": 0.05, "GAPS": 0.005, "MUCH_GAPS": 0.15},
        "judgement",
    ),
    (f"{QUALITY}.samples", {"SHORTEST_S": 1.0, "WRAPPED": 0.001, "MUCH_WRAPPED": 0.03}, "judgement"),
    (f"{QUALITY}.turning", {"FEWEST_TURNS": 4.0, "FEW_TURNS": 6.0}, SIMULATED),
    (f"{QUALITY}.turning", {"HEARD_CERTAINTY": 4.0, "HEARD_DB": 1.5, "RESHAPED_DB": 0.8}, "judgement"),
    (f"{QUALITY}.turning", {"COASTS": 1.5, "RHYTHM_HEARD": 0.001, "COASTING_DB": 5.0, "EVEN": 1e-4}, "judgement"),
    # What a date, a step or a comparison of lifetimes rests on.
    ("acoustic.trend.wear", {"FEWEST_VISITS": 4, "NINE_IN_TEN": 0.9, "FAINTEST_DB": -30.0}, "judgement"),
    ("acoustic.trend.wear", {"DECIBELS.scatter": 2.0, "DECIBELS.rise": 10.0}, COURSES),
    ("acoustic.trend.weighing", {"CORRELATIONS": {0.0: 0.4, 0.3: 0.2, 0.6: 0.4}, "SPOILT_CHANCE": 0.02}, COURSES),
    ("acoustic.trend.courses", {"POWERS": {1.0: 0.6, 1.5: 0.2, 2.0: 0.2}, "FEWEST_EACH_SIDE": 3}, COURSES),
    ("acoustic.trend.step", {"STEP_PROBABILITY": 0.5}, COURSES),
    ("acoustic.trend.due", {"FARTHEST_DAYS": 3 * 365.25, "FARTHEST_KM": 30_000.0}, "judgement"),
    ("acoustic.trend.groups", {"RECENT_DAYS": 183.0}, "judgement"),
    ("acoustic.lifetimes.words", {"DIFFERENT": 0.05}, "common practice"),
    ("acoustic.lifetimes.comparison", {"FEW_ENDS": 10}, "common practice"),
    ("acoustic.lifetimes.survival", {"NINE_IN_TEN": 0.9}, "judgement"),
    # What a fit sheet and the spins beside it rest on.
    ("acoustic.install.spins", {"ROUGHER_DB": 3.0}, "judgement"),
    ("acoustic.install.fit.interference", {"INNER_RING_MPA": 127.0}, "NTN CAT 2203/E"),
    ("acoustic.install.fit.interference", {"SPINDLE_SHARE": 0.0007}, "NSK, catalogue of rolling bearings"),
    ("acoustic.install.fit.interference", {"STEEL_STRAIN_PER_K": 12e-6}, "SKF, Rolling bearings (2018)"),
    ("acoustic.install.fit.advice", {"CAREFUL_TILT_RAD": 1 / 1000, "UTMOST_TILT_RAD": 1 / 300}, "NTN, chapter 14"),
    (
        "acoustic.install.fit.advice",
        {"DOUBLE_ROW_TILT_RAD": pytest.approx(5.818e-4, rel=1e-3)},
        "SKF, from memory",
    ),
    ("acoustic.install.fit.clearance", {"FARTHEST_UM": 300.0}, "judgement"),
    ("acoustic.install.fit.seat", {"FORM_GRADE": "IT4", "WIDEST_SPREAD_UM": 500.0}, "judgement"),
    # What an answer of the triage rests on.
    ("acoustic.triage.ranking", {"TABLE_WRONG": 0.03, "SPEAKS_NATS": 0.15}, "judgement"),
    ("acoustic.triage.result", {"LIKELY": 0.4, "AHEAD": 2.0}, "judgement"),
    ("acoustic.triage.next_recording", {"LEADS": 0.4, "LEAST_BITS": 0.02}, "judgement"),
    ("acoustic.triage.side", {"ANEW_DB": 1.5, "ANEW_RUMBLE_DB": 3.0}, "simulated pairs, and judgement"),
    ("acoustic.triage.evidence", {"IN_STEP": 0.06, "TOO_VAGUE": 0.2, "MOST_A_TURN": 4.5}, "judgement"),
    ("acoustic.triage.evidence", {"TWO_TURNS": (0.28, 0.55)}, "geometry of chains and cages"),
]
# Judgement, all of them (acoustic/triage/rules.toml).
WORDS = {
    "nearly always": 0.92,
    "mostly": 0.78,
    "often": 0.62,
    "half the time": 0.5,
    "sometimes": 0.3,
    "now and then": 0.2,
    "seldom": 0.12,
    "hardly ever": 0.05,
    "cannot": 0.0003,
}
WEIGHTS = {
    "the situation itself": 1.0,
    "published": 0.95,
    "common practice": 0.85,
    "from memory": 0.6,
    "told": 1.0,
    "measured": 1.0,
    "measured_silent": 0.6,
}


@pytest.mark.parametrize(
    ("module", "name", "value", "source"),
    [(module, name, value, source) for module, numbers, source in PINNED for name, value in numbers.items()],
)
def test_a_number_that_a_verdict_rests_on(module: str, name: str, value: object, source: str) -> None:
    assert attrgetter(name)(import_module(module)) == value, f"{module}.{name} is by {source}: derive it anew"


def test_the_triage_table_s_weights() -> None:
    content = tomllib.loads(Path(rules.__file__).with_name("rules.toml").read_text(encoding="utf-8"))
    assert (content["words"], content["weights"]) == (WORDS, WEIGHTS)
