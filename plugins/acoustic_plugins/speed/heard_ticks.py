"""The crank's angle from a card or cable tie that clicks once per turn in the recording."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from acoustic.api import (
    MarkTrain,
    Motion,
    MotionError,
    Recording,
    SpeedRequest,
    band_bank,
    find_ticks,
    hookimpl,
    motion_from_train,
    tick_onsets,
    turning_part,
)
from acoustic_plugins.speed.options import TICKS

ACOUSTIC_API = (1, 0)

TIMING_S = 0.001  # of the flick: the card leaves the arm a third of a degree early or late

LOUDER = (
    "Fix a strip of card so that the crank arm flicks it once per turn, clearly louder than the bearing, and "
    "record again; or give the turns' times with --marks."
)


class HeardTicks:
    """Angle from --ticks."""

    name = "heard-ticks"
    summary = "a tick once per turn, heard in the recording itself, asked for with --ticks"
    code, label = "ticks", "the ticks heard"
    rank = 40
    options = TICKS

    def present(self, recording: Recording) -> bool:
        """Ticks are looked for only where they are said to be: strikes of a broken cage sound alike."""
        return False

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Find the train of ticks; the chain takes their own sound out of the evidence."""
        bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz)
        train = find_ticks(bank)
        if not train.stands_out:
            raise MotionError(_found(train), hint=LOUDER)
        return motion_from_train(
            replace(train, times_s=tick_onsets(recording.heard, recording.sample_rate_hz, train.times_s)),
            duration_s=recording.duration_s,
            source="ticks",
            timing_s=TIMING_S,
            own_sound=True,
            sounding_s=turning_part(bank),
        )


def _found(train: MarkTrain) -> str:
    """What was heard instead of regular ticks."""
    if train.times_s.size == 0:
        return "no regular ticks were found; four or more in step are needed"
    return (
        f"no regular ticks stand out: the likeliest, {train.times_s.size} clicks in {train.turns[-1] + 1} "
        "turns, may just as well be chance or the bearing's own strikes"
    )


@hookimpl
def acoustic_speed_sources() -> Sequence[HeardTicks]:
    """Offer the heard ticks."""
    return [HeardTicks()]
