"""The mark on a channel of its own: found, timed, and not made up from a second microphone."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.speed.mark_channel import MarkChannel

from acoustic.errors import MotionError
from acoustic.model import SpeedRequest

ASKED = SpeedRequest(mark_channel=2)


def test_the_angle_is_the_crank_s(recording_of: Any, spin_of: Any) -> None:
    """Within a hundredth of a turn of the simulated crank all along."""
    motion = MarkChannel().estimate(recording_of("marked"), ASKED)
    spin = spin_of("marked")
    off = motion.turns - np.interp(motion.times_s, spin.times_s, spin.turns)
    assert np.quantile(np.abs(off - np.median(off)), 0.9) < 0.01
    assert (motion.source, motion.scale_known) == ("channel", True)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_either_polarity_and_any_offset_will_do(sign: float, recording_of: Any) -> None:
    recording = recording_of("marked")
    samples = recording.samples.copy()
    samples[:, 1] = sign * samples[:, 1] + 0.3
    turned = MarkChannel().estimate(replace(recording, samples=samples), ASKED)
    plain = MarkChannel().estimate(recording, ASKED)
    assert turned.total_turns == pytest.approx(plain.total_turns, abs=0.01)


def test_unasked_an_unmistakable_channel_serves(recording_of: Any) -> None:
    assert MarkChannel().estimate(recording_of("marked"), SpeedRequest()).source == "channel"


@pytest.mark.parametrize("case", ["sound", "ticking", "outer"])
def test_a_phone_s_second_microphone_is_no_mark_channel(case: str, recording_of: Any) -> None:
    """The same sound a little later, fainter and in other noise, even with a card's ticks in it."""
    recording = recording_of(case)
    mono = recording.samples[:, 0]
    noise = 0.1 * mono.std() * np.random.default_rng(6).standard_normal(mono.size)
    both = replace(recording, samples=np.column_stack([mono, 0.7 * np.roll(mono, 12) + noise]))
    with pytest.raises(MotionError):
        MarkChannel().estimate(both, SpeedRequest())


def test_noise_on_the_channel_named_is_refused(recording_of: Any) -> None:
    mono = recording_of("sound").samples[:, 0]
    noise = 0.01 * np.random.default_rng(6).standard_normal(mono.size)
    with pytest.raises(MotionError) as caught:
        MarkChannel().estimate(replace(recording_of("sound"), samples=np.column_stack([mono, noise])), ASKED)
    assert caught.value.found
    assert caught.value.hint


def test_the_command(tmp_path: Any, recording_of: Any, acoustic: Any) -> None:
    """The other channel is judged, and the source is named; unasked as well."""
    import soundfile

    recording = recording_of("marked")
    soundfile.write(tmp_path / "two.wav", recording.samples, 48_000)
    for option in (["--mark-channel", "2"], []):
        document = acoustic("check", tmp_path / "two.wav", "--bearing", "6805", *option, "--json").document
        assert document["motion"]["source"] == "channel"
        assert document["recording"]["judged_channel"] == 1
