"""The mechanic's half of a check: why, next step, pictures, sounds, evidence, facts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from acoustic.dsp.playback import librosa_problem
from acoustic.model import Analysis, Finding, Recording
from acoustic.report import facts, words
from acoustic.report.layout import sentence
from acoustic.report.page.pictures import Picture, pictures, pitch_picture
from acoustic.report.page.sounds import Playable, playable_sounds

NONE = "–"


@dataclass(frozen=True, slots=True)
class EvidenceRow:
    """One condition in words; what does not apply is a dash. Of what was not heard there is no detail."""

    condition: str
    mark: str
    heard: str
    detail: str
    chance: str
    severity: str
    found: str
    expected: str
    band: str


@dataclass(frozen=True, slots=True)
class Bench:
    """One check for the bench.

    Attributes
    ----------
    name : str
        The file's.
    why, next_steps : tuple of str
        As the verdict has them.
    pictures : tuple of Picture
    sounds : tuple of Playable
    evidence : tuple of EvidenceRow
    facts : tuple of (str, str)
        Label and what it says.
    traced : str
        Hash of the file, and every step that was done to it.
    """

    name: str
    why: tuple[str, ...]
    next_steps: tuple[str, ...]
    pictures: tuple[Picture, ...]
    sounds: tuple[Playable, ...]
    evidence: tuple[EvidenceRow, ...]
    facts: tuple[tuple[str, str], ...]
    traced: str


def bench_of(result: Analysis, progress: Callable[[str], None]) -> Bench:
    """Put together what the bench needs of a check.

    A page never fails for want of librosa: what needs it is left out, and a note says so.
    """
    drawn, left_out = pictures(result), ""
    if result.quality.usable:
        progress("loading librosa for the spectrogram and the sounds; the first time that takes up to a minute")
        left_out = librosa_problem()
        progress("drawing the spectrogram")
        drawn += pitch_picture(result) if not left_out else ()
    progress("making the sounds")
    return Bench(
        name=result.recording.path.name,
        why=tuple(sentence(text) for text in result.verdict.because),
        next_steps=result.verdict.advice,
        pictures=drawn,
        sounds=playable_sounds(result, with_librosa=not left_out),
        evidence=tuple(_row(finding, result.condition(finding).name) for finding in facts.shown(result)),
        facts=_facts(result, left_out),
        traced=_traced(result.recording),
    )


def _row(finding: Finding, condition: str) -> EvidenceRow:
    evidence, detected = finding.evidence, finding.detected
    mark, heard = ("●", "heard") if detected else ("○", "not heard") if finding.judged else (NONE, "left open")
    # The best match of a condition that was not heard is chance, and would only mislead.
    order = evidence.order if detected else None
    band_hz = evidence.band_hz if detected else None
    severity_db = finding.severity_db if finding.judged else None
    return EvidenceRow(
        condition=condition,
        mark=mark,
        heard=heard,
        detail=sentence(finding.detail) if detected or not finding.judged else "",
        chance=words.chance(finding.false_alarm_probability) if finding.judged else NONE,
        severity=NONE if severity_db is None else f"{severity_db:+.0f} dB".replace("-", "−"),
        found=NONE if order is None else f"{order:.2f}",
        expected=NONE if evidence.expected_order is None else f"{evidence.expected_order:.2f}",
        band=NONE if band_hz is None else f"{band_hz[0]:.0f} to {band_hz[1]:.0f} Hz",
    )


def _facts(result: Analysis, left_out: str) -> tuple[tuple[str, str], ...]:
    told = [("Crank", facts.crank(result.motion)), ("Bearing", facts.bearing(result))]
    told += [("Teeth", text) for text in facts.teeth(result)]
    told += [("Recording", facts.recording(result))]
    told += [("Note", text) for text in facts.notes(result)]
    told += [("Failed", text) for text in facts.failures(result)]
    if left_out:
        told.append(
            ("Left out", f"spectrogram, clicks alone, slow at its pitch: librosa cannot be loaded ({left_out})")
        )
    return tuple((label, sentence(text)) for label, text in told)


def _traced(recording: Recording) -> str:
    steps = "; ".join(
        f"{step.name} by {step.by}"
        + (f" ({', '.join(f'{name} {value}' for name, value in step.params.items())})" if step.params else "")
        for step in recording.steps
    )
    return f"SHA-256 {recording.sha256}. Steps: {steps}."
