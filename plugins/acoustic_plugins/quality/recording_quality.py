"""What limits a recording, each with its advice."""

from __future__ import annotations

from collections.abc import Sequence

from acoustic.api import Features, Problem, Recording, hookimpl
from acoustic_plugins.quality.samples import problems_of_samples
from acoustic_plugins.quality.turning import problems_of_turning

ACOUSTIC_API = (1, 0)


class RecordingQuality:
    """Silence, broken samples, clipping, gaps, bandwidth, turns, and whether the sound follows the crank."""

    name = "recording-quality"
    summary = "silence, broken samples, clipping, gaps, bandwidth, length, and whether the sound follows the crank"

    def check(self, recording: Recording, features: Features | None) -> Sequence[Problem]:
        """Check the samples first; the turning part once it is known."""
        return problems_of_samples(recording) if features is None else problems_of_turning(features)


@hookimpl
def acoustic_quality_checks() -> Sequence[RecordingQuality]:
    """Offer the checks of the recording."""
    return [RecordingQuality()]
