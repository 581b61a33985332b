"""The crank's angle in plain frames: what turns is followed, at its own speed and about its own place."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from acoustic_plugins.speed.film.arm import NotTracked, follow_arm
from acoustic_plugins.speed.film.ellipse import changes
from acoustic_plugins.speed.film.half_rate import wound_twice
from films import FilmPlan, drawn, frame_times
from numpy.typing import NDArray

from acoustic.simulator import Spin

SMALL: dict[str, Any] = {"width": 160, "height": 96, "pedal_grey": None, "noise": 1.0}
LASTING_S = 6.0


def coasting(*, start_hz: float = 1.6, lasting_s: float = LASTING_S) -> Spin:
    """A crank that turns from 0.6 s on under dry friction alone: w0 t - c t^2/2, by hand."""
    times_s = np.linspace(0, lasting_s, 6001)
    since_s = np.clip(times_s - 0.6, 0, None)
    turns = start_hz * since_s - 0.1 * since_s**2
    return Spin(np.zeros(int(48_000 * lasting_s)), 48_000, times_s, turns, 0.6, lasting_s, np.empty(0))


def filmed(spin: Spin, **plan: Any) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    seen = FilmPlan(**{**SMALL, **plan})
    times_s = frame_times(seen, len(spin.samples) / spin.sample_rate_hz)
    return np.stack(list(drawn(seen, times_s, spin))), np.asarray(times_s, dtype=float)


def off_by(spin: Spin, times_s: NDArray[np.float64], turns: NDArray[np.float64]) -> NDArray[np.float64]:
    off = turns - np.interp(times_s, spin.times_s, spin.turns)
    return np.abs(off - np.median(off))


@pytest.fixture(scope="module")
def plain() -> tuple[Spin, NDArray[np.uint8], NDArray[np.float64]]:
    spin = coasting()
    return spin, *filmed(spin)


def test_the_angle_is_the_closed_form_s(plain: Any) -> None:
    spin, frames, times_s = plain
    track = follow_arm(frames, times_s)
    assert np.quantile(off_by(spin, track.times_s, track.turns), 0.9) < 0.01
    assert track.turns[-1] > 0.8 * spin.turns[-1]
    assert track.stood_until_s is not None
    assert 0.2 < track.stood_until_s < 0.61, "no later than the push"
    assert np.all(np.diff(track.turns) > 0)


@pytest.mark.parametrize(
    "turned",
    ["portrait", *(pytest.param(one, marks=pytest.mark.broad) for one in ("mirrored", "upside down", "dim"))],
)
def test_how_the_camera_is_held_changes_nothing(turned: str, plain: Any) -> None:
    """A quarter turn, a mirror or half the light: the angle made is the same to a hundredth of a turn."""
    _, frames, times_s = plain
    held = {
        "mirrored": frames[:, :, ::-1],
        "upside down": frames[:, ::-1, ::-1],
        "portrait": np.rot90(frames, axes=(1, 2)),
        "dim": frames // 2,
    }[turned]
    track, other = follow_arm(frames, times_s), follow_arm(np.ascontiguousarray(held), times_s)
    first_s, last_s = max(track.times_s[0], other.times_s[0]), min(track.times_s[-1], other.times_s[-1])
    made = [np.diff(np.interp([first_s, last_s], one.times_s, one.turns))[0] for one in (track, other)]
    assert made[1] == pytest.approx(made[0], abs=0.02)


@pytest.mark.parametrize(
    ("plan", "reason"),
    [
        ({"tape_grey": None}, {"alike"}),
        ({"both_taped": True}, {"alike"}),
        ({"arms": 0}, {"still", "nothing_round"}),
        ({"light": 0.02}, {"dark"}),
    ],
    ids=["bare", "both taped", "no crank", "dark"],
)
def test_what_shows_no_angle_is_refused(plan: dict[str, Any], reason: set[str]) -> None:
    with pytest.raises(NotTracked) as caught:
        follow_arm(*filmed(coasting(), **plan))
    assert caught.value.reason in reason


def test_few_frames_and_few_turns_are_refused(plain: Any) -> None:
    _, frames, times_s = plain
    with pytest.raises(NotTracked) as caught:
        follow_arm(frames[:20], times_s[:20])
    assert caught.value.reason == "few_frames"
    with pytest.raises(NotTracked) as caught:
        follow_arm(frames[18:70], times_s[18:70])
    assert caught.value.reason in ("few_turns", "seldom_seen")


class TestWoundTwice:
    """A bar with two like ends, taken to turn twice as fast as it does."""

    @pytest.mark.parametrize("centre", [(0.5, 0.5), (0.4, 0.55)])
    def test_the_true_spindle_is_found(self, centre: tuple[float, float]) -> None:
        spin = coasting()
        frames, times_s = filmed(spin, tape_grey=None, centre=centre, arm=0.3)

        def doubled(at_s: Any, derivative: int = 0) -> Any:
            turns = 2 * np.interp(at_s, spin.times_s, spin.turns)
            return np.gradient(turns, at_s) if derivative else turns

        found = wound_twice(changes(frames), times_s, doubled)
        assert len(found) == 2
        place, half = found[0]
        assert place.centre == pytest.approx(np.array(centre) * [160, 96], abs=6)
        assert half(times_s) == pytest.approx(np.interp(times_s, spin.times_s, spin.turns))
        assert found[1][1](times_s) == pytest.approx(-half(times_s))
