"""Documents of schema `acoustic.check/1` to test with, made up."""

from __future__ import annotations

from typing import Any

from acoustic.check.document import CheckDocument, decode

RECORDING = {
    "path": "spin.wav",
    "sha256": "0" * 64,
    "duration_s": 12.0,
    "sample_rate_hz": 48000.0,
    "channels": 1,
    "format": "WAV",
}
BEARING = {
    "designation": "6805",
    "balls": 16,
    "balls_source": "catalogue",
    "ball_diameter_mm": 3.5,
    "pitch_diameter_mm": 31.0,
    "contact_angle_deg": 0.0,
    "turning": "inner",
    "orders": {"cage": 0.444, "outer_raceway": 7.097, "inner_raceway": 8.903, "ball": 8.744},
}
MOTION = {
    "source": "marks",
    "spin": "hand",
    "turns": 9.0,
    "peak_rpm": 104.0,
    "mean_rpm": 69.0,
    "relative_uncertainty": 0.002,
    "scale_known": True,
    "start_s": 2.0,
    "stop_s": 9.8,
}
EVIDENCE = {"order": None, "expected_order": None, "harmonics": None, "band_hz": None}


def plain_check(
    *,
    level: str = "clean",
    spin: str | None = "hand",
    drag: float | None = None,
    side: str | None = None,
    **severities: float,
) -> dict[str, Any]:
    """As the first version wrote it; above -10 dB ('tight': 1 dB) a finding counts as detected."""
    return {
        "schema": "acoustic.check/1",
        "recording": {**RECORDING, "side": side},
        "bearing": dict(BEARING),
        "quality": {"usable": True, "problems": []},
        "motion": None if spin is None else {**MOTION, "spin": spin, "drag_hz_per_s": drag},
        "findings": [
            {
                "condition": name,
                "detected": value > (1.0 if name == "tight" else -10.0),
                "false_alarm_probability": 0.5,
                "severity_db": value,
                "detail": "as a test has it",
                "by": "a test",
                "evidence": dict(EVIDENCE),
            }
            for name, value in severities.items()
        ],
        "grade": {"level": level, "because": [f"it is {level}"], "advice": ["record it again"]},
        "failures": [],
        "cautions": ["keep clear"],
        "plugins": {"a test": "1.0"},
        "program": "acoustic 0.1.0",
    }


def check(**said: Any) -> CheckDocument:
    """The same, read."""
    return decode(plain_check(**said))
