"""The crank turns at a steady speed that the user states."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.api import (
    InputError,
    Motion,
    Recording,
    SpeedRequest,
    band_bank,
    hookimpl,
    still_parts,
    turning_part,
)
from acoustic_plugins.speed.options import SPEED

ACOUSTIC_API = (1, 0)

READ_OFF = 0.0165  # a bench drive or a metronome, read off by eye: 1 % usually
# Judgement: past any bench drive that turns a crank bearing.
HIGHEST_RPM = 6000.0


class StatedSpeed:
    """Steady speed from --speed."""

    name = "stated-speed"
    summary = "a steady speed given with --speed"
    code, label = "stated", "the rpm given"
    rank = 60
    options = SPEED

    def present(self, recording: Recording) -> bool:
        """No recording states its speed."""
        return False

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Take the louder middle of the recording to turn at the stated speed."""
        import numpy as np

        speed_rpm = request.value("speed_rpm")
        if speed_rpm is None or not 0 < speed_rpm <= HIGHEST_RPM:
            raise InputError(
                f"--speed is {speed_rpm:g} turns per minute; more than 0 and at most {HIGHEST_RPM:g} is needed",
                hint="Give the crank's own speed; count its turns over ten seconds and multiply by six.",
            )
        if request.spin in ("hand", "pedal"):
            raise InputError(
                f"--speed says the speed is steady, --spin {request.spin} says it is not",
                hint="Leave --spin out, or give the turns' times with --marks.",
            )
        bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz)
        start_s, stop_s = turning_part(bank)
        times_s = np.array([start_s, stop_s])
        return Motion(
            times_s=times_s,
            turns=(times_s - start_s) * speed_rpm / 60,
            source="stated",
            spin="steady",
            relative_uncertainty=READ_OFF,
            scale_known=True,
            still=still_parts(recording.duration_s, start_s, stop_s, before_s=0.2, after_s=0.2),
        )


@hookimpl
def acoustic_speed_sources() -> Sequence[StatedSpeed]:
    """Offer the stated speed."""
    return [StatedSpeed()]
