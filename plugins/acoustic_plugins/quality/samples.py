"""What is wrong with the samples of a recording, whatever it holds."""

from __future__ import annotations

from acoustic.api import Problem, Recording, out_of_range
from acoustic_plugins.quality.measures import QUIETEST, clipped_share, gaps, sounding_level, wrapped_share

# Judgement: half of the fewest turns that are graded, spun fast.
SHORTEST_S = 1.0
# Judged on simulated spins: below these a defect of middling size is missed more often than found.
NARROW_HZ, TOO_NARROW_HZ = 5000.0, 2500.0
# Judgement: some ten samples a second clip in the strikes alone; where a twentieth does, so does the rest.
CLIPPED, MUCH_CLIPPED = 0.0002, 0.05
WRAPPED, MUCH_WRAPPED = 0.001, 0.03  # a sixtieth of what follows a lost byte, and half of it
# Judgement: gaps are filled with silence, which hides strikes by their share and breaks the noise about them.
GAPS, MUCH_GAPS = 0.005, 0.15
LONGER = "Record one spin from two still seconds before the push until two seconds after the crank stands."


def problems_of_samples(recording: Recording) -> list[Problem]:
    """List the problems of the samples alone; where they are broken, nothing but that."""
    return _broken(recording) or [
        *_clipped(recording),
        *_wrapped(recording),
        *_gappy(recording),
        *_narrow(recording),
    ]


def _broken(recording: Recording) -> list[Problem]:
    """Problems after which no number would mean anything."""
    import numpy as np

    bad = int(np.count_nonzero(~np.isfinite(recording.samples)))
    if bad:
        return [
            Problem(
                "non_finite",
                f"{bad} sample{'s are' if bad > 1 else ' is'} not a number",
                "The file is damaged: copy it from the phone again, or record again.",
                voids="any",
            )
        ]
    wild = out_of_range(recording.samples)
    if wild:
        return [
            Problem(
                "out_of_range",
                f"{wild} sample{'s' if wild > 1 else ''} beyond four times full scale, which no recorder writes",
                "The file is damaged: copy it from the phone again, or record again.",
                voids="any",
            )
        ]
    if sounding_level(recording.heard) < QUIETEST:
        return [
            Problem(
                "silent",
                "the recording holds no sound, only a constant level",
                "Check that the microphone is not covered or switched off, and record again.",
                voids="any",
            )
        ]
    if recording.duration_s < SHORTEST_S:
        return [
            Problem(
                "too_short",
                f"the recording lasts {recording.duration_s:.2f} s; a spin lasts ten seconds or more",
                LONGER,
                voids="any",
            )
        ]
    return []


def _clipped(recording: Recording) -> list[Problem]:
    share = clipped_share(recording.heard)
    if share < CLIPPED:
        return []
    return [
        Problem(
            "clipped",
            f"{share:.1%} of the samples are cut off at the loudest value",
            "Hold the phone a little farther away, or lower the recording level.",
            voids="any" if share >= MUCH_CLIPPED else "nothing",
        )
    ]


def _wrapped(recording: Recording) -> list[Problem]:
    share = wrapped_share(recording.heard)
    if share < WRAPPED:
        return []
    return [
        Problem(
            "wrapped",
            f"{share:.1%} of the samples jump from end to end of the scale, as where a file has lost a byte",
            "Copy the file from the phone again; if that changes nothing, record again, at a lower level.",
            voids="any" if share >= MUCH_WRAPPED else "clean",
        )
    ]


def _gappy(recording: Recording) -> list[Problem]:
    found = gaps(recording.heard, recording.sample_rate_hz)
    share = sum(stop - start for start, stop in found) / recording.duration_s
    if share < GAPS:
        return []
    return [
        Problem(
            "dropouts",
            f"{len(found)} gaps without any sound make up {share:.1%} of the recording",
            "Switch off noise suppression and voice enhancement, close other programs, and record again.",
            voids="any" if share >= MUCH_GAPS else "clean",
        )
    ]


def _narrow(recording: Recording) -> list[Problem]:
    top_hz = recording.bandwidth_hz
    if top_hz >= NARROW_HZ:
        return []
    return [
        Problem(
            "narrow_band",
            f"nothing above {top_hz / 1000:.1f} kHz was recorded; {NARROW_HZ / 1000:.0f} kHz or more is wanted",
            "Use the phone's own recorder at its best quality, no call or messenger recording.",
            voids="any" if top_hz < TOO_NARROW_HZ else "nothing",
        )
    ]
