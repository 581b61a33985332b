"""An archive read into a book that may hold other bikes of the same names: what it would do, and doing it.

Bikes are told apart by their `uid`, never by name alone. Those of another branch carry its name in brackets behind
their own; so 'ticket 1' of two branches stay two bikes. What the book holds stays as it is, but for one thing: a
bearing that still sits here and came out in the archive comes out. A bearing that would sit where another does is
entered as taken back, with the reason.
"""

from __future__ import annotations

import shutil
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

import msgspec
import sqlalchemy as sa

from acoustic.book.about import branch_of, name_branch, settled_branch
from acoustic.book.archive import Archive, open_archive
from acoustic.book.archived import ArchivedBearing, ArchivedBike, ArchivedBook, ArchivedVisit
from acoustic.book.bikes import (
    add_bike,
    all_bikes,
    bearings_of,
    clash,
    find_bike,
    find_bike_by_uid,
    fit_bearing,
    sitting,
)
from acoustic.book.history import Change, Of, change
from acoustic.book.naming import LONGEST, key_of, settled
from acoustic.book.opening import Book
from acoustic.book.records import Bike, Fitted
from acoustic.book.tables import bearings, bikes, changes, visits
from acoustic.book.visits import add_visit
from acoustic.errors import InputError

_DAMAGED = "The archive may have been altered; export the book again."


@dataclass(slots=True)
class Imported:
    """What an import did, or would do.

    Attributes
    ----------
    bikes, bearings, visits, files : int
        How many are new.
    told : list of str
        What else there is to know, in sentences: bikes under other names, bearings set aside, missing recordings.
    """

    bikes: int = 0
    bearings: int = 0
    visits: int = 0
    files: int = 0
    told: list[str] = field(default_factory=list)


class _DryRunError(Exception):
    """Everything was tried; nothing is to be written."""


def import_archive(
    book: Book, path: Path, *, branch: str | None = None, same_bikes: bool = False, dry_run: bool = False
) -> Imported:
    """Read an archive into a book.

    Parameters
    ----------
    book : Book
    path : Path
    branch : str or None
        The branch that the archive is from, if it does not say so itself.
    same_bikes : bool
        Bikes of one name are one bike.
    dry_run : bool
        Only say what would be done.

    Returns
    -------
    Imported

    Raises
    ------
    InputError
        It is not an archive of a book, a newer version wrote it, recordings are damaged or lacking, or bikes of
        the same name are in the book and nothing was said about them.
    """
    with open_archive(path) as archive:
        held = archive.held if branch is None else _of_branch(archive.held, branch)
        recordings = archive.recordings()
        _refuse_lacking(book, archive)
        new = {sha: suffix for sha, suffix in recordings.items() if not book.files.path_of(sha, suffix).is_file()}
        done = _written(book, held, same_bikes=same_bikes, dry_run=True)  # what is refused leaves no files behind
        if not dry_run:
            _keep(book, archive, new)
            done = _written(book, held, same_bikes=same_bikes, dry_run=False)
        done.files = len(new)
        done.told += [f"the recording {one.sha256[:12]} was missing when it was exported" for one in held.missing]
        return done


def _written(book: Book, held: ArchivedBook, *, same_bikes: bool, dry_run: bool) -> Imported:
    """Write all of it, or try whether it can be written."""
    with suppress(_DryRunError), book.writing() as connection:
        done = _Import(connection, held, same_bikes=same_bikes).run()
        if dry_run:
            raise _DryRunError
    return done


def _of_branch(held: ArchivedBook, branch: str) -> ArchivedBook:
    return msgspec.structs.replace(held, branch=settled_branch(branch))


def _refuse_lacking(book: Book, archive: Archive) -> None:
    """Refuse an archive that could not be exported again: a recording is not in it, not here, not known lost."""
    there, lost = archive.recordings(), {one.sha256 for one in archive.held.missing}
    lacking = [
        sha256
        for sha256, suffix in archive.held.files().items()
        if sha256 not in there and sha256 not in lost and not book.files.path_of(sha256, suffix).is_file()
    ]
    if lacking:
        raise InputError(
            f"{len(lacking)} of the {len(archive.held.files())} recordings that its visits name are not in the "
            f"archive, the first of them {lacking[0][:12]}",
            hint=_DAMAGED,
        )


def _keep(book: Book, archive: Archive, new: dict[str, str]) -> None:
    """Put recordings into the store; the room for all of them is asked for first."""
    needed = sum(archive.bytes_of(sha256, suffix) for sha256, suffix in new.items())
    nearest = next(folder for folder in (book.files.folder, *book.files.folder.parents) if folder.is_dir())
    if needed > shutil.disk_usage(nearest).free:
        raise InputError(
            f"the recordings need {needed / 1e6:.0f} MB, more than is free in {nearest}",
            hint="Free some space, or use --book to name a book in another folder.",
        )
    for sha256, suffix in new.items():

        def write(target: Path, sha256: str = sha256, suffix: str = suffix) -> None:
            archive.unpack(sha256, suffix, target)

        book.files.place(sha256, suffix, write)


class _Import:
    """One archive going into one book, within one transaction."""

    def __init__(self, connection: sa.Connection, held: ArchivedBook, *, same_bikes: bool) -> None:
        self._connection, self._held, self._same = connection, held, same_bikes
        self._done = Imported()
        self._ours = branch_of(connection)
        if not self._ours and held.branch and not all_bikes(connection, merged=True):
            # A new book takes the whole place of the other.
            self._ours = name_branch(connection, held.branch)
        self._bikes: dict[str, Bike] = {}  # by their names in the archive

    def run(self) -> Imported:
        """Read all of it."""
        self._refuse_taken_names()
        for bike in self._held.bikes:
            self._bikes[bike.name] = self._bike(bike)
        known = {table: set(self._connection.scalars(sa.select(table.c.uid))) for table in (bearings, visits)}
        for fitted in self._held.bearings:
            if fitted.uid in known[bearings]:
                self._came_out(fitted)
            else:
                self._fit(fitted)
        for visit in self._held.visits:
            if visit.uid not in known[visits]:
                self._visit(visit)
        return self._done

    def _refuse_taken_names(self) -> None:
        """Bikes of the same name that no entry says to be the same: the owner is asked."""
        taken = [
            (bike.name, there.name)
            for bike in self._held.bikes
            if not self._same and find_bike_by_uid(self._connection, bike.uid) is None
            if (there := find_bike(self._connection, self._name(bike))) is not None
            if self._name(bike) == self._base(bike)
        ]
        if taken:
            raise InputError(
                f"{_counted(len(taken), 'bike')} of the archive have names that other bikes have here: "
                f"{', '.join(name for name, _ in taken[:5])}{' ...' if len(taken) > 5 else ''}",
                hint="If they are other bikes, name the archive's branch: --branch TOWN. If they are the same "
                "bikes, say --same-bikes.",
            )

    def _base(self, bike: Bike) -> str:
        """A bike's name without the branch behind it."""
        return settled(bike.name).removesuffix(f" ({bike.branch})") if bike.branch else settled(bike.name)

    def _name(self, bike: Bike) -> str:
        """The name that a bike gets here."""
        base, branch = self._base(bike), bike.branch or self._held.branch
        if branch == self._ours or self._same:
            return base
        if not branch:
            raise InputError(
                f"the archive does not say which branch it is from, and this book is the one of {self._ours}",
                hint="Name it with --branch NAME. Or name it in the book that was exported, and export again:\n"
                "    acoustic book branch NAME",
            )
        return f"{base[: LONGEST - len(branch) - 3]} ({settled_branch(branch)})"

    def _bike(self, bike: ArchivedBike) -> Bike:
        known = find_bike_by_uid(self._connection, bike.uid)
        if known is not None:
            return known
        name = self._name(bike)
        there = find_bike(self._connection, name)
        if there is not None and self._same:
            self._done.told.append(f"{bike.name} is taken for {there.name}")
            return there
        branch = bike.branch or self._held.branch
        made = add_bike(
            self._connection,
            self._free(name),
            notes=bike.notes,
            uid=bike.uid,
            branch="" if branch == self._ours else branch,
        )
        if key_of(made.name) != key_of(bike.name):
            self._done.told.append(f"{bike.name} is called {made.name} here")
        if bike.merged_into is not None and find_bike_by_uid(self._connection, bike.merged_into) is not None:
            change = sa.update(bikes).where(bikes.c.number == made.number)
            self._connection.execute(change.values(merged_into=bike.merged_into))
        self._keep_changes("bike", made.number, bike.changes)
        self._done.bikes += 1
        return made

    def _free(self, name: str) -> str:
        count, free = 1, name
        while find_bike(self._connection, free) is not None:
            count += 1
            free = f"{name[: LONGEST - 8]} {count}"
        return free

    def _fit(self, fitted: ArchivedBearing) -> None:
        bike = self._bike_of(fitted)
        new = Fitted(**{name: getattr(fitted, name) for name in Fitted.__dataclass_fields__ if name != "number"})
        new = replace(new, bike=bike.name)
        sits = [one for one in bearings_of(self._connection, bike.name) if clash(new, one)]
        if sits:
            why = f"import: {sits[0].told} sits in {bike.name} at that time"
            new = replace(new, withdrawn_because=why)
            kind = new.designation or "a bearing"
            self._done.told.append(
                f"{kind} in {bike.name} since {new.installed_on} is entered as taken back, since {sits[0].told} "
                "sits there at that time"
            )
        made = fit_bearing(self._connection, new)
        self._keep_changes("bearing", made.number, fitted.changes)
        self._done.bearings += 1

    def _came_out(self, theirs: ArchivedBearing) -> None:
        """Take a bearing out that the archive knows to be out, unless somebody here said that it still sits."""
        chosen = sa.select(bearings.c.number, bearings.c.removed_on).where(bearings.c.uid == theirs.uid)
        number, removed_on = self._connection.execute(chosen).one()
        said = sa.select(changes.c.number).where(changes.c.bearing == number, changes.c.field == "removed_on")
        if removed_on is not None or theirs.removed_on is None or self._connection.scalar(said) is not None:
            return
        names = ("removed_on", "removed_because", "removed_km")
        values = {name: getattr(theirs, name) for name in names}
        ours = Fitted(uid=theirs.uid, bike=theirs.bike, installed_on=theirs.installed_on)
        change(self._connection, "bearing", number, ours, values, "import: it came out at the other bench")
        self._done.told.append(f"bearing {number} came out on {theirs.removed_on}, as the archive says")

    def _visit(self, archived: ArchivedVisit) -> None:
        bike = self._bike_of(archived)
        there = bearings_of(self._connection, bike.name)
        uid = archived.bearing
        if uid and uid not in {one.uid for one in there}:
            seated = sitting(there, archived.on_date)
            uid = seated.uid if seated else ""
        visit = add_visit(self._connection, replace(archived.visit(), bike=bike.name, bearing=uid))
        self._keep_changes("visit", visit.number, archived.changes)
        self._done.visits += 1

    def _bike_of(self, entry: ArchivedBearing | ArchivedVisit) -> Bike:
        if entry.bike not in self._bikes:
            raise InputError(
                f"an entry of the archive is about {entry.bike!r}, a bike it does not hold", hint=_DAMAGED
            )
        return self._bikes[entry.bike]

    def _keep_changes(self, of: Of, number: int, kept: tuple[Change, ...]) -> None:
        for one in kept:
            self._connection.execute(sa.insert(changes).values({of: number, **asdict(one)}))


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" + ("" if count == 1 else "s")
