"""Recordings into the book: checked, kept, and judged again by a later version."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from acoustic.book.asked import Asked, read_asked
from acoustic.book.files import FileStore
from acoustic.book.given import asked_now, bearing_told
from acoustic.book.records import Fitted, Judged, Visit
from acoustic.check.document import document_of
from acoustic.check.pipeline import check_recording
from acoustic.model import Analysis
from acoustic.plugin.registry import Registry
from acoustic.structures import to_plain

Progress = Callable[[str], None]


def listen_to(path: Path, asked: Asked, registry: Registry, progress: Progress) -> Analysis:
    """Check one recording as it is asked about.

    Raises
    ------
    AcousticError
        As `acoustic.check.pipeline.check_recording`.
    """
    return check_recording(
        path,
        bearing=asked.resolved(),
        request=asked.request,
        registry=registry,
        scene=asked.scene,
        progress=progress,
    )


def take_in(path: Path, asked: Asked, analysis: Analysis, files: FileStore) -> Judged:
    """Keep a checked recording in the store, with what its question names.

    Raises
    ------
    InputError
        The store cannot be written.
    """
    stored = files.keep(path)
    return Judged(
        sha256=stored.sha256,
        suffix=stored.suffix,
        name=stored.name,
        bytes=stored.bytes,
        asked=asked.kept(files),
        document=to_plain(document_of(analysis)),
        judged_at=_now(),
    )


@dataclass(frozen=True, slots=True)
class Rechecked:
    """A visit that was judged again.

    Attributes
    ----------
    visit : Visit
        As it stood before.
    judged : tuple of Judged
        What is said now, in the same order.
    changed : tuple of str
        What differs, in sentences; empty where nothing does.
    """

    visit: Visit
    judged: tuple[Judged, ...]
    changed: tuple[str, ...]


def recheck(
    visit: Visit, fitted: Fitted | None, files: FileStore, registry: Registry, progress: Progress
) -> Rechecked:
    """Judge the recordings of a visit again, as they were asked about then.

    Parameters
    ----------
    visit : Visit
    fitted : Fitted or None
        The bearing that the book gives for it by now, which takes the place of the one that was named then.
    files : FileStore
    registry : Registry
    progress : callable

    Returns
    -------
    Rechecked

    Raises
    ------
    AcousticError
        A recording is missing from the store, or cannot be used any more.
    """
    judged, changed = [], []
    for before in visit.verdicts:
        block = asked_now(before.asked, fitted, files)
        asked = read_asked(block, files)
        analysis = listen_to(files.require(before.sha256, before.suffix), asked, registry, progress)
        now = replace(before, asked=block, document=to_plain(document_of(analysis)), judged_at=_now())
        judged.append(now)
        if block.bearing != before.asked.bearing:
            became = f"{bearing_told(block)} now, as {bearing_told(before.asked)} before"
            changed.append(f"{before.name}: judged as {became}")
        changed += [f"{before.name}: {change}" for change in differences(before, now)]
    return Rechecked(visit, tuple(judged), tuple(changed))


def _now() -> datetime:
    return datetime.now(UTC).replace(tzinfo=None)


def differences(before: Judged, now: Judged) -> Sequence[str]:
    """The differences between two verdicts on one recording, in a few words each."""
    told = []
    if before.grade != now.grade:
        told.append(f"{before.grade} became {now.grade}")
    was, became = _detected(before), _detected(now)
    told += [f"{name} is found now" for name in sorted(became - was)]
    told += [f"{name} is no longer found" for name in sorted(was - became)]
    return told


def _detected(judged: Judged) -> set[str]:
    return {finding.condition.replace("_", " ") for finding in judged.check.detected}
