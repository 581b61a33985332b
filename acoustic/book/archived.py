"""What the archive of a book holds, as structures that are checked while they are read."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import msgspec

from acoustic.book.files import SHA256, Sha256, Suffix
from acoustic.book.history import Change
from acoustic.book.question import AskedBlock, AskedFile
from acoustic.book.records import Bike, Done, Fitted, Judged, Kind, NoUid, Size, Uid, Visit
from acoustic.errors import InputError

_HINT = "Give a file that `acoustic book export` wrote."
MOST_DOCUMENT_BYTES = 1_000_000  # a verdict has some 6 kB; one with every list full a tenth of this, judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchivedBike(Bike):
    """A bike with what was changed about it since."""

    changes: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchivedBearing(Fitted):
    """A bearing with what was changed about it since."""

    changes: tuple[Change, ...] = ()


class ArchivedVerdict(msgspec.Struct, frozen=True, kw_only=True):
    """One recording of a visit; the document on it is not unpacked until it is wanted."""

    sha256: Sha256
    suffix: Suffix
    name: str
    bytes: Size
    asked: AskedBlock
    document: msgspec.Raw
    judged_at: datetime

    def judged(self) -> Judged:
        """The same as the book has it.

        Raises
        ------
        InputError
            The document is too long, or no document of a check.
        """
        if len(bytes(self.document)) > MOST_DOCUMENT_BYTES:
            raise InputError(f"the verdict on {self.sha256[:12]} is longer than any check's", hint=_HINT)
        document = msgspec.json.decode(self.document, type=dict[str, Any])
        names = ("sha256", "suffix", "name", "bytes", "asked", "judged_at")
        judged = Judged(document=document, **{name: getattr(self, name) for name in names})
        if not re.fullmatch(SHA256, judged.check.recording.sha256):
            raise InputError(f"the verdict on {self.sha256[:12]} is on a recording without a hash", hint=_HINT)
        return judged


class ArchivedVisit(msgspec.Struct, frozen=True, kw_only=True):
    """A visit with what was changed about it since."""

    uid: Uid
    bike: str
    bearing: NoUid = ""
    on_date: date
    kind: Kind = "check"
    done: Done = "nothing"
    distance_km: float | None = None
    recorder: str = ""
    notes: str = ""
    removed_because: str | None = None
    verdicts: tuple[ArchivedVerdict, ...] = ()
    changes: tuple[Change, ...] = ()

    def visit(self) -> Visit:
        """The same as the book has it.

        Raises
        ------
        InputError
            As `ArchivedVerdict.judged`.
        """
        said = {
            name: getattr(self, name) for name in self.__struct_fields__ if name not in ("verdicts", "changes")
        }
        return Visit(**said, verdicts=tuple(verdict.judged() for verdict in self.verdicts))


SAID = tuple(name for name in ArchivedVisit.__struct_fields__ if name not in ("verdicts", "changes"))


def archived_visit(visit: Visit, changed: tuple[Change, ...]) -> ArchivedVisit:
    """A visit as an archive has it."""
    verdicts = tuple(
        ArchivedVerdict(
            sha256=one.sha256,
            suffix=one.suffix,
            name=one.name,
            bytes=one.bytes,
            asked=one.asked,
            document=msgspec.Raw(msgspec.json.encode(one.document)),
            judged_at=one.judged_at,
        )
        for one in visit.verdicts
    )
    return ArchivedVisit(**{name: getattr(visit, name) for name in SAID}, verdicts=verdicts, changes=changed)


class Head(msgspec.Struct, frozen=True):
    """What tells whether the rest can be read."""

    schema: str = ""


class ArchivedBook(msgspec.Struct, frozen=True, kw_only=True):
    """What `book.json` holds; numbers are left out, they mean nothing in another copy."""

    schema: str
    bikes: tuple[ArchivedBike, ...]
    bearings: tuple[ArchivedBearing, ...]
    visits: tuple[ArchivedVisit, ...]
    branch: str = ""
    # Recordings that could not be had any more when it was written.
    missing: tuple[AskedFile, ...] = ()

    def files(self) -> dict[str, str]:
        """Endings of all files that visits name, by their hashes."""
        named: dict[str, str] = {}
        for visit in self.visits:
            for verdict in visit.verdicts:
                named[verdict.sha256] = verdict.suffix
                named |= {file.sha256: file.suffix for file in verdict.asked.files.values()}
        return dict(sorted(named.items()))
