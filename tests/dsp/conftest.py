"""What several tests of the numerics share."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from acoustic.dsp.levels.filterbank import BandBank


@pytest.fixture(scope="session")
def louder() -> Callable[[BandBank, float], BandBank]:
    """A bank as a recording of that gain would give it."""
    return lambda bank, gain: replace(bank, power=bank.power * gain**2)
