"""The numbers by which impacts are weighed are those that spins with a known course show."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from both_generators import parser
from impact_likelihood import VALUES, Heard, likelihoods, recordings

from acoustic.dsp.tacholess import impact_likelihood as law

REAL = os.environ.get("ACOUSTIC_REAL_RECORDINGS")
FEW, MANY = 4, 12


def heard(*given: str) -> dict[str, list[Heard]]:
    kept: dict[str, list[Heard]] = {}
    for generator, found in recordings(parser("", recordings=FEW).parse_args([*given, "--first", "100"])):
        kept.setdefault(generator, []).append(found)
    return kept


def agree(some: list[Heard]) -> None:
    """No value of RANKED is likelier by two standard errors; values twice away are clearly less likely."""
    rows = likelihoods(some, ("RANKED",))["RANKED"]
    better = rows - rows[VALUES["RANKED"].index(law.RANKED)]
    error = np.std(better, axis=1, ddof=1) / np.sqrt(len(some))
    assert np.all(better.mean(axis=1) <= 2 * error)
    assert better.mean(axis=1)[0] < -10


@pytest.mark.broad
def test_simulated_impacts_are_as_high_among_their_surroundings() -> None:
    found = heard("--recordings", str(FEW))["physical"]
    assert len(found) >= FEW - 1
    agree(found)


@pytest.mark.skipif(REAL is None, reason="ACOUSTIC_REAL_RECORDINGS names no folder of real recordings")
def test_and_those_pieced_together() -> None:
    agree(heard("--folder", str(REAL), "--recordings", str(MANY))["pieced"])
