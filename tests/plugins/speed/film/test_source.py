"""The angle from films with a real codec, of a crank whose angle is known."""

from __future__ import annotations

from typing import Any

import av
import numpy as np
import pytest
from acoustic_plugins.readers.container_sound import ContainerSound
from acoustic_plugins.speed.film.source import Film, decoded
from films import FilmPlan, write_film

from acoustic.errors import EXIT_UNUSABLE, InputError, MotionError
from acoustic.model import Recording, SpeedRequest

ASKED = SpeedRequest(film=True)
CASE: dict[str, Any] = {"duration_s": 7.0, "turns": 6.0, "still_s": (0.7, 0.7)}


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory, spin_of: Any) -> Any:
    """Write a film once a module: (ending=".mp4", sound=True, metadata=None, **plan) -> path, recording, times."""
    folder = tmp_path_factory.mktemp("films")
    made: dict[str, Any] = {}

    def film(*, ending: str = ".mp4", sound: bool = True, **plan: Any) -> Any:
        key = repr((ending, sound, plan))
        if key not in made:
            path = folder / f"film-{len(made)}{ending}"
            spin = spin_of("sound", **CASE)
            times_s = write_film(path, FilmPlan(**{"width": 192, "height": 112, **plan}), spin, sound=sound)
            samples = spin.samples[:, np.newaxis].copy()
            made[key] = path, Recording(path, "", samples, float(spin.sample_rate_hz), "film"), times_s
        return made[key]

    return film


def off_by(motion: Any, spin: Any) -> Any:
    """Error of the angle [turns] at every time, less a constant."""
    off = motion.turns - np.interp(motion.times_s, spin.times_s, spin.turns)
    return np.abs(off - np.median(off))


@pytest.mark.parametrize(
    ("ending", "plan"),
    [
        (".mp4", {}),
        pytest.param(".mov", {"rate_hz": 24.0}, marks=pytest.mark.broad),
        pytest.param(".mp4", {"rate_hz": 60.0, "width": 160, "height": 96}, marks=pytest.mark.broad),
        (".mp4", {"jitter": 0.2, "dropped": 0.03}),
        pytest.param(".mov", {"width": 112, "height": 192}, marks=pytest.mark.broad),
        pytest.param(".mp4", {"centre": (0.5, 0.3)}, marks=pytest.mark.broad),
        pytest.param(".mp4", {"walkers": 2, "shake_px": 1.0, "texture": 15.0}, marks=pytest.mark.broad),
    ],
    ids=["mp4", "mov at 24", "60 a second", "variable timing", "portrait", "arm half seen", "people walk by"],
)
def test_the_angle_is_the_crank_s(ending: str, plan: dict[str, Any], filmed: Any, spin_of: Any) -> None:
    """Within 0.02 turn, and the turns made to 2 %, over most of the spin."""
    _, recording, _ = filmed(ending=ending, **plan)
    motion = Film().estimate(recording, ASKED)
    spin = spin_of("sound", **CASE)
    assert np.quantile(off_by(motion, spin), 0.9) < 0.02
    true = np.interp([motion.start_s, motion.stop_s], spin.times_s, spin.turns)
    assert motion.total_turns == pytest.approx(true[1] - true[0], rel=0.02)
    assert motion.total_turns > 4
    assert (motion.source, motion.spin, motion.scale_known) == ("film", "hand", True)
    for start_s, stop_s in motion.still:
        stood = np.interp([start_s, stop_s], spin.times_s, spin.turns)
        assert stood[1] - stood[0] < 0.02


def test_frame_times_come_from_the_container(filmed: Any) -> None:
    """Against the packets' own time stamps, read by another road."""
    path, _, written_s = filmed(jitter=0.2, dropped=0.03)
    times_s, frames = decoded(path)
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stamped_s = sorted(float(p.pts * stream.time_base) for p in container.demux(stream) if p.pts is not None)
    assert times_s == pytest.approx(np.array(stamped_s), abs=1e-6)
    assert times_s == pytest.approx(written_s, abs=1e-3)
    assert frames.shape[0] == len(written_s)
    assert np.ptp(np.diff(times_s)) > 0.005, "the timing varies indeed"


def test_sound_and_picture_share_their_zero(filmed: Any, spin_of: Any) -> None:
    path, _, _ = filmed()
    sound = ContainerSound().read(path)
    spin = spin_of("sound", **CASE)
    count = min(len(sound.samples), spin.samples.size)
    spectrum = np.fft.rfft(sound.samples[:count, 0]) * np.conj(np.fft.rfft(spin.samples[:count]))
    late = int(np.argmax(np.fft.irfft(spectrum)))
    assert min(late, count - late) / sound.sample_rate_hz < 0.002


@pytest.mark.parametrize(
    "plan",
    [
        {"arms": 0},
        {"tape_grey": None, "pedal_grey": None},
        {"both_taped": True, "pedal_grey": None},
        {"light": 0.02},
    ],
    ids=["no crank", "no tape", "both taped", "dark"],
)
def test_what_can_t_be_followed_is_refused(plan: dict[str, Any], filmed: Any) -> None:
    _, recording, _ = filmed(**plan)
    with pytest.raises(MotionError) as caught:
        Film().estimate(recording, ASKED)
    assert caught.value.found
    assert "tape on one arm" in caught.value.hint


def test_a_sound_file_is_no_film(taken: Any, recording_of: Any) -> None:
    made = taken("sound", ".m4a")
    recording = Recording(made.path, "", made.spin.samples[:, np.newaxis].copy(), 48_000.0, "m4a")
    assert not Film().present(recording)
    with pytest.raises(InputError, match="no moving pictures"):
        Film().estimate(recording, ASKED)


def test_the_command(filmed: Any, acoustic: Any) -> None:
    """With --film, and unasked where an arm can be followed; else the sound alone decides."""
    path, _, _ = filmed()
    for option in (["--film"], []):
        document = acoustic("check", path, "--bearing", "6805", *option, "--json").document
        assert document["motion"]["source"] == "film"
    bare, _, _ = filmed(tape_grey=None, pedal_grey=None)
    unasked = acoustic("check", bare, "--bearing", "6805", "--json").document
    assert unasked["motion"]["source"] == "sound"
    silent, _, _ = filmed(sound=False)
    outcome = acoustic("check", silent, "--bearing", "6805", "--film")
    assert outcome.code == EXIT_UNUSABLE
    assert "sound" in outcome.stderr
