"""The JSON document, schema `acoustic.check/1`: its structures, written and read back by the same definition.

Reading tolerates fields that a newer version added, and the lack of those that came after the first: they have a
default here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, Literal

import msgspec

from acoustic import __version__
from acoustic.bearings.document import OrdersBlock
from acoustic.conditions import Level
from acoustic.errors import InputError, PluginError
from acoustic.structures import to_plain

if TYPE_CHECKING:
    from acoustic.model import Analysis, Bearing, Drivetrain, Finding, Motion, Quality, Recording

SCHEMA: Final = "acoustic.check/1"
Number = float | None  # what is not finite becomes null


class StepBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One step of the recording's preparation: what was done, by which plugin or program, with which settings."""

    name: str
    by: str
    params: dict[str, Any]


class RecordingBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The file that was judged; channels are counted from 1."""

    path: str
    sha256: str
    duration_s: float
    sample_rate_hz: float
    channels: int
    judged_channel: int | None = None
    format: str
    side: str | None = None
    steps: tuple[StepBlock, ...] = ()


class BallCountBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A ball count, and how likely it is among all that were tried."""

    balls: int
    probability: Number


class BearingBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The bearing that the recording was judged against."""

    designation: str
    balls: int
    balls_source: Literal["catalogue", "given", "inferred"]
    balls_runner_up: BallCountBlock | None = None
    ball_counts_tried: tuple[int, ...] = ()
    ball_diameter_mm: float
    pitch_diameter_mm: float
    contact_angle_deg: float
    turning: Literal["inner", "outer"]
    rows: int = 1
    source: str = ""
    orders: OrdersBlock


class ProblemBlock(msgspec.Struct, frozen=True, kw_only=True):
    """What limits the recording: what was found and needed, and how to record again."""

    code: str
    detail: str
    advice: str


class QualityBlock(msgspec.Struct, frozen=True, kw_only=True):
    """All problems of the recording, and whether they leave more than a guess."""

    usable: bool
    problems: tuple[ProblemBlock, ...]


class DrivetrainBlock(msgspec.Struct, frozen=True, kw_only=True):
    """Tooth counts as given, and how often each part comes round or strikes in a crank turn."""

    chainring: int
    sprocket: int | None = None
    jockey: int | None = None
    orders: dict[str, float]


class MotionBlock(msgspec.Struct, frozen=True, kw_only=True):
    """How the crank turned.

    `source_label` is the source's name as people read it, empty in documents of earlier programs;
    `relative_uncertainty` the half width of the range that holds the true speed nine times in ten, over the speed;
    `drag_hz_per_s` how fast a coasting crank slows at one turn a second [turns/s^2].
    """

    source: str
    source_label: str = ""
    spin: Literal["hand", "pedal", "steady"]
    turns: Number
    peak_rpm: Number
    mean_rpm: Number
    relative_uncertainty: Number
    scale_known: bool
    start_s: Number
    stop_s: Number
    drag_hz_per_s: Number = None


class EvidenceBlock(msgspec.Struct, frozen=True, kw_only=True):
    """What a finding rests on; null where it does not apply."""

    order: Number
    expected_order: Number
    harmonics: int | None
    band_hz: tuple[Number, Number] | None
    balls: int | None = None
    may_be: tuple[str, ...] = ()


class FindingBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One condition, judged.

    `false_alarm_probability` is the chance that a healthy bearing in this recording scores as high; `severity_db`
    the defect's part against the bearing's own running noise; `posterior` the probability of this condition among
    all that were weighed.
    """

    condition: str
    detected: bool
    false_alarm_probability: float
    severity_db: Number
    posterior: Number = None
    detail: str
    by: str
    evidence: EvidenceBlock


class GradeBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The grade, why, and what to do.

    `confidence` is the posterior of the condition that it rests on; `would_have_found` the weakest severity that
    this recording would have shown [dB].
    """

    level: Level
    because: tuple[str, ...]
    advice: tuple[str, ...]
    confidence: Number = None
    would_have_found: Number = None


class FailureBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A plugin that failed: at which stage, which, and how."""

    stage: str
    plugin: str
    error: str


class CheckDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic check --json` prints.

    `conditions` names every condition listed in words; of conditions and speed sources a plugin may offer its own.
    """

    schema: Literal["acoustic.check/1"]
    recording: RecordingBlock
    bearing: BearingBlock
    quality: QualityBlock
    drivetrain: DrivetrainBlock | None = None
    motion: MotionBlock | None
    findings: tuple[FindingBlock, ...]
    conditions: dict[str, str] = {}
    grade: GradeBlock
    failures: tuple[FailureBlock, ...]
    cautions: tuple[str, ...]
    plugins: dict[str, str]
    program: str

    @property
    def drag_hz_per_s(self) -> float | None:
        """How fast the coasting crank slows at one turn a second [turns/s^2], where that is known."""
        return None if self.motion is None else self.motion.drag_hz_per_s

    @property
    def detected(self) -> tuple[FindingBlock, ...]:
        """The findings that were detected."""
        return tuple(finding for finding in self.findings if finding.detected)


def document_of(result: Analysis) -> CheckDocument:
    """Build the document of an analysis.

    Parameters
    ----------
    result : Analysis

    Returns
    -------
    CheckDocument
        As it reads back: numbers that are not finite are None.

    Raises
    ------
    PluginError
        A plugin gave a value of another kind than the document has there.
    """
    from acoustic.check.grade import CAUTIONS

    judged = [finding for finding in result.findings if finding.judged]
    draft = CheckDocument(
        schema=SCHEMA,
        recording=_recording(result.recording),
        bearing=bearing_block(result.bearing),
        quality=QualityBlock(usable=result.quality.usable, problems=problem_blocks(result.quality)),
        drivetrain=None if result.features is None else _drivetrain(result.features.drivetrain.given),
        motion=None if result.motion is None else _motion(result.motion),
        findings=tuple(map(_finding, judged)),
        conditions={finding.condition: result.condition(finding).name for finding in judged},
        grade=GradeBlock(
            level=result.verdict.level,
            because=result.verdict.because,
            advice=result.verdict.advice,
            confidence=result.verdict.confidence,
            would_have_found=result.verdict.would_have_found_db,
        ),
        failures=tuple(FailureBlock(stage=f.stage, plugin=f.plugin, error=f.error) for f in result.failures),
        cautions=CAUTIONS,
        plugins=dict(result.plugin_versions),
        program=f"acoustic {__version__}",
    )
    try:
        return msgspec.convert(to_plain(draft), CheckDocument)
    except (msgspec.ValidationError, TypeError) as error:
        raise PluginError(
            f"a plugin's result cannot be written down: {error}",
            hint="Run `acoustic plugins --check`, and update or remove what does not come with the program.",
        ) from error


def decode(written: str | bytes | Mapping[str, Any]) -> CheckDocument:
    """Read a document, as JSON text or as the plain data that such text holds.

    Raises
    ------
    InputError
        It is no JSON, of another schema, or lacks a field or holds another kind of value there.
    """
    try:
        plain = written if isinstance(written, Mapping) else msgspec.json.decode(written)
    except msgspec.DecodeError as error:
        raise InputError(f"a JSON document is needed, but {error}", hint=_AGAIN) from error
    schema = plain.get("schema") if isinstance(plain, Mapping) else None
    if schema != SCHEMA:
        raise InputError(
            f"the document has {f'the schema {schema}' if schema else 'no schema'}; {SCHEMA} is needed",
            hint="Update the program if a newer version wrote it: pip install --upgrade acoustic-crank",
        )
    try:
        return msgspec.convert(plain, CheckDocument)
    except msgspec.ValidationError as error:
        raise InputError(f"the document is not of the schema {SCHEMA}: {error}", hint=_AGAIN) from error


_AGAIN = "Write it again with: acoustic check --json RECORDING, or acoustic visit recheck NUMBER in a book."


def bearing_block(bearing: Bearing) -> BearingBlock:
    """The bearing as every document shows it."""
    geometry, next_likeliest = bearing.geometry, bearing.runner_up
    return BearingBlock(
        designation=bearing.designation,
        balls=geometry.balls,
        balls_source=bearing.balls_source,
        balls_runner_up=None
        if next_likeliest is None
        else BallCountBlock(balls=next_likeliest.balls, probability=next_likeliest.probability),
        ball_counts_tried=tuple(candidate.balls for candidate in bearing.candidates),
        ball_diameter_mm=geometry.ball_diameter_mm,
        pitch_diameter_mm=geometry.pitch_diameter_mm,
        contact_angle_deg=geometry.contact_angle_deg,
        turning=geometry.turning,
        rows=bearing.rows,
        source=bearing.source,
        orders=OrdersBlock.of(geometry),
    )


def problem_blocks(quality: Quality) -> tuple[ProblemBlock, ...]:
    """What limits the recording, as every document shows it."""
    return tuple(ProblemBlock(code=p.code, detail=p.detail, advice=p.advice) for p in quality.problems)


def _recording(recording: Recording) -> RecordingBlock:
    return RecordingBlock(
        path=str(recording.path),
        sha256=recording.sha256,
        duration_s=recording.duration_s,
        sample_rate_hz=recording.sample_rate_hz,
        channels=recording.samples.shape[1],
        judged_channel=recording.channel + 1,
        format=recording.format,
        side=recording.side,
        steps=tuple(StepBlock(name=s.name, by=s.by, params=dict(s.params)) for s in recording.steps),
    )


def _drivetrain(given: Drivetrain | None) -> DrivetrainBlock | None:
    if given is None:
        return None
    return DrivetrainBlock(
        chainring=given.chainring,
        sprocket=given.sprocket,
        jockey=given.jockey,
        orders={order.part: order.order for order in given.orders},
    )


def _motion(motion: Motion) -> MotionBlock:
    return MotionBlock(
        source=motion.source,
        source_label=motion.label,
        spin=motion.spin,
        turns=motion.total_turns,
        peak_rpm=float(motion.speed_hz.max() * 60),
        mean_rpm=60 * motion.total_turns / (motion.stop_s - motion.start_s),
        relative_uncertainty=motion.relative_uncertainty,
        scale_known=motion.scale_known,
        start_s=motion.start_s,
        stop_s=motion.stop_s,
        drag_hz_per_s=_drag_hz_per_s(motion),
    )


def _drag_hz_per_s(motion: Motion) -> float | None:
    """How fast a coasting crank slows at one turn a second; None where that is not known."""
    from acoustic.dsp.tacho.run_down import drag_at

    if motion.spin != "hand" or not motion.scale_known:
        return None
    return drag_at(motion.times_s, motion.turns, speed_hz=1.0)


def _finding(finding: Finding) -> FindingBlock:
    evidence = finding.evidence
    return FindingBlock(
        condition=finding.condition,
        detected=finding.detected,
        false_alarm_probability=finding.false_alarm_probability,
        severity_db=finding.severity_db,
        posterior=finding.posterior,
        detail=finding.detail,
        by=finding.by,
        evidence=EvidenceBlock(
            order=evidence.order,
            expected_order=evidence.expected_order,
            harmonics=evidence.harmonics,
            band_hz=evidence.band_hz,
            balls=evidence.balls,
            may_be=evidence.may_be,
        ),
    )
