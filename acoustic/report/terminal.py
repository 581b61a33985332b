"""The report a mechanic reads in five seconds: grade, why, next step, then evidence."""

from __future__ import annotations

from acoustic.check.grade import CAUTIONS
from acoustic.model import Analysis, Finding
from acoustic.report import facts, words
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
    lines += _heard(result)
    lines += [
        "",
        *paragraphs("crank", [facts.crank(result.motion)]),
        *paragraphs("bearing", [facts.bearing(result)]),
    ]
    lines += paragraphs("teeth", facts.teeth(result))
    lines += paragraphs("recording", [facts.recording(result)])
    lines += paragraphs("note", facts.notes(result))
    lines += paragraphs("failed", facts.failures(result))
    lines += ["", *paragraphs("take care", CAUTIONS)]
    return "\n".join(lines)


def _heard(result: Analysis) -> list[str]:
    """Detected conditions in full, the surest first; the others in one line."""
    shown = facts.shown(result)
    if not shown:
        return []
    lines = ["", *(_finding(finding, result.condition(finding).name) for finding in shown if finding.detected)]
    for label, group in (
        ("not heard", [f for f in shown if f.judged and not f.detected]),
        ("open", [f for f in shown if not f.judged]),
    ):
        lines += paragraphs(label, [", ".join(result.condition(f).name for f in group)] if group else [])
    return lines


def _finding(finding: Finding, name: str) -> str:
    strength = "" if finding.severity_db is None else f"{finding.severity_db:+.0f} dB, "
    detail = f"{name}: {finding.detail}; "
    detail += f"{strength}{words.chance(finding.false_alarm_probability)}"
    if finding.evidence.band_hz is not None:
        low_hz, high_hz = finding.evidence.band_hz
        detail += f", from {low_hz:.0f} to {high_hz:.0f} Hz"
    return "\n".join(paragraphs("heard", [detail]))
