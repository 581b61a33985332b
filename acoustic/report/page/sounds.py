"""What the page lets one hear: the recording, its clicks alone, the defect's band, and that at half speed.

Ogg Vorbis, a fifth of FLAC: 12 s with the clicks alone, the defect's band and both slow ones take 0.6 MB. At
half the rate the same samples sound an octave lower, with nothing invented; a phase vocoder keeps the pitch and
smears clicks. Each says which it is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from acoustic.dsp.arrays import Floats
from acoustic.dsp.playback import SHORTEST_S, band_pass, clicks_alone, half_speed
from acoustic.dsp.quality import can_be_heard
from acoustic.model import Analysis, Finding, Motion, Recording
from acoustic.report import facts
from acoustic.report.page.embed import sound_uri

# Judgement: a page that is sent by mail stays small; a spin is seldom longer.
LONGEST_S = 20.0
PEAK = 0.8  # of full scale; the coding may overshoot a little
SILENT = 1e-5  # of full scale, below the smallest step of 16 bits
CLICKS = (
    "The clicks alone, as loud as in the recording: kept is what stands 10 dB or more over what lasts. "
    "A faint crackle is left of any noise."
)
SLOW_AND_LOWER = "That band at half speed, an octave lower: slowed down, and nothing else done to it."
SLOW_AT_PITCH = (
    "That band at half speed, at its own pitch: it sounds as it did, but each click is smeared a little."
)


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


def playable_sounds(result: Analysis, *, with_librosa: bool = True) -> tuple[Playable, ...]:
    """Make the sounds of a check; none where the recording holds none that could be played.

    Parameters
    ----------
    result : Analysis
    with_librosa : bool
        Whether librosa can be loaded; without it the clicks are not separated, and nothing is slowed at its pitch.

    Returns
    -------
    tuple of Playable
        The recording; of a usable one its clicks alone; with a defect heard in a band, that band, and the band at
        half speed, an octave lower and at its own pitch.
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
    separable = with_librosa and result.quality.usable and sound.size >= SHORTEST_S * rate_hz
    if separable:
        # As loud as in the recording: made louder by itself, the noise of a healthy bearing would crackle too.
        clicks = clicks_alone(loud, sample_rate_hz=rate_hz)
        sounds.append(Playable(CLICKS, sound_uri(clicks, sample_rate_hz=round(rate_hz))))
    strongest = _strongest(facts.shown(result))
    if strongest is not None and strongest.evidence.band_hz is not None:
        low_hz, high_hz = strongest.evidence.band_hz
        banded, change = _loud(band_pass(sound, sample_rate_hz=rate_hz, low_hz=low_hz, high_hz=high_hz))
        says = (
            f"Of the recording only {low_hz:.0f} to {high_hz:.0f} Hz, where this was heard: "
            f"{result.condition(strongest).name}; {change}."
        )
        sounds.append(Playable(says, sound_uri(banded, sample_rate_hz=round(rate_hz))))
        # The very samples at half the rate: twice as long, and every pitch an octave lower.
        sounds.append(Playable(SLOW_AND_LOWER, sound_uri(banded, sample_rate_hz=round(rate_hz / 2))))
        if separable:
            slow, _ = _loud(half_speed(banded, sample_rate_hz=rate_hz))
            sounds.append(Playable(SLOW_AT_PITCH, sound_uri(slow, sample_rate_hz=round(rate_hz))))
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
