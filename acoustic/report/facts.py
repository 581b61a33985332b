"""What every report for people says in the same words: crank, bearing, recording, notes, and which findings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from acoustic.conditions import table
from acoustic.model import Analysis, Finding, Motion
from acoustic.report import words
from acoustic.report.layout import sentence
from acoustic.text import SPIN


def shown(result: Analysis) -> tuple[Finding, ...]:
    """Findings worth a line: detected ones, the surest first, then those not found, then those left open.

    None where the recording cannot be used: what was not found in it says nothing.
    """
    if not result.quality.usable:
        return ()
    detected = [finding for finding in result.findings if finding.detected]
    # What is found as one of several parts says nothing against any of them.
    may_be = {
        part
        for f in detected
        if f.condition == "raceway"
        for part in f.evidence.may_be or result.condition(f).may_be
    }
    absent = [
        replace(f, judged=False, detail=f"it may be what strikes: {table().conditions['raceway'].name}")
        if f.condition in may_be
        else f
        for f in result.findings
        if not f.detected and f.condition != "raceway"
    ]
    return (
        *sorted(detected, key=lambda f: f.false_alarm_probability),
        *(f for f in absent if f.judged),
        *(f for f in absent if not f.judged and f.condition != "drivetrain"),
    )


def notes(result: Analysis) -> list[str]:
    """Problems that are not the reason of the grade already."""
    others = [p for p in result.quality.problems if p.detail not in result.verdict.because]
    if any(finding.detected for finding in result.findings):
        # That a healthy bearing could not have been found is no news beside one that is not.
        others = [problem for problem in others if problem.code != "faint"]
    return [f"{sentence(problem.detail)} {problem.advice}" for problem in others]


def crank(motion: Motion | None) -> str:
    """How the crank turned, and how that is known."""
    if motion is None:
        return "its motion is not known"
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
        f"{SPIN[motion.spin]}, {speed}; speed from {motion.label}"
    )


def bearing(result: Analysis) -> str:
    """What the bearing is, and where the count of its balls is from."""
    named, geometry = result.bearing, result.bearing.geometry
    counts = {
        "catalogue": "count from the catalogue",
        "given": "count as given",
        "inferred": "count inferred by ear",
    }
    after = named.runner_up
    next_best = "" if after is None else f" (next likeliest: {after.balls}, {words.share(after.probability)})"
    return (
        f"{named.designation}: {geometry.balls} balls of {geometry.ball_diameter_mm:g} mm on "
        f"{geometry.pitch_diameter_mm:g} mm, {counts[named.balls_source]}{next_best}"
    )


def teeth(result: Analysis) -> list[str]:
    """Orders of the drivetrain, where its teeth were given."""
    given = None if result.features is None else result.features.drivetrain.given
    if given is None:
        return []
    told = ", ".join(f"{words.DRIVE[order.part]} {order.order:.4g}" for order in given.orders)
    return [f"a crank turn makes: {told}"]


def recording(result: Analysis) -> str:
    """What kind of file it is, how long, and which channel was judged."""
    taken = result.recording
    rate = f"{taken.sample_rate_hz:.0f} Hz"
    several = taken.samples.shape[1] > 1
    channel = f", channel {taken.channel + 1} of {taken.samples.shape[1]}" if several else ""
    return f"{taken.format}, {taken.duration_s:.1f} s at {rate}{channel}"


def failures(result: Analysis) -> list[str]:
    """Plugins that failed, and how."""
    return [f"plugin {failure.plugin} ({failure.stage}): {failure.error}" for failure in result.failures]
