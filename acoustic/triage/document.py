"""The JSON document of a triage, schema `acoustic.triage/1`."""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from acoustic import __version__
from acoustic.check.document import (
    BearingBlock,
    FailureBlock,
    ProblemBlock,
    bearing_block,
    problem_blocks,
)
from acoustic.conditions import Level
from acoustic.model import Side
from acoustic.triage.evidence import Answer, Heard, Origin
from acoustic.triage.next_recording import NextQuestion, NextRecording
from acoustic.triage.ranking import Argument, Ranked
from acoustic.triage.result import Certainty, Outcome, Triage
from acoustic.triage.rules import ANYWHERE, Rules
from acoustic.triage.side import SideVerdict


class TriageVerdict(msgspec.Struct, frozen=True, kw_only=True):
    """Whether one source leads, several do, or nothing is known."""

    level: Certainty
    outcome: Outcome
    because: tuple[str, ...]


class AnswerBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One question answered; `yes` where something is there, `value` which of the answers it is."""

    question: str
    label: str
    yes: bool
    value: str
    origin: Origin
    said: str
    by: str
    side: Side | None


class ArgumentBlock(AnswerBlock, frozen=True, kw_only=True):
    """What one answer says of one source [nats], and where that rule comes from."""

    nats: float
    why: str
    basis: str


class SourceBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A place that the creak may come from, how likely it is, and what speaks for and against it."""

    source: str
    words: str
    share: float
    side: Side | None
    speaks_for: tuple[ArgumentBlock, ...] = msgspec.field(name="for")
    against: tuple[ArgumentBlock, ...]


class NextBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The recording that would best tell the leading sources apart."""

    label: str
    how: str
    expected_bits: float
    parts: tuple[str, ...]


class QuestionBlock(msgspec.Struct, frozen=True, kw_only=True):
    """The question to the rider that would best tell the leading sources apart, with its answers in words."""

    question: str
    ask: str
    answers: dict[str, str]
    expected_bits: float
    parts: tuple[str, ...]


class HandCheck(msgspec.Struct, frozen=True, kw_only=True):
    """A check by hand."""

    source: str
    check: str
    caution: str
    minutes: float
    basis: str


class DifferenceBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One condition on both sides [dB]; `difference_db` above 0 where the drive side is worse."""

    condition: str
    label: str
    drive_db: float
    other_db: float
    half_width_db: float
    difference_db: float
    worse: Side | None


class SideBlock(msgspec.Struct, frozen=True, kw_only=True):
    """Which side of the bearing is worse; null where that cannot be told."""

    worse: Side | None
    because: str
    differences: tuple[DifferenceBlock, ...]


class HeardBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One recording, and what it answers."""

    label: str
    side: Side | None
    path: str
    sha256: str
    judged_channel: int
    usable: bool
    grade: Level
    problems: tuple[ProblemBlock, ...]
    answers: tuple[AnswerBlock, ...]
    notes: tuple[str, ...]
    advice: tuple[str, ...]


class ToldBlock(msgspec.Struct, frozen=True, kw_only=True):
    """What the rider heard without a recording."""

    label: str
    heard: bool


class AnsweredBlock(msgspec.Struct, frozen=True, kw_only=True):
    """What the rider answered of the creak itself."""

    question: str
    answer: str


class TriageDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic triage --json` prints."""

    schema: Literal["acoustic.triage/1"]
    verdict: TriageVerdict
    sources: tuple[SourceBlock, ...]
    next_recording: NextBlock | None
    next_question: QuestionBlock | None
    checks: tuple[HandCheck, ...]
    side: SideBlock | None
    recordings: tuple[HeardBlock, ...]
    told: tuple[ToldBlock, ...]
    answered: tuple[AnsweredBlock, ...]
    bearing: BearingBlock | None
    failures: tuple[FailureBlock, ...]
    cautions: tuple[str, ...]
    plugins: dict[str, str]
    program: str


def document_of(result: Triage) -> TriageDocument:
    """Build the document.

    Parameters
    ----------
    result : Triage

    Returns
    -------
    TriageDocument
    """
    analyses = [heard.analysis for heard in result.recordings]
    return TriageDocument(
        schema="acoustic.triage/1",
        verdict=TriageVerdict(level=result.level, outcome=result.outcome, because=result.because),
        sources=tuple(_source(ranked, result) for ranked in result.ranked),
        next_recording=None if result.next is None else _next(result.next, result.rules),
        next_question=None if result.ask is None else _question(result.ask, result.rules),
        checks=tuple(_check(code, result.rules) for code in result.checks),
        side=None if result.side is None else _side(result.side),
        recordings=tuple(map(_recording, result.recordings)),
        told=tuple(ToldBlock(label=a.label, heard=a.yes) for a in result.told if a.label != ANYWHERE),
        answered=tuple(
            AnsweredBlock(question=a.question, answer=a.value) for a in result.told if a.label == ANYWHERE
        ),
        bearing=bearing_block(analyses[0].bearing) if analyses else None,
        failures=tuple(FailureBlock(stage=f.stage, plugin=f.plugin, error=f.error) for f in result.failures),
        cautions=result.cautions,
        plugins=dict(analyses[0].plugin_versions) if analyses else {},
        program=f"acoustic {__version__}",
    )


def _source(ranked: Ranked, result: Triage) -> SourceBlock:
    side = result.side.worse if result.side is not None and ranked.source == "crank_bearing" else None
    return SourceBlock(
        source=ranked.source,
        words=result.rules.sources[ranked.source].words,
        share=ranked.share,
        side=side,
        speaks_for=tuple(map(_argument, ranked.speaks_for)),
        against=tuple(map(_argument, ranked.against)),
    )


def _answer(answer: Answer) -> AnswerBlock:
    return AnswerBlock(**_fields(answer))


def _argument(argument: Argument) -> ArgumentBlock:
    return ArgumentBlock(**_fields(argument.answer), nats=argument.nats, why=argument.why, basis=argument.basis)


def _fields(answer: Answer) -> dict[str, Any]:
    return {name: getattr(answer, name) for name in AnswerBlock.__struct_fields__}


def _next(after: NextRecording, rules: Rules) -> NextBlock:
    how = rules.labels[after.label].how
    return NextBlock(label=after.label, how=how, expected_bits=after.bits, parts=after.parts)


def _question(after: NextQuestion, rules: Rules) -> QuestionBlock:
    question = rules.questions[after.question]
    return QuestionBlock(
        question=question.code,
        ask=question.ask,
        answers=question.values,
        expected_bits=after.bits,
        parts=after.parts,
    )


def _check(code: str, rules: Rules) -> HandCheck:
    source = rules.sources[code]
    return HandCheck(
        source=code, check=source.check, caution=source.caution, minutes=source.minutes, basis=source.basis
    )


def _side(side: SideVerdict) -> SideBlock:
    return SideBlock(
        worse=side.worse,
        because=side.because,
        differences=tuple(
            DifferenceBlock(
                condition=one.condition,
                label=one.label,
                drive_db=one.drive_db,
                other_db=one.other_db,
                half_width_db=one.half_width_db,
                difference_db=one.difference_db,
                worse=one.worse,
            )
            for one in side.differences
        ),
    )


def _recording(heard: Heard) -> HeardBlock:
    analysis = heard.analysis
    return HeardBlock(
        label=heard.label,
        side=heard.side,
        path=str(analysis.recording.path),
        sha256=analysis.recording.sha256,
        judged_channel=analysis.recording.channel + 1,
        usable=analysis.quality.usable,
        grade=analysis.verdict.level,
        problems=problem_blocks(analysis.quality),
        answers=tuple(map(_answer, heard.answers)),
        notes=heard.notes,
        advice=heard.advice,
    )
