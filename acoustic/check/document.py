"""The JSON document, schema `acoustic.check/1`."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any

from acoustic import __version__
from acoustic.check.grade import CAUTIONS
from acoustic.dsp.geometry import defect_orders
from acoustic.dsp.tacho.run_down import drag_at
from acoustic.model import Analysis, Bearing, Drivetrain, Finding, Motion, Quality, Recording

SCHEMA = "acoustic.check/1"


def to_json(result: Analysis) -> str:
    """Write an analysis as one JSON document; a number that is none becomes null."""
    return json.dumps(plain_document(result), ensure_ascii=False, indent=2, allow_nan=False)


def plain_document(result: Analysis) -> dict[str, Any]:
    """Build the document as JSON can hold it: a number that is none becomes None."""
    document: dict[str, Any] = _without_nan(to_document(result))
    return document


def to_document(result: Analysis) -> dict[str, Any]:
    """Build the document.

    Parameters
    ----------
    result : Analysis

    Returns
    -------
    dict
        Plain lists, dicts, texts and numbers.
    """
    return {
        "schema": SCHEMA,
        "recording": _recording(result.recording),
        "bearing": bearing_block(result.bearing),
        "quality": {
            "usable": result.quality.usable,
            "problems": problem_blocks(result.quality),
        },
        "drivetrain": None if result.hearing is None else _drivetrain(result.hearing.drivetrain.given),
        "motion": None if result.motion is None else _motion(result.motion),
        "findings": [_finding(finding) for finding in result.findings if finding.judged],
        "conditions": {f.condition: result.condition(f).name for f in result.findings if f.judged},
        "grade": {
            "level": result.verdict.level,
            "because": list(result.verdict.because),
            "advice": list(result.verdict.advice),
            "confidence": result.verdict.confidence,
            "would_have_found": result.verdict.would_have_found_db,
        },
        "failures": [asdict(failure) for failure in result.failures],
        "cautions": list(CAUTIONS),
        "plugins": dict(result.plugin_versions),
        "program": f"acoustic {__version__}",
    }


def _recording(recording: Recording) -> dict[str, Any]:
    return {
        "path": str(recording.path),
        "sha256": recording.sha256,
        "duration_s": recording.duration_s,
        "sample_rate_hz": recording.sample_rate_hz,
        "channels": recording.samples.shape[1],
        "judged_channel": recording.channel + 1,
        "format": recording.format,
        "side": recording.side,
        "steps": [{"name": s.name, "by": s.by, "params": dict(s.params)} for s in recording.steps],
    }


def problem_blocks(quality: Quality) -> list[dict[str, str]]:
    """What limits the recording, as every document shows it."""
    return [{"code": p.code, "detail": p.detail, "advice": p.advice} for p in quality.problems]


def bearing_block(bearing: Bearing) -> dict[str, Any]:
    """The bearing as every document shows it."""
    geometry = bearing.geometry
    return {
        "designation": bearing.designation,
        "balls": geometry.balls,
        "balls_source": bearing.balls_source,
        "balls_runner_up": None if bearing.runner_up is None else asdict(bearing.runner_up),
        "ball_counts_tried": [candidate.balls for candidate in bearing.candidates],
        "ball_diameter_mm": geometry.ball_diameter_mm,
        "pitch_diameter_mm": geometry.pitch_diameter_mm,
        "contact_angle_deg": geometry.contact_angle_deg,
        "turning": geometry.turning,
        "rows": bearing.rows,
        "source": bearing.source,
        "orders": asdict(defect_orders(geometry)),
    }


def _drivetrain(given: Drivetrain | None) -> dict[str, Any] | None:
    if given is None:
        return None
    return {**asdict(given), "orders": {order.part: order.order for order in given.orders}}


def _motion(motion: Motion) -> dict[str, Any]:
    rpm = motion.speed_hz * 60
    return {
        "source": motion.source,
        "spin": motion.spin,
        "turns": motion.total_turns,
        "peak_rpm": float(rpm.max()),
        "mean_rpm": 60 * motion.total_turns / (motion.stop_s - motion.start_s),
        "relative_uncertainty": motion.relative_uncertainty,
        "scale_known": motion.scale_known,
        "start_s": motion.start_s,
        "stop_s": motion.stop_s,
        "drag_hz_per_s": _drag_hz_per_s(motion),
    }


def _drag_hz_per_s(motion: Motion) -> float | None:
    """How fast a coasting crank slows at one turn a second; None where that is not known."""
    if motion.spin != "hand" or not motion.scale_known:
        return None
    return drag_at(motion.times_s, motion.turns, speed_hz=1.0)


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "condition": finding.condition,
        "detected": finding.detected,
        "false_alarm_probability": finding.false_alarm_probability,
        "severity_db": finding.severity_db,
        "posterior": finding.posterior,
        "detail": finding.detail,
        "by": finding.by,
        "evidence": asdict(finding.evidence),
    }


def _without_nan(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_nan(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_without_nan(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
