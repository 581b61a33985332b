"""What the page lets one hear: the recording, the defect's band of it, and that at half speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acoustic.dsp.playback import band_pass
from acoustic.dsp.quality import can_be_heard
from acoustic.model import Analysis, Finding, Motion, Recording
from acoustic.report import facts
from acoustic.report.page.embed import sound_uri

Floats = NDArray[np.float64]

LONGEST_S = 20.0
PEAK = 0.8  # of full scale; the coding may overshoot a little
SILENT = 1e-5  # of full scale, below the smallest step of 16 bits


@dataclass(frozen=True, slots=True)
class Playable:
    """A sound on the page.

    Attributes
    ----------
    says : str
        What it is, and what was done to it.
    uri : str
        Ogg Vorbis as a data: URI.
    """

    says: str
    uri: str


def playable_sounds(result: Analysis) -> tuple[Playable, ...]:
    """Make the sounds of a check; none where the recording holds none that could be played.

    Parameters
    ----------
    result : Analysis

    Returns
    -------
    tuple of Playable
        The recording; with a defect heard in a band, that band, and the band at half speed.
    """
    recording = result.recording
    start_s, stop_s, what = _stretch(recording, result.motion)
    rate_hz = recording.sample_rate_hz
    sound = recording.heard[round(start_s * rate_hz) : round(stop_s * rate_hz)]
    if not sound.size or not can_be_heard(sound):
        return ()
    sound = sound - sound.mean()
    if float(np.abs(sound).max()) < SILENT:
        return ()
    loud, change = _loud(sound)
    sounds = [Playable(f"{what}; {change}.", sound_uri(loud, sample_rate_hz=round(rate_hz)))]
    strongest = _strongest(facts.shown(result))
    if strongest is not None and strongest.evidence.band_hz is not None:
        low_hz, high_hz = strongest.evidence.band_hz
        banded, change = _loud(band_pass(sound, sample_rate_hz=rate_hz, low_hz=low_hz, high_hz=high_hz))
        says = (
            f"Of that only {low_hz:.0f} to {high_hz:.0f} Hz, where this was heard: "
            f"{result.condition(strongest).name}; {change}."
        )
        # The very samples at half the rate: twice as long, and every pitch an octave lower.
        slow = "The same at half speed, twice as long; that makes it an octave lower."
        sounds.append(Playable(says, sound_uri(banded, sample_rate_hz=round(rate_hz))))
        sounds.append(Playable(slow, sound_uri(banded, sample_rate_hz=round(rate_hz / 2))))
    return tuple(sounds)


def _stretch(recording: Recording, motion: Motion | None) -> tuple[float, float, str]:
    """Start and end [s] of what is played, and what it is: all of it, or the turning part of a long one."""
    lasting_s = recording.duration_s
    if lasting_s <= LONGEST_S:
        return 0.0, lasting_s, f"The whole recording, {lasting_s:.1f} s"
    start_s, stop_s, what = 0.0, lasting_s, "recording"
    if motion is not None:
        start_s, stop_s, what = max(0.0, motion.start_s), min(lasting_s, motion.stop_s), "turning part"
    if stop_s - start_s <= LONGEST_S:
        return start_s, stop_s, f"The turning part, {start_s:.1f} to {stop_s:.1f} s of {lasting_s:.1f} s"
    stop_s = start_s + LONGEST_S
    return start_s, stop_s, f"The first {LONGEST_S:.0f} s of the {what}, {start_s:.1f} to {stop_s:.1f} s"


def _loud(sound: Floats) -> tuple[Floats, str]:
    """Bring the loudest sample to the same height in every sound, since a phone's may be all but inaudible."""
    gain = PEAK / max(float(np.abs(sound).max()), SILENT)
    change_db = 20 * math.log10(gain)
    return sound * gain, f"made {'louder' if change_db > 0 else 'quieter'} by {abs(change_db):.0f} dB"


def _strongest(findings: tuple[Finding, ...]) -> Finding | None:
    """The detected finding of the highest severity that was heard in a band."""
    banded = [f for f in findings if f.detected and f.evidence.band_hz is not None]
    return max(banded, key=lambda f: -math.inf if f.severity_db is None else f.severity_db, default=None)
