"""Books of several branches read into one: bikes stay apart, no bike gets two bearings, nothing is lost."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from acoustic.book.about import branch_of, name_branch
from acoustic.book.archive import export
from acoustic.book.bikes import add_bike, all_bikes, bearings_of, fit_bearing, take_out
from acoustic.book.history import history
from acoustic.book.importing import Imported, import_archive
from acoustic.book.opening import Book, open_book
from acoustic.book.records import Fitted, Visit
from acoustic.book.slips import merge_bikes, rename_bike
from acoustic.book.visits import add_visit, list_visits
from acoustic.errors import InputError

MARCH, MAY = date(2026, 3, 10), date(2026, 5, 10)


@pytest.fixture
def shop(tmp_path: Path, judged: Callable[..., Any]) -> Callable[..., Any]:
    """A branch's book with a bearing and a visit of 'ticket 1'."""

    @contextmanager
    def make(branch: str, *, name: str = "ticket 1") -> Iterator[Book]:
        with closing(open_book(str(tmp_path / f"{branch or 'none'}.db"))) as book:
            heard = judged(book, content=f"recorded in {branch}".encode())
            with book.writing() as connection:
                if branch:
                    name_branch(connection, branch)
                add_bike(connection, name)
                uid = fit_bearing(connection, Fitted(bike=name, installed_on=MARCH, designation="6805")).uid
                visit = Visit(bike=name, bearing=uid, on_date=MARCH, notes=branch, verdicts=(heard,))
                add_visit(connection, visit)
            yield book

    return make


def sent(book: Book, tmp_path: Path) -> Path:
    path = tmp_path / "sent.zip"
    path.unlink(missing_ok=True)
    export(book, path)
    return path


def bikes(book: Book) -> list[str]:
    with book.reading() as connection:
        return [bike.name for bike in all_bikes(connection)]


def test_ticket_1_of_two_branches_are_two_bikes(shop: Callable[..., Any], tmp_path: Path) -> None:
    with shop("South") as south, shop("North") as north:
        archive = sent(north, tmp_path)
        tried = import_archive(south, archive, dry_run=True)
        assert bikes(south) == ["ticket 1"], "a dry run writes nothing"
        assert len(list(south.files.folder.rglob("*.wav"))) == 1
        done = import_archive(south, archive)
        assert tried == done == Imported(1, 1, 1, 1, ["ticket 1 is called ticket 1 (North) here"])
        assert bikes(south) == ["ticket 1", "ticket 1 (North)"]
        with south.reading() as connection:
            assert [one.notes for one in list_visits(connection, bike="ticket 1 (north)")] == ["North"]
            assert len(bearings_of(connection, "ticket 1")) == 1
        assert import_archive(south, archive) == Imported(), "twice is once"
        # And home again: what is North's has its own name there, what is South's has South behind it.
        import_archive(north, sent(south, tmp_path))
        assert bikes(north) == ["ticket 1", "ticket 1 (South)"]


def test_unnamed_branches_are_asked_about(shop: Callable[..., Any], tmp_path: Path) -> None:
    with shop("") as ours, shop("Other") as theirs:
        with theirs.writing() as connection:
            connection.exec_driver_sql("DELETE FROM about")
        archive = sent(theirs, tmp_path)
        with pytest.raises(InputError, match="1 bike of the archive have names") as refused:
            import_archive(ours, archive)
        assert "--branch" in refused.value.hint and "--same-bikes" in refused.value.hint
        assert len(list(ours.files.folder.rglob("*.wav"))) == 1, "what is refused leaves nothing"
        import_archive(ours, archive, branch="North")
        assert bikes(ours) == ["ticket 1", "ticket 1 (North)"]


def test_the_same_bikes_get_one_bearing(shop: Callable[..., Any], tmp_path: Path) -> None:
    with shop("South") as south, shop("North") as north:
        done = import_archive(south, sent(north, tmp_path), same_bikes=True)
        assert bikes(south) == ["ticket 1"]
        assert any("entered as taken back" in sentence for sentence in done.told)
        with south.reading() as connection:
            (sits,) = bearings_of(connection, "ticket 1")
            kept = bearings_of(connection, "ticket 1", withdrawn=True)
            visits = list_visits(connection, bike="ticket 1")
        assert len(kept) == 2
        assert [visit.bearing for visit in visits] == [sits.uid] * 2


def test_a_bearing_that_came_out_at_the_other_bench_comes_out(shop: Callable[..., Any], tmp_path: Path) -> None:
    """A copy goes to another bench, the bearing is replaced there, and the book comes back."""
    with shop("") as ours, closing(open_book(str(tmp_path / "bench.db"))) as bench:
        import_archive(bench, sent(ours, tmp_path))
        with bench.writing() as connection:
            (old,) = bearings_of(connection, "ticket 1")
            take_out(connection, old.number, MAY, "worn", km=900.0)
            fit_bearing(connection, Fitted(bike="ticket 1", installed_on=MAY, designation="6806"))
        import_archive(ours, sent(bench, tmp_path))
        with ours.reading() as connection:
            out, new = bearings_of(connection, "ticket 1")
            assert (out.removed_on, out.removed_because, out.removed_km) == (MAY, "worn", 900.0)
            assert (new.designation, new.removed_on) == ("6806", None)
            assert "import" in history(connection, "bearing", out.number)[0].because


def test_a_new_book_takes_the_place_of_the_old(shop: Callable[..., Any], tmp_path: Path) -> None:
    with shop("North") as north, closing(open_book(str(tmp_path / "new.db"))) as new:
        with north.writing() as connection:
            add_bike(connection, "tiket 2")
            add_bike(connection, "ticket 2")
            merge_bikes(connection, "tiket 2", "ticket 2", "typed wrong")
            rename_bike(connection, "ticket 1", "ticket 3", "the same customer")
        import_archive(new, sent(north, tmp_path))
        assert bikes(new) == ["ticket 2", "ticket 3"]
        with new.reading() as connection:
            assert branch_of(connection) == "North"
            merged = {bike.name: bike for bike in all_bikes(connection, merged=True)}
            assert merged["tiket 2"].merged_into == merged["ticket 2"].uid
            assert history(connection, "bike", merged["ticket 3"].number)[0].because == "the same customer"


def test_export_goes_on_past_missing_and_altered_recordings(
    shop: Callable[..., Any], judged: Callable[..., Any], tmp_path: Path
) -> None:
    with shop("North") as north, closing(open_book(str(tmp_path / "new.db"))) as new:
        gone, altered = judged(north, content=b"gone"), judged(north, content=b"altered")
        with north.writing() as connection:
            for heard in (gone, altered):
                add_visit(connection, Visit(bike="ticket 1", on_date=MAY, verdicts=(heard,)))
        north.files.require(gone.sha256, ".wav").unlink()
        north.files.path_of(altered.sha256, ".wav").write_bytes(b"something else")
        with pytest.raises(InputError, match="was altered or damaged"):
            north.files.require(altered.sha256, ".wav")
        done = export(north, tmp_path / "part.zip")
        assert (done.visits, done.files, len(done.missing)) == (3, 1, 2)
        assert any("is missing" in why for why in done.missing)
        assert any("altered" in why for why in done.missing)
        back = import_archive(new, tmp_path / "part.zip")
        assert (back.visits, back.files) == (3, 1)
        assert sum("was missing when it was exported" in sentence for sentence in back.told) == 2
        assert len(export(new, tmp_path / "again.zip").missing) == 2
