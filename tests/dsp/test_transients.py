"""A run-down told by clicks alone: found where their rate runs down, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.dsp.transients import clicking_coast

Floats = NDArray[np.float64]
LASTING_S, START_S, STOP_S = 13.0, 1.5, 10.0


def crackle(seed: int, *, clicks: int, room_hz: float = 0.0) -> Floats:
    """Clicks evenly in a crank's angle under dry friction: speed falls as a line, angle goes as 1 - (1 - u)^2."""
    rng = np.random.default_rng(seed)
    own = START_S + (STOP_S - START_S) * (1 - np.sqrt(1 - rng.uniform(0, 1, clicks)))
    room = rng.uniform(0, LASTING_S, rng.poisson(room_hz * LASTING_S))
    return np.sort(np.concatenate([own, room]))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("room_hz", [0.0, 0.3])
def test_a_crank_that_runs_down(seed: int, room_hz: float) -> None:
    """Forty clicks, nine a second at first: the first comes within half a second. Of the last tenth of the
    run-down a hundredth of them tell, so its end is known to a few seconds."""
    found = clicking_coast(crackle(seed, clicks=40, room_hz=room_hz), LASTING_S)
    assert found is not None
    assert found.nats > 12
    assert found.start_s == pytest.approx(START_S, abs=0.7)
    assert found.stop_s == pytest.approx(STOP_S, abs=3.0)


def test_clicks_at_any_time_are_none() -> None:
    """A room that crackles once to eight times a second, all through the recording."""
    rng = np.random.default_rng(1)
    rooms = [np.sort(rng.uniform(0, LASTING_S, count)) for count in rng.integers(8, 100, 60)]
    found = [clicking_coast(times_s, LASTING_S) for times_s in rooms]
    assert max(0.0 if one is None else one.nats for one in found) < 9


def test_even_clicks_are_a_clock_s() -> None:
    assert clicking_coast(np.arange(2.0, 8.0, 0.25), LASTING_S) is None


def test_few_clicks_or_a_short_recording_tell_nothing() -> None:
    assert clicking_coast(crackle(1, clicks=7), LASTING_S) is None
    assert clicking_coast(np.linspace(0.1, 2.0, 12) ** 1.5, 2.5) is None
