"""A visit as text and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import msgspec

from acoustic.book.history import Change
from acoustic.book.question import AskedBlock
from acoustic.book.records import Bike, Done, Fitted, Judged, Kind, Visit
from acoustic.check.document import CheckDocument


class JudgedBlock(msgspec.Struct, frozen=True, kw_only=True):
    """One recording of a visit, how it was asked about, and what was said of it."""

    sha256: str
    name: str
    judged_at: str
    asked: AskedBlock
    check: CheckDocument


class VisitBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A visit; its verdicts are those that stand."""

    number: int
    uid: str
    bike: str
    bearing: str | None
    on: str
    kind: Kind
    done: Done
    distance_km: float | None
    recorder: str
    notes: str
    removed_because: str | None
    verdicts: tuple[JudgedBlock, ...]


class VisitDocument(VisitBlock, frozen=True, kw_only=True):
    """What `acoustic visit show --json` prints."""

    schema: Literal["acoustic.visit/1"]


class VisitsDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic visit list --json` prints."""

    schema: Literal["acoustic.visits/1"]
    visits: tuple[VisitBlock, ...]


class FittedBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A bearing that sits in a bike."""

    number: int
    uid: str
    designation: str
    side: str
    since: str


class BikeBlock(msgspec.Struct, frozen=True, kw_only=True):
    """A bike, and the bearings that sit in it; `branch` is empty for the book's own."""

    name: str
    uid: str
    branch: str
    notes: str
    bearings: tuple[FittedBlock, ...]


class BikesDocument(msgspec.Struct, frozen=True, kw_only=True):
    """What `acoustic bike list --json` prints."""

    schema: Literal["acoustic.bikes/2"]
    bikes: tuple[BikeBlock, ...]


def bikes_document(bikes: Sequence[Bike], bearings: Sequence[Fitted]) -> BikesDocument:
    """List bikes with the bearings that sit in them."""
    there: dict[str, list[FittedBlock]] = {bike.name: [] for bike in bikes}
    for one in bearings:
        if one.removed_on is None:
            since = one.installed_on.isoformat()
            block = FittedBlock(
                number=one.number, uid=one.uid, designation=one.designation, side=one.side, since=since
            )
            there[one.bike].append(block)
    return BikesDocument(
        schema="acoustic.bikes/2",
        bikes=tuple(
            BikeBlock(
                name=bike.name,
                uid=bike.uid,
                branch=bike.branch,
                notes=bike.notes,
                bearings=tuple(there[bike.name]),
            )
            for bike in bikes
        ),
    )


def visits_document(visits: Sequence[Visit]) -> VisitsDocument:
    """List visits as they are written."""
    return VisitsDocument(schema="acoustic.visits/1", visits=tuple(map(_block, visits)))


def visit_document(visit: Visit) -> VisitDocument:
    """One visit as it is written."""
    return VisitDocument(schema="acoustic.visit/1", **msgspec.structs.asdict(_block(visit)))


def _block(visit: Visit) -> VisitBlock:
    return VisitBlock(
        number=visit.number,
        uid=visit.uid,
        bike=visit.bike,
        bearing=visit.bearing or None,
        on=visit.on_date.isoformat(),
        kind=visit.kind,
        done=visit.done,
        distance_km=visit.distance_km,
        recorder=visit.recorder,
        notes=visit.notes,
        removed_because=visit.removed_because,
        verdicts=tuple(map(_judged, visit.verdicts)),
    )


def _judged(judged: Judged) -> JudgedBlock:
    return JudgedBlock(
        sha256=judged.sha256,
        name=judged.name,
        judged_at=judged.judged_at.isoformat(timespec="seconds"),
        asked=judged.asked,
        check=judged.check,
    )


def visit_text(visit: Visit, changed: Sequence[Change]) -> str:
    """Set a visit for people."""
    lines = [f"Visit {visit.number}: {visit.bike}, {visit.on_date}, {visit.kind}; done: {visit.done}"]
    if visit.removed_because is not None:
        lines.append(f"  removed: {visit.removed_because}")
    if visit.distance_km is not None:
        lines.append(f"  {visit.distance_km:g} km ridden in total")
    lines += [f"  {text}" for text in (visit.recorder, visit.notes) if text]
    for judged in visit.verdicts:
        grade = judged.check.grade
        lines.append(f"  {judged.name}: {grade.level.upper()}")
        lines += [f"    {sentence}" for sentence in (*grade.because, *grade.advice)]
    lines += [f"  {change}" for change in changed]
    return "\n".join(lines)
