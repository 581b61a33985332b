"""Archives that somebody made to do harm, or that were damaged: refused in words, and nothing of them is kept."""

from __future__ import annotations

import copy
import json
import random
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from acoustic.book import archive as written
from acoustic.book.archive import export
from acoustic.book.bikes import add_bike, all_bikes, fit_bearing
from acoustic.book.importing import import_archive
from acoustic.book.opening import Book, open_book
from acoustic.book.records import Fitted, Visit
from acoustic.book.visits import add_visit, list_visits
from acoustic.errors import InputError

MARCH = date(2026, 3, 10)


@pytest.fixture
def target(tmp_path: Path) -> Iterator[Book]:
    with closing(open_book(str(tmp_path / "target" / "book.db"))) as book:
        yield book


@pytest.fixture
def good(tmp_path: Path, judged: Callable[..., Any]) -> tuple[dict[str, Any], dict[str, bytes]]:
    """A good archive's document and recordings."""
    with closing(open_book(str(tmp_path / "source.db"))) as book:
        with book.writing() as connection:
            add_bike(connection, "red")
            uid = fit_bearing(connection, Fitted(bike="red", installed_on=MARCH)).uid
            heard = judged(book, outer_raceway=-5.0)
            add_visit(connection, Visit(bike="red", bearing=uid, on_date=MARCH, verdicts=(heard,)))
        export(book, tmp_path / "good.zip")
    with zipfile.ZipFile(tmp_path / "good.zip") as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    return json.loads(members.pop("book.json")), members


def packed(path: Path, document: Any, members: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("book.json", json.dumps(document))
        for name, content in members.items():
            archive.writestr(name, content)
    return path


def refused(target: Book, path: Path, match: str | None = None) -> None:
    with pytest.raises(InputError, match=match):
        import_archive(target, path)
    with target.reading() as connection:
        assert (all_bikes(connection), list_visits(connection, removed=True)) == ((), ())
    assert not any(one.is_file() for one in target.files.folder.rglob("*"))


def test_the_good_one_is_read(target: Book, good: Any, tmp_path: Path) -> None:
    assert import_archive(target, packed(tmp_path / "a.zip", *good)).visits == 1


@pytest.mark.parametrize(
    ("sha256", "suffix"),
    [
        ("../../../../etc/passwd", ""),
        ("/etc/passwd", ""),
        ("0" * 64, "/../../../../../etc/passwd"),
        ("0" * 64, ".exe"),
        ("0" * 64, ".wav\n"),
        ("0" * 64 + "\n", ".wav"),
        ("A" * 64, ".wav"),
        ("0" * 63, ".wav"),
        ("\u0660" * 64, ".wav"),  # digits, but none of these
    ],
)
@pytest.mark.parametrize("where", ["verdict", "file", "missing"])
def test_no_path_comes_out_of_a_document(
    where: str, sha256: str, suffix: str, target: Book, good: Any, tmp_path: Path
) -> None:
    document, members = good
    named = {"sha256": sha256, "suffix": suffix}
    verdict = document["visits"][0]["verdicts"][0]
    if where == "verdict":
        verdict |= named
    elif where == "file":
        verdict["asked"]["files"]["marks"] = named
    else:
        document["missing"] = [named]
    refused(target, packed(tmp_path / "a.zip", document, members), match="book.json")


@pytest.mark.parametrize(
    "name", ["../out.wav", "recordings/../../out.wav", "/etc/cron.d/x", f"recordings/{'0' * 64}.sh", "recordings/"]
)
def test_no_member_climbs_out(name: str, target: Book, good: Any, tmp_path: Path) -> None:
    document, members = good
    refused(target, packed(tmp_path / "a.zip", document, {**members, name: b"x"}), match="neither book.json nor")


def test_a_recording_must_be_there_and_be_itself_and_be_named(target: Book, good: Any, tmp_path: Path) -> None:
    document, members = good
    (name,) = members
    refused(target, packed(tmp_path / "a.zip", document, {}), match="1 of the 1 recordings .* not in the archive")
    refused(target, packed(tmp_path / "b.zip", document, {name: b"other"}), match="changed or was damaged")
    extra = {**members, f"recordings/{'0' * 64}.wav": b"x"}
    refused(target, packed(tmp_path / "c.zip", document, extra), match="which no visit names")


def test_sizes_are_asked_before_anything_is_unpacked(
    target: Book, good: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    document, members = good
    (name,) = members
    refused(target, packed(tmp_path / "a.zip", document, {name: b"\0" * 3_000_000}), match="which no recording")
    document["bikes"][0]["notes"] = "x" * 3_000_000
    refused(target, packed(tmp_path / "b.zip", document, members), match="which no recording")
    monkeypatch.setattr(written, "MOST_RECORDING_BYTES", 5)
    document["bikes"][0]["notes"] = ""
    refused(target, packed(tmp_path / "c.zip", document, members), match="is the most that is read")


SHAPES: list[tuple[str, Any]] = [
    ("", []),
    ("", None),
    ("", "text"),
    ("bikes", None),
    ("bikes", {}),
    ("bikes", [None]),
    ("bikes", [[]]),
    ("bikes.0.uid", 7),
    ("bikes.0.uid", "x"),
    ("bikes.0.name", None),
    ("bikes.0.name", ""),
    ("bikes.0.name", "a\x1b[2Jb"),
    ("bikes.0.name", "x" * 1000),
    ("bikes.0.merged_into", "nothing"),
    ("bikes.0.changes", [{"field": "x"}]),
    ("bearings.0.bike", "nobody"),
    ("bearings.0.installed_on", "soon"),
    ("bearings.0.installed_on", 5),
    ("bearings.0.rows", 10**30),
    ("bearings.0.bore_mm", "wide"),
    ("visits.0.bike", ["red"]),
    ("visits.0.kind", "party"),
    ("visits.0.on_date", "2026-13-01"),
    ("visits.0.distance_km", {}),
    ("visits.0.verdicts", {"a": 1}),
    ("visits.0.verdicts.0.asked", {}),
    ("visits.0.verdicts.0.asked", []),
    ("visits.0.verdicts.0.asked.speed", {"marks": {"a": 1}}),
    ("visits.0.verdicts.0.asked.bearing", {"balls": "many"}),
    ("visits.0.verdicts.0.document", {}),
    ("visits.0.verdicts.0.document", []),
    ("visits.0.verdicts.0.document.grade", "clean"),
    ("visits.0.verdicts.0.document.recording.sha256", "../x"),
    ("visits.0.verdicts.0.bytes", 10**20),
    ("visits.0.verdicts.0.judged_at", "now"),
    ("branch", 5),
    ("missing", [5]),
]


@pytest.mark.parametrize(("place", "value"), SHAPES, ids=lambda one: str(one)[:30])
def test_a_document_of_another_shape_is_refused(
    place: str, value: Any, target: Book, good: Any, tmp_path: Path
) -> None:
    document, members = good
    if place:
        *way, last = place.split(".")
        inner: Any = document
        for step in way:
            inner = inner[int(step)] if step.isdigit() else inner[step]
        inner[last] = value
    else:
        document = value
    refused(target, packed(tmp_path / "a.zip", document, members))


def test_no_nesting_is_too_deep_and_no_bytes_too_odd(target: Book, tmp_path: Path) -> None:
    for number, content in enumerate([b"[" * 200_000, b"\xff\xfe", b'{"schema": NaN}', b"", b"{" * 10]):
        path = tmp_path / f"{number}.zip"
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("book.json", content)
        refused(target, path)
    refused(target, tmp_path, match="is not a file")
    refused(target, tmp_path / "nothing.zip", match="cannot be read")


def test_no_damaged_archive_ends_in_anything_but_a_refusal(
    target: Book, good: Any, tmp_path: Path, judged: Callable[..., Any]
) -> None:
    """Bytes turned over anywhere: refused, or read as a whole good archive."""
    whole = packed(tmp_path / "a.zip", *good).read_bytes()
    rng, refusals = random.Random(5), 0
    for number in range(60):
        broken = bytearray(copy.copy(whole))
        for _ in range(rng.randrange(1, 4)):
            broken[rng.randrange(len(broken))] ^= 1 << rng.randrange(8)
        path = tmp_path / f"broken{number}.zip"
        path.write_bytes(broken[: rng.choice([len(broken), rng.randrange(len(broken))])])
        try:
            import_archive(target, path, dry_run=True)
        except InputError:
            refusals += 1
    assert refusals > 40


def test_a_killed_export_does_not_stand_in_the_way(
    good: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, judged: Callable[..., Any]
) -> None:
    class KilledError(BaseException):
        pass

    def killed(document: Any) -> bytes:
        raise KilledError

    with closing(open_book(str(tmp_path / "source.db"))) as book:
        path = tmp_path / "out.zip"
        victim = tmp_path / "victim"
        victim.write_text("precious")
        (tmp_path / ".out.zip.partial").symlink_to(victim)
        with monkeypatch.context() as patch, pytest.raises(KilledError):
            patch.setattr(written, "_json", killed)
            export(book, path)
        assert not path.exists()
        assert export(book, path).bikes == 1
        assert victim.read_text() == "precious"
        assert zipfile.is_zipfile(path)
    assert not list(tmp_path.glob(".out.zip.*.partial"))
