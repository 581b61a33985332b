"""What the book holds, as the rest of the program sees it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Annotated, Any, Literal

import msgspec

from acoustic.book.files import Sha256, Suffix
from acoustic.book.question import AskedBlock
from acoustic.check.document import CheckDocument, decode

Kind = Literal["check", "free", "pressed", "final"]
Done = Literal["nothing", "service", "replacement"]

KINDS: tuple[Kind, ...] = ("check", "free", "pressed", "final")
DONE: tuple[Done, ...] = ("nothing", "service", "replacement")
# As `acoustic.book.bikes.new_uid` makes them; a line end after it is none.
Uid = Annotated[str, msgspec.Meta(pattern=r"^[0-9a-f]{32}$(?!\n)")]
NoUid = Annotated[str, msgspec.Meta(pattern=r"^([0-9a-f]{32})?$(?!\n)")]
Rows = Annotated[int, msgspec.Meta(ge=1, le=2)]
Size = Annotated[int, msgspec.Meta(ge=0, le=2**31 - 1)]  # as large as a server's column
USES = ("road", "off-road", "wet")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bike:
    """A bike, by the name or ticket number that the workshop gives it.

    Attributes
    ----------
    number : int
        In this copy of the book; 0 before it is written there.
    uid : str
        In every copy.
    name, notes : str
    branch : str
        The branch that wrote it; empty for the book's own.
    merged_into : str or None
        uid of the bike that it turned out to be; its name leads there.
    """

    number: int = 0
    uid: Uid
    name: str
    notes: str = ""
    branch: str = ""
    merged_into: Uid | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A bearing while it sits, or sat, in one bike.

    Attributes
    ----------
    number : int
        In this copy of the book; 0 before it is written there.
    uid, bike : str
        The bike by its name.
    side : str
        'drive' or 'non-drive'; empty where both ends have the same and are not told apart.
    designation : str
        As the catalogue has it, for example 6805.
    rows : int or None
    seal, shell, use : str
        In the workshop's words, for example 'press-fit 41 mm', 'low-friction', 'wet'.
    shell_width_mm, bore_mm, spindle_mm : float or None
        The bore as measured.
    installed_on : date
    removed_on : date or None
    removed_because : str
        'worn' ends its life; anything else only ends its watch.
    notes : str
    supplier, lot : str
        Where it came from, in the workshop's words; empty where nobody wrote it down.
    installed_km, removed_km : float or None
        Ridden in all, by the bike's own count, when it went in and when it came out.
    withdrawn_because : str or None
        Why the entry was taken back; None where it stands.
    """

    number: int = 0
    uid: NoUid = ""
    bike: str
    installed_on: date
    side: str = ""
    designation: str = ""
    rows: Rows | None = None
    seal: str = ""
    shell: str = ""
    shell_width_mm: float | None = None
    bore_mm: float | None = None
    spindle_mm: float | None = None
    use: str = ""
    removed_on: date | None = None
    removed_because: str = ""
    notes: str = ""
    supplier: str = ""
    lot: str = ""
    installed_km: float | None = None
    removed_km: float | None = None
    withdrawn_because: str | None = None

    @property
    def told(self) -> str:
        """Its number and kind in words, as 'bearing 3 (6805)'."""
        kind = f" ({self.designation})" if self.designation else ""
        return f"bearing {self.number}{kind}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One recording of a visit, and what was said of it.

    Attributes
    ----------
    sha256, suffix, name : str
        Of the recording; its name is the one it came with.
    bytes : int
    asked : AskedBlock
        How it was asked about.
    document : mapping
        Schema `acoustic.check/1` as it was written, with whatever a newer version added.
    judged_at : datetime
        UTC.
    """

    sha256: Sha256
    suffix: Suffix
    name: str
    bytes: Size
    asked: AskedBlock
    document: Mapping[str, Any]
    judged_at: datetime

    @property
    def check(self) -> CheckDocument:
        """The document, read.

        Raises
        ------
        InputError
            It is of another schema, or damaged.
        """
        return decode(self.document)

    @property
    def grade(self) -> str:
        """Its grade."""
        return self.check.grade.level


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """A bike's visit.

    Attributes
    ----------
    number : int
        In this copy of the book; 0 before it is written there.
    uid, bike : str
        The bike by its name.
    bearing : str
        uid of the bearing that was heard; empty if none is on record.
    on_date : date
    kind : {'check', 'free', 'pressed', 'final'}
        'free' and 'pressed': a new bearing in the hand, and in its seat; 'final': the finished install.
    done : {'nothing', 'service', 'replacement'}
        What was done after it was heard.
    distance_km : float or None
        Ridden in all, by the bike's own count.
    recorder, notes : str
    removed_because : str or None
        Why it was removed; None if it was not.
    verdicts : tuple of Judged
        Those that stand, in the order they were given.
    """

    number: int = 0
    uid: NoUid = ""
    bike: str
    bearing: NoUid = ""
    on_date: date
    kind: Kind = "check"
    done: Done = "nothing"
    distance_km: float | None = None
    recorder: str = ""
    notes: str = ""
    removed_because: str | None = None
    verdicts: tuple[Judged, ...] = ()


def row_of(record: Bike | Fitted | Visit) -> dict[str, Any]:
    """A record as plain data without its number, which means nothing in another copy."""
    row = asdict(record)
    del row["number"]
    return row
