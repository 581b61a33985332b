"""The crank's angle from a card or cable tie that clicks once a turn in the recording."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.api import (
    InputError,
    Motion,
    MotionError,
    Recording,
    SpeedRequest,
    band_bank,
    find_clicks,
    hookimpl,
    motion_from_marks,
    tick_train,
)

ACOUSTIC_API = (1, 0)

LOUDER = (
    "Fix a strip of card so that the crank arm flicks it once a turn, clearly louder than the bearing, and record "
    "again; or give the turns' times with --marks."
)


class HeardTicks:
    """Angle from --ticks."""

    name = "heard-ticks"
    summary = "a once-a-turn tick heard in the recording itself, asked for with --ticks"
    rank = 40

    def wanted(self, request: SpeedRequest) -> bool:
        """Tell whether ticks are said to be there."""
        return request.ticks

    def present(self, recording: Recording) -> bool:
        """Ticks are looked for only where they are said to be: strikes of a broken cage sound alike."""
        return False

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Find the train of ticks; the chain takes their own sound out of the evidence."""
        bank = band_bank(
            recording.heard, sample_rate_hz=recording.sample_rate_hz, top_hz=0.47 * recording.sample_rate_hz
        )
        clicks = find_clicks(bank, least_height=6.0)
        train_s = tick_train(clicks)
        if train_s.size < 4:
            raise MotionError(
                f"no train of ticks was found among {clicks.times_s.size} clicks; four or more in step are needed",
                hint=LOUDER,
            )
        try:
            return motion_from_marks(
                train_s, duration_s=recording.duration_s, source="ticks", timing_s=0.002, own_sound=True
            )
        except InputError as error:
            raise MotionError(f"the ticks heard are no even train: {error.found}", hint=LOUDER) from error


@hookimpl
def acoustic_speed_sources() -> Sequence[HeardTicks]:
    """Offer the heard ticks."""
    return [HeardTicks()]
