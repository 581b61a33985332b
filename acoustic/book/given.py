"""The bearing that the book gives for a visit, and the visits that were judged as another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import msgspec
import sqlalchemy as sa

from acoustic.bearings.catalogue import load_catalogue
from acoustic.bearings.names import settle
from acoustic.book.bikes import bearings_of
from acoustic.book.files import FileStore
from acoustic.book.question import AskedBlock
from acoustic.book.records import Fitted, Visit
from acoustic.book.visits import list_visits
from acoustic.errors import InputError


def asked_now(asked: AskedBlock, fitted: Fitted | None, files: FileStore) -> AskedBlock:
    """Ask about a recording with the bearing that the book gives for it by now.

    Parameters
    ----------
    asked : AskedBlock
        How it was asked about.
    fitted : Fitted or None
        The bearing that the book says was heard.
    files : FileStore
        Where a catalogue of one's own is kept.

    Returns
    -------
    AskedBlock
        As before where the book names no bearing, or where the bearing was given by its sizes. The balls that
        somebody counted, the contact angle and the ring that turns stay.
    """
    said = asked.bearing
    measured = said.name is None or (said.ball_diameter_mm, said.pitch_diameter_mm) != (None, None)
    if measured or fitted is None or not fitted.designation:
        return asked
    kept = asked.files.get("catalogue")
    catalogue = files.path_of(kept.sha256, kept.suffix) if kept is not None else None
    if _designation(said.name or "", catalogue) == fitted.designation:
        now = msgspec.structs.replace(said, rows=fitted.rows or said.rows)
    else:  # rows said of one bearing are not those of another
        now = msgspec.structs.replace(said, name=fitted.designation, rows=fitted.rows)
    return msgspec.structs.replace(asked, bearing=now)


def _designation(name: str, catalogue: Path | None) -> str:
    """A name as the catalogue has it, or as it is where the catalogue has none."""
    with suppress(InputError):
        return settle(load_catalogue(catalogue), name).designation
    return name


@dataclass(frozen=True, slots=True)
class JudgedOtherwise:
    """A visit that was judged as another bearing than the book has for it.

    Attributes
    ----------
    visit : int
    was, now : str
        The bearing of the verdict, and the book's.
    """

    visit: int
    was: str
    now: str


def judged_otherwise(connection: sa.Connection, bike: str, files: FileStore) -> tuple[JudgedOtherwise, ...]:
    """The visits of a bike that were judged as another bearing than the book gives for them now."""
    fitted = {one.uid: one for one in bearings_of(connection, bike)}
    each = (_otherwise(visit, fitted, files) for visit in list_visits(connection, bike=bike))
    return tuple(one for one in each if one is not None)


def _otherwise(visit: Visit, fitted: Mapping[str, Fitted], files: FileStore) -> JudgedOtherwise | None:
    for judged in visit.verdicts:
        was, now = judged.asked, asked_now(judged.asked, fitted.get(visit.bearing), files)
        if was.bearing != now.bearing:
            return JudgedOtherwise(visit.number, bearing_told(was), bearing_told(now))
    return None


def bearing_told(asked: AskedBlock) -> str:
    """The bearing of a question in words: its name, and the rows where somebody said them."""
    rows = {1: ", one row", 2: ", two rows"}.get(asked.bearing.rows or 0, "")
    return f"{asked.bearing.name}{rows}"


def recheck_told(found: Iterable[JudgedOtherwise]) -> str:
    """Say which visits were judged as another bearing, and the command that judges them again; empty for none."""
    each = tuple(found)
    if not each:
        return ""
    told = "\n".join(f"visit {one.visit} was judged as {one.was}; the book has {one.now} now." for one in each)
    command = f"acoustic visit recheck {' '.join(str(one.visit) for one in each)}"
    return f"{told}\n  Judge {'it' if len(each) == 1 else 'them'} again with:\n    {command}"
