"""The book as one file, out and in again."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import msgspec
import pytest

from acoustic.book import visits
from acoustic.book.archive import Exported, export
from acoustic.book.bikes import add_bike, all_bearings, all_bikes, fit_bearing, take_out
from acoustic.book.history import history
from acoustic.book.importing import Imported, import_archive
from acoustic.book.opening import Book, open_book
from acoustic.book.question import AskedFile
from acoustic.book.records import Fitted, Visit
from acoustic.errors import InputError


@pytest.fixture
def full(book: Book, judged: Callable[..., Any], day: date, tmp_path: Path) -> Book:
    marks = tmp_path / "marks.csv"
    marks.write_text("1.0\n2.0\n")
    beside = book.files.keep(marks)
    with book.writing() as connection:
        add_bike(connection, "red road", notes="ä ö, ticket 3")
        add_bike(connection, "never came")
        fitted = fit_bearing(connection, Fitted(bike="red road", installed_on=day, designation="6805", rows=1))
        heard = judged(book, grade="watch", outer_raceway=-13.25)
        files = {"marks": AskedFile(sha256=beside.sha256, suffix=beside.suffix)}
        asked = msgspec.structs.replace(heard.asked, files=files)
        made = Visit(bike="red road", bearing=fitted.uid, on_date=day, verdicts=(replace(heard, asked=asked),))
        number = visits.add_visit(connection, made).number
        visits.correct(connection, number, {"notes": "creaks"}, "forgotten")
        visits.remove(
            connection, visits.add_visit(connection, Visit(bike="red road", on_date=day)).number, "twice"
        )
        take_out(connection, fitted.number, day, "worn")
    return book


def held(book: Book) -> Any:
    """All of it but the numbers, which mean nothing in another copy."""
    with book.reading() as connection:
        listed = visits.list_visits(connection, removed=True)
        told = [history(connection, "visit", visit.number) for visit in listed]
        records = (all_bikes(connection), all_bearings(connection, withdrawn=True), listed)
    return tuple([replace(record, number=0) for record in some] for some in records), told


def test_out_and_in_again(full: Book, tmp_path: Path) -> None:
    counts = export(full, tmp_path / "shop.zip")
    assert counts == Exported(2, 1, 2, 2)
    other = open_book(str(tmp_path / "other" / "book.db"))
    assert import_archive(other, tmp_path / "shop.zip") == Imported(2, 1, 2, 2)
    assert held(other) == held(full)
    for path in full.files.folder.rglob("*"):
        if path.is_file():
            assert (other.files.folder / path.relative_to(full.files.folder)).read_bytes() == path.read_bytes()
    assert import_archive(other, tmp_path / "shop.zip") == Imported(), "what is there stays as it is"
    export(other, tmp_path / "again.zip")
    books = [zipfile.ZipFile(tmp_path / name).read("book.json") for name in ("shop.zip", "again.zip")]
    assert json.loads(books[0]) == json.loads(books[1])
    other.close()


def test_two_benches_grow_together(full: Book, tmp_path: Path, day: date) -> None:
    """Each has a bike of its own and the red one; afterwards both hold all visits."""
    other = open_book(str(tmp_path / "other" / "book.db"))
    with other.writing() as connection:
        add_bike(connection, "red road")
        add_bike(connection, "green")
        visits.add_visit(connection, Visit(bike="red road", on_date=day, notes="theirs"))
    export(full, tmp_path / "ours.zip")
    import_archive(other, tmp_path / "ours.zip", same_bikes=True)
    with other.reading() as connection:
        assert len(visits.list_visits(connection, bike="red road", removed=True)) == 3
        assert [bike.name for bike in all_bikes(connection)] == ["green", "never came", "red road"]
    other.close()


def test_an_archive_is_not_written_over_another(full: Book, tmp_path: Path) -> None:
    path = tmp_path / "shop.zip"
    path.write_text("precious")
    with pytest.raises(InputError, match="already exists"):
        export(full, path)
    assert path.read_text() == "precious"


@pytest.mark.parametrize("kind", ["text", "other zip", "newer", "lacking", "wrong day", "damaged", "climbing"])
def test_what_is_no_archive_is_refused_and_changes_nothing(kind: str, book: Book, tmp_path: Path) -> None:
    path = tmp_path / "odd.zip"
    document: dict[str, Any] = {"schema": "acoustic.book/1", "bikes": [], "bearings": [], "visits": []}
    if kind == "lacking":
        document["bikes"] = [{"uid": "1" * 32}]
    if kind == "wrong day":
        document["visits"] = [{"bike": "red", "on_date": "yesterday"}]
    if kind == "text":
        path.write_text("hello")
    else:
        with zipfile.ZipFile(path, "w") as archive:
            if kind == "other zip":
                archive.writestr("songs.txt", "la")
            else:
                schema = "acoustic.book/2" if kind == "newer" else document["schema"]
                archive.writestr("book.json", json.dumps({**document, "schema": schema}))
            if kind == "damaged":
                archive.writestr(f"recordings/{'0' * 64}.wav", "not what its name says")
            if kind == "climbing":
                archive.writestr(f"recordings/{'0' * 64}.wav/../../../out", "x")
    with pytest.raises(InputError):
        import_archive(book, path)
    assert held(book) == (([], [], []), [])
    assert not any(path.is_file() for path in book.files.folder.rglob("*"))


def test_what_a_newer_version_wrote_of_a_recording_comes_along(
    book: Book, judged: Callable[..., Any], day: date, tmp_path: Path
) -> None:
    """The structures pass it over; the book keeps it."""
    heard = judged(book)
    heard = replace(heard, document={**heard.document, "weather": "wet"})
    with book.writing() as connection:
        add_bike(connection, "red")
        visits.add_visit(connection, Visit(bike="red", on_date=day, verdicts=(heard,)))
    export(book, tmp_path / "shop.zip")
    other = open_book(str(tmp_path / "other" / "book.db"))
    import_archive(other, tmp_path / "shop.zip")
    with other.reading() as connection:
        (visit,) = visits.list_visits(connection)
    assert visit.verdicts[0].document["weather"] == "wet"
    assert visit.verdicts[0].check == heard.check
    other.close()
