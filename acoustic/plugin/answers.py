"""What plugins answer, checked: called within `safe_call`, so that a wrong answer is the plugin's failure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

from acoustic.dsp.orders.healthy import DETECTION_CHANCE
from acoustic.model import Features, Finding, Motion, Problem, Recording, Sound, SpeedRequest
from acoustic.plugin.hookspecs import Detector, QualityCheck, Reader, SpeedSource
from acoustic.plugin.safe_call import is_a

OUTSIDE_S = 0.05  # rounding, and a codec's block


def claims(reader: Reader, head: bytes) -> bool:
    """Whether a reader knows a file by its first bytes."""
    return bool(reader.claims(head))


def sound(reader: Reader, path: Path) -> Sound:
    """A reader's sound, which must be one."""
    found = is_a(reader.read(path), Sound)
    if np.iscomplexobj(found.samples):
        raise TypeError("real samples are needed, not complex ones")
    found = Sound(np.asarray(found.samples, dtype=np.float64), float(found.sample_rate_hz), str(found.format))
    if found.samples.ndim != 2 or not found.samples.size or not 0 < found.sample_rate_hz < np.inf:
        raise ValueError(
            f"samples of shape (n, channels) and a rate above 0 are needed, got {found.samples.shape} "
            f"and {found.sample_rate_hz} Hz"
        )
    return found


def problems(check: QualityCheck, recording: Recording, features: Features | None) -> list[Problem]:
    """A quality check's problems, which must be problems."""
    return [is_a(problem, Problem) for problem in check.check(recording, features)]


def findings(detector: Detector, features: Features) -> list[Finding]:
    """A detector's findings, which must cover all that it says it judges, and nothing else."""
    answered = detector.detect(features)
    if not isinstance(answered, Iterable):
        raise TypeError(f"a list of Finding is needed, got {type(answered).__name__}")
    found = [is_a(finding, Finding) for finding in answered]
    judged = [finding.condition for finding in found]
    silent_on = sorted(set(detector.conditions) - set(judged))
    if silent_on:
        raise ValueError(
            f"no finding for {', '.join(silent_on)}, but for {', '.join(judged) or 'nothing'}; every condition a "
            "detector names needs one"
        )
    if len(judged) > len(detector.conditions):
        raise ValueError(
            f"findings for {', '.join(judged)}; a detector gives one for each condition that it names, and no more"
        )
    for one in found:
        if one.detected and one.false_alarm_probability > DETECTION_CHANCE:
            raise ValueError(
                f"{one.condition} is said to be detected at a chance of {one.false_alarm_probability:g}; "
                f"{DETECTION_CHANCE:g} or less is needed"
            )
    return found


def motion(source: SpeedSource, recording: Recording, request: SpeedRequest) -> Motion:
    """A speed source's motion, which must be one, within the recording, and of this source."""
    found = is_a(source.estimate(recording, request), Motion)
    times_s, turns = found.times_s, found.turns
    if times_s.ndim != 1 or times_s.shape != turns.shape or times_s.size < 2:
        raise ValueError(f"as many times as turns, two or more, are needed, got {times_s.shape} and {turns.shape}")
    if not (np.all(np.diff(times_s) > 0) and np.all(np.diff(turns) > 0)):
        raise ValueError("times and turns that both increase strictly are needed")
    if not (times_s[0] >= -OUTSIDE_S and times_s[-1] <= recording.duration_s + OUTSIDE_S):
        raise ValueError(
            f"times within the recording, 0 to {recording.duration_s:.2f} s, are needed, got {times_s[0]:.2f} to "
            f"{times_s[-1]:.2f} s"
        )
    if not (np.isfinite(turns[[0, -1]]).all() and found.relative_uncertainty >= 0):
        raise ValueError("finite turns and an uncertainty of 0 or more are needed")
    if found.source != source.code:
        raise ValueError(f"a motion whose source is {source.code!r} is needed, got {found.source!r}")
    return replace(found, label=source.label)
