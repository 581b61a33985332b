"""The report a mechanic reads in five seconds: grade, why, next step, then evidence."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from acoustic.grade import CAUTIONS
from acoustic.model import Analysis, Finding, Motion
from acoustic.report import words
from acoustic.report.layout import paragraphs, sentence


def grade_line(result: Analysis) -> str:
    """Grade, file and bearing in one line."""
    return f"{result.verdict.level.upper()}  {result.recording.path.name}  ({result.bearing.designation})"


def to_text(result: Analysis) -> str:
    """Write the whole report.

    Parameters
    ----------
    result : Analysis

    Returns
    -------
    str
        Lines of at most 96 characters, no colour.
    """
    lines = [grade_line(result), ""]
    lines += paragraphs("why", (sentence(text) for text in result.verdict.because))
    lines += paragraphs("next", result.verdict.advice)
    lines += _heard(result.findings if result.quality.usable else ())
    lines += [
        "",
        *paragraphs("crank", [_motion(result.motion)]),
        *paragraphs("bearing", [_bearing(result)]),
    ]
    lines += paragraphs("teeth", _teeth(result))
    lines += paragraphs("recording", [_recording(result)])
    lines += paragraphs("note", _notes(result))
    lines += paragraphs("failed", (f"plugin {f.plugin} ({f.stage}): {f.error}" for f in result.failures))
    lines += ["", *paragraphs("take care", CAUTIONS)]
    return "\n".join(lines)


def _notes(result: Analysis) -> list[str]:
    """Problems that are not the reason of the grade already."""
    others = (p for p in result.quality.problems if p.detail not in result.verdict.because)
    return [f"{sentence(problem.detail)} {problem.advice}" for problem in others]


def _heard(findings: Sequence[Finding]) -> list[str]:
    """Detected conditions in full, the surest first; the others in one line."""
    if not findings:
        return []
    detected = sorted((f for f in findings if f.detected), key=lambda f: f.false_alarm_probability)
    lines = ["", *(_finding(finding) for finding in detected)]
    absent = [f for f in findings if not f.detected and f.condition != "raceway"]
    for label, group in (
        ("not heard", [f for f in absent if f.judged]),
        ("open", [f for f in absent if not f.judged and f.condition != "drivetrain"]),
    ):
        lines += paragraphs(label, [", ".join(words.CONDITION[f.condition] for f in group)] if group else [])
    return lines


def _finding(finding: Finding) -> str:
    strength = "" if finding.severity_db is None else f"{finding.severity_db:+.0f} dB, "
    detail = f"{words.CONDITION[finding.condition]}: {finding.detail}; "
    detail += f"{strength}{words.chance(finding.false_alarm_probability)}"
    if finding.evidence.band_hz is not None:
        low_hz, high_hz = finding.evidence.band_hz
        detail += f", from {low_hz:.0f} to {high_hz:.0f} Hz"
    return "\n".join(paragraphs("heard", [detail]))


def _motion(motion: Motion | None) -> str:
    if motion is None:
        return "its motion was not looked for"
    rpm = motion.speed_hz * 60
    speed = (
        f"{rpm.mean():.0f} rpm" if motion.spin == "steady" else f"{rpm.max():.0f} rpm falling to {rpm.min():.0f}"
    )
    if motion.spin == "pedal":
        low, high = np.quantile(rpm, [0.05, 0.95])
        speed = f"{low:.0f} to {high:.0f} rpm"
    if motion.relative_uncertainty >= 1:
        return f"it turns from {motion.start_s:.1f} to {motion.stop_s:.1f} s; how fast is not known"
    return (
        f"{motion.total_turns:.1f} turns from {motion.start_s:.1f} to {motion.stop_s:.1f} s, "
        f"{words.SPIN[motion.spin]}, {speed}; speed {words.SOURCE[motion.source]}"
    )


def _bearing(result: Analysis) -> str:
    bearing, geometry = result.bearing, result.bearing.geometry
    counts = {
        "catalogue": "count from the catalogue",
        "given": "count as given",
        "inferred": "count inferred by ear",
    }
    after = bearing.runner_up
    next_best = "" if after is None else f" (next likeliest: {after.balls}, {words.share(after.probability)})"
    return (
        f"{bearing.designation}: {geometry.balls} balls of {geometry.ball_diameter_mm:g} mm on "
        f"{geometry.pitch_diameter_mm:g} mm, {counts[bearing.balls_source]}{next_best}"
    )


def _teeth(result: Analysis) -> list[str]:
    """Orders of the drivetrain, where its teeth were given."""
    given = None if result.hearing is None else result.hearing.drivetrain.given
    if given is None:
        return []
    told = ", ".join(f"{words.DRIVE[order.part]} {order.order:.4g}" for order in given.orders)
    return [f"a crank turn makes: {told}"]


def _recording(result: Analysis) -> str:
    recording = result.recording
    rate = f"{recording.sample_rate_hz:.0f} Hz"
    several = recording.samples.shape[1] > 1
    channel = f", channel {recording.channel + 1} of {recording.samples.shape[1]}" if several else ""
    return f"{recording.format}, {recording.duration_s:.1f} s at {rate}{channel}"
