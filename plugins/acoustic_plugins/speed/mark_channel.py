"""The crank's angle from pulses, one per turn, on another channel of the recording."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from acoustic.api import (
    InputError,
    MarkTrain,
    Motion,
    MotionError,
    Recording,
    SpeedRequest,
    also_heard,
    band_bank,
    find_pulses,
    find_ticks,
    hookimpl,
    is_same_sound,
    is_unmistakable,
    motion_from_train,
    tick_onsets,
    turning_part,
)
from acoustic_plugins.speed.options import MARK_CHANNEL

ACOUSTIC_API = (1, 0)

TIMING_S = 0.0003  # a switch's edge
CHECK_THE_WIRE = (
    "Listen to that channel: it must hold one short pulse per turn, far above its own noise, over the whole spin. "
    "Check the switch's wire and the channel's number, or give the turns' times with --marks."
)


class MarkChannel:
    """Angle from --mark-channel, or from a channel that holds marks and nothing else."""

    name = "mark-channel"
    summary = "pulses once per turn on another channel, given with --mark-channel or unmistakable"
    code, label = "channel", "the mark channel"
    rank = 15
    options = MARK_CHANNEL

    def present(self, recording: Recording) -> bool:
        """Tell whether there is a second channel at all."""
        return bool(recording.samples.shape[1] > 1)

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Find the pulses on the channel named, or on one that is unmistakably theirs."""
        named = request.value("mark_channel")
        train = _unmistakable(recording) if named is None else _named(recording, named)
        bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz)
        return motion_from_train(
            train,
            duration_s=recording.duration_s,
            source="channel",
            timing_s=TIMING_S,
            own_sound=also_heard(bank, train),
            sounding_s=turning_part(bank),
        )


def _named(recording: Recording, mark_channel: int) -> MarkTrain:
    """The pulses on the channel that the user named."""
    count = recording.samples.shape[1]
    if not 1 <= mark_channel <= count or mark_channel == recording.channel + 1:
        raise InputError(
            f"--mark-channel {mark_channel} is not a channel beside the sound; channels in the recording: {count}",
            hint="Record sound and mark on two channels of one file, and count channels from 1.",
        )
    signal, rate_hz = recording.samples[:, mark_channel - 1], recording.sample_rate_hz
    train = find_pulses(signal, recording.heard, rate_hz)
    if not train.stands_out:
        # A microphone at a card hears the bearing too; the card's flicks are told from its strikes by their sound.
        ticks = find_ticks(band_bank(signal, sample_rate_hz=rate_hz))
        if ticks.stands_out:
            train = replace(ticks, times_s=tick_onsets(signal, rate_hz, ticks.times_s))
    if not train.stands_out:
        best = f"{train.times_s.size} pulses in step at best" if train.times_s.size else "no pulses in step"
        raise MotionError(
            f"channel {mark_channel} holds no pulses once per turn: {best}; four or more that stand out "
            "clearly are needed",
            hint=CHECK_THE_WIRE,
        )
    if is_same_sound(train, signal, recording.heard, rate_hz):
        raise MotionError(
            f"channel {mark_channel} holds the same sound as the channel that is judged, clicks included",
            hint="The two microphones of a phone cannot serve as sound and mark. If a card clicks once per "
            "turn, give --ticks.",
        )
    return train


def _unmistakable(recording: Recording) -> MarkTrain:
    """The pulses on a channel that nobody named, where they can be nothing else."""
    best: MarkTrain | None = None
    for channel in range(recording.samples.shape[1]):
        if channel == recording.channel:
            continue
        signal = recording.samples[:, channel]
        train = find_pulses(signal, recording.heard, recording.sample_rate_hz)
        if is_unmistakable(train, signal, recording.heard, recording.sample_rate_hz) and (
            best is None or train.evidence > best.evidence
        ):
            best = train
    if best is None:
        raise MotionError(
            "no other channel of the recording holds unmistakable pulses once per turn",
            hint="If one does, name it with --mark-channel N; otherwise give the turns' times with --marks.",
        )
    return best


@hookimpl
def acoustic_speed_sources() -> Sequence[MarkChannel]:
    """Offer the mark channel."""
    return [MarkChannel()]
