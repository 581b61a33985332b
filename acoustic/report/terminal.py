"""The report a mechanic reads in five seconds: grade, why, next step, then evidence."""

from __future__ import annotations

from acoustic.model import Analysis, Finding
from acoustic.report import facts, words
from acoustic.report.layout import paragraphs, sentence

# A line each; `acoustic.check.grade.CAUTIONS`, which pages and documents carry whole, in short.
TAKE_CARE = (
    "Keep hands, hair and sleeves off a spinning crank. If it drags or locks, stop riding.",
    "No sound proves a part safe: check play and cracks by hand. See acoustic guide safety.",
)


def grade_line(result: Analysis) -> str:
    """Grade, file and bearing in one line."""
    return f"{result.verdict.level.upper()}  {result.recording.path.name}  ({result.bearing.designation})"


def quiet_line(result: Analysis) -> str:
    """Grade, file and bearing, and the parts that the grade rests on."""
    detected = [result.condition(finding) for finding in facts.shown(result) if finding.detected]
    by_ear = result.motion is not None and not result.motion.scale_known
    named = [f"{one.name}, by ear" if by_ear and "strikes" in one.roles else one.name for one in detected]
    return f"{grade_line(result)}: {'; '.join(named)}" if named else grade_line(result)


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
    lines += ["", *paragraphs("take care", TAKE_CARE)]
    return "\n".join(lines)


def _heard(result: Analysis) -> list[str]:
    """Detected conditions in full, the surest first; the others in one line."""
    shown = facts.shown(result)
    if not shown:
        return []
    lines = ["", *(_finding(finding, result.condition(finding).name) for finding in shown if finding.detected)]
    if any(finding.detected and "computed)" in finding.detail for finding in shown):
        lines += paragraphs("", [words.ORDERS])
    for label, group in (
        ("not heard", [f for f in shown if f.judged and not f.detected]),
        ("open", [f for f in shown if not f.judged]),
    ):
        named = [words.EXPLAINED.get(f.condition, result.condition(f).name) for f in group]
        lines += paragraphs(label, [", ".join(named)] if named else [])
    return lines


def _finding(finding: Finding, name: str) -> str:
    strength = "" if finding.severity_db is None else f"{finding.severity_db:+.0f} dB, "
    detail = f"{name}: {finding.detail}; "
    detail += f"{strength}{words.chance(finding.false_alarm_probability)}"
    if finding.evidence.band_hz is not None:
        low_hz, high_hz = finding.evidence.band_hz
        detail += f", from {low_hz:.0f} to {high_hz:.0f} Hz"
    return "\n".join(paragraphs("heard", [detail]))
