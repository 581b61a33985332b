"""The crank's motion from the bearing's own sound, and from turns counted by eye beside it."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.api import InputError, Motion, Recording, SpeedRequest, band_bank, hookimpl, tacholess_motion
from acoustic_plugins.speed.options import TURNS

ACOUSTIC_API = (1, 0)

MOST_TURNS = 1000.0  # more than anyone counts by eye (judgement)


class CountedTurns:
    """Motion from the sound, its scale from --turns."""

    name = "counted-turns"
    summary = "the turns of the whole spin counted by eye, given with --turns; the rest from the sound"
    code, label = "turns", "the counted turns"
    rank = 50
    options = TURNS

    def present(self, recording: Recording) -> bool:
        """Somebody must have counted."""
        return False

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Find the course of the speed in the sound, and give it the counted turns' scale."""
        counted_turns = request.value("counted_turns")
        if counted_turns is None:
            raise InputError("no count of turns was given", hint="Give it with --turns N.")
        if not 0 < counted_turns <= MOST_TURNS:
            raise InputError(
                f"--turns is {counted_turns:g}; more than 0 and at most {MOST_TURNS:g} is needed",
                hint="Count the crank's turns from the push until it stops, half turns too, for example 9.5.",
            )
        return _by_ear(recording, request, counted_turns)


class SoundAlone:
    """Motion from the sound; its scale stays open."""

    name = "sound-alone"
    summary = "the speed from the rhythm of the bearing itself, if there is nothing better"
    code, label = "sound", "the sound alone"
    rank = 90
    options = ()

    def present(self, recording: Recording) -> bool:
        """Every recording has a sound."""
        return True

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Find the course of the speed in the sound."""
        return _by_ear(recording, request, None)


def _by_ear(recording: Recording, request: SpeedRequest, counted_turns: float | None) -> Motion:
    bank = band_bank(recording.heard, sample_rate_hz=recording.sample_rate_hz)
    return tacholess_motion(
        bank,
        request.bearing.candidates if request.bearing is not None else (),
        duration_s=recording.duration_s,
        spin=request.spin,
        counted_turns=counted_turns,
    )


@hookimpl
def acoustic_speed_sources() -> Sequence[CountedTurns | SoundAlone]:
    """Offer the counted turns and the sound alone."""
    return [CountedTurns(), SoundAlone()]
