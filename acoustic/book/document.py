"""A visit as text and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from acoustic.book.records import Judged, Visit

SCHEMA = "acoustic.visits/1"


def visits_document(visits: Sequence[Visit]) -> dict[str, Any]:
    """Build the document that lists visits."""
    return {"schema": SCHEMA, "visits": [visit_block(visit) for visit in visits]}


def visit_block(visit: Visit) -> dict[str, Any]:
    """A visit as plain data, its verdicts as schema `acoustic.check/1` has them."""
    return {
        "number": visit.number,
        "uid": visit.uid,
        "bike": visit.bike,
        "bearing": visit.bearing or None,
        "on": visit.on_date.isoformat(),
        "kind": visit.kind,
        "done": visit.done,
        "distance_km": visit.distance_km,
        "recorder": visit.recorder,
        "notes": visit.notes,
        "removed_because": visit.removed_because,
        "verdicts": [_judged(judged) for judged in visit.verdicts],
    }


def _judged(judged: Judged) -> dict[str, Any]:
    return {
        "sha256": judged.sha256,
        "name": judged.name,
        "judged_at": judged.judged_at.isoformat(timespec="seconds"),
        "asked": dict(judged.asked),
        "check": dict(judged.document),
    }


def visit_text(visit: Visit, changed: Sequence[tuple[datetime, str, str, str, str]]) -> str:
    """Set a visit for people."""
    lines = [f"Visit {visit.number}: {visit.bike}, {visit.on_date}, {visit.kind}; done: {visit.done}"]
    if visit.removed_because is not None:
        lines.append(f"  It no longer counts: {visit.removed_because}")
    if visit.distance_km is not None:
        lines.append(f"  {visit.distance_km:g} km ridden in all")
    lines += [f"  {text}" for text in (visit.recorder, visit.notes) if text]
    for judged in visit.verdicts:
        grade = judged.check.grade
        lines.append(f"  {judged.name}: {grade.level.upper()}")
        lines += [f"    {sentence}" for sentence in (*grade.because, *grade.advice)]
    for when, field, was, became, why in changed:
        name = field.replace("_", " ")
        lines.append(f"  changed {when:%Y-%m-%d}: {name} from {was or 'nothing'} to {became} ({why})")
    return "\n".join(lines)
