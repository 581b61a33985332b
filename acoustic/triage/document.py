"""The JSON document of a triage, schema `acoustic.triage/1`."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from acoustic import __version__
from acoustic.check.document import bearing_block, problem_blocks
from acoustic.structures import to_plain
from acoustic.triage.evidence import Heard
from acoustic.triage.ranking import Argument, Ranked
from acoustic.triage.result import Triage
from acoustic.triage.rules import Rules
from acoustic.triage.side import SideVerdict

SCHEMA = "acoustic.triage/1"


def to_json(result: Triage) -> str:
    """Write a triage as one JSON document."""
    return json.dumps(to_document(result), ensure_ascii=False, indent=2, allow_nan=False)


def to_document(result: Triage) -> dict[str, Any]:
    """Build the document.

    Parameters
    ----------
    result : Triage

    Returns
    -------
    dict
        Plain lists, dicts, texts and numbers.
    """
    rules, after = result.rules, result.next
    versions = [heard.analysis.plugin_versions for heard in result.recordings]
    return {
        "schema": SCHEMA,
        "verdict": {"level": result.level, "because": list(result.because)},
        "sources": [_source(ranked, result) for ranked in result.ranked],
        "next_recording": None
        if after is None
        else {
            "label": after.label,
            "how": rules.labels[after.label].how,
            "expected_bits": after.bits,
            "parts": list(after.parts),
        },
        "checks": [_check(code, rules) for code in result.checks],
        "side": None if result.side is None else _side(result.side),
        "recordings": [_recording(heard) for heard in result.recordings],
        "told": [{"label": answer.label, "heard": answer.yes} for answer in result.told],
        "bearing": to_plain(bearing_block(result.recordings[0].analysis.bearing)) if result.recordings else None,
        "failures": [asdict(failure) for failure in result.failures],
        "cautions": list(result.cautions),
        "plugins": dict(versions[0]) if versions else {},
        "program": f"acoustic {__version__}",
    }


def _source(ranked: Ranked, result: Triage) -> dict[str, Any]:
    side = result.side.worse if result.side is not None and ranked.source == "crank_bearing" else None
    return {
        "source": ranked.source,
        "words": result.rules.sources[ranked.source].words,
        "share": ranked.share,
        "side": side,
        "for": [_argument(argument) for argument in ranked.speaks_for],
        "against": [_argument(argument) for argument in ranked.against],
    }


def _argument(argument: Argument) -> dict[str, Any]:
    return {
        **asdict(argument.answer),
        "nats": argument.nats,
        "why": argument.why,
        "basis": argument.basis,
    }


def _check(code: str, rules: Rules) -> dict[str, Any]:
    source = rules.sources[code]
    return {
        "source": code,
        "check": source.check,
        "caution": source.caution,
        "minutes": source.minutes,
        "basis": source.basis,
    }


def _side(side: SideVerdict) -> dict[str, Any]:
    return {
        "worse": side.worse,
        "because": side.because,
        "differences": [
            {**asdict(one), "difference_db": one.difference_db, "worse": one.worse} for one in side.differences
        ],
    }


def _recording(heard: Heard) -> dict[str, Any]:
    analysis = heard.analysis
    return {
        "label": heard.label,
        "side": heard.side,
        "path": str(analysis.recording.path),
        "sha256": analysis.recording.sha256,
        "judged_channel": analysis.recording.channel + 1,
        "usable": analysis.quality.usable,
        "grade": analysis.verdict.level,
        "problems": list(map(to_plain, problem_blocks(analysis.quality))),
        "answers": [asdict(answer) for answer in heard.answers],
        "notes": list(heard.notes),
    }
