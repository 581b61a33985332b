"""The commands about the workshop's book, end to end on recordings through the whole chain."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.book.opening import open_book
from acoustic.errors import EXIT_DONE, EXIT_UNUSABLE

Run = Callable[..., Any]
Take = Callable[..., Any]


@pytest.fixture(autouse=True)
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book of its own for each test."""
    monkeypatch.setenv("ACOUSTIC_BOOK", str(tmp_path / "shop.db"))
    open_book(str(tmp_path / "shop.db")).close()
    return tmp_path


@pytest.fixture
def add(acoustic: Run, taken: Take) -> Callable[..., Any]:
    def run(case: str, *more: str, bike: str = "red", anyway: bool = True) -> Any:
        """The same few recordings again and again, unless a test asks what is said of that."""
        made = taken(case)
        call = ("visit", "add", str(made.path), "--marks", str(made.marks), "--bike", bike, *more)
        return acoustic(*call, *(["--anyway"] if anyway else []))

    return run


def visits(acoustic: Run, *more: str) -> Any:
    return acoustic("visit", "list", "--json", *more).document["visits"]


def test_a_visit_is_checked_kept_shown_put_right_and_removed(acoustic: Run, add: Any, shop: Path) -> None:
    assert acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-01-02").code == EXIT_DONE
    added = add("short_outer", "--on", "2026-03-01", "--km", "812", "--quiet")
    assert (added.code, added.stdout) == (EXIT_DONE, "visit 1: red, 2026-03-01: replace\n")
    (kept,) = visits(acoustic)
    assert (kept["bike"], kept["distance_km"], kept["verdicts"][0]["check"]["bearing"]["designation"]) == (
        "red",
        812.0,
        "6805",
    )
    assert [line.split()[-2:] for line in acoustic("visit", "list").stdout.splitlines()] == [
        ["km", "grade"],
        ["812", "replace"],
    ]
    assert "visit 1, 2026-03-01 at 812 km: replace" in acoustic("bike", "show", "red").stdout
    stored = [path for path in (shop / "shop.recordings").rglob("*") if path.is_file()]
    assert len(stored) == 2, "the recording and its marks"
    assert acoustic("visit", "correct", "1", "--km", "821", "--because", "read wrongly").code == EXIT_DONE
    assert "812" in acoustic("visit", "show", "1").stdout
    assert visits(acoustic)[0]["distance_km"] == 821.0
    assert acoustic("visit", "remove", "1", "--because", "wrong bike").code == EXIT_DONE
    assert visits(acoustic) == []
    assert visits(acoustic, "--removed")[0]["removed_because"] == "wrong bike"


def test_what_is_judged_again_and_does_not_change_says_so(acoustic: Run, add: Any) -> None:
    add("short_outer", "--bearing", "6805", "--quiet")
    before = visits(acoustic)
    done = acoustic("visit", "recheck", "--all", "--quiet")
    assert (done.code, done.stdout) == (EXIT_DONE, "1 visit judged again; 0 changed.\n")
    after = visits(acoustic)
    assert after[0]["verdicts"][0]["check"]["findings"] == before[0]["verdicts"][0]["check"]["findings"]


def test_a_recording_that_cannot_be_used_is_no_visit(acoustic: Run, tmp_path: Path) -> None:
    refused = acoustic("visit", "add", str(tmp_path / "none.wav"), "--bike", "red", "--bearing", "6805")
    assert refused.code == EXIT_UNUSABLE
    assert visits(acoustic) == []


def test_an_install_from_the_hand_to_the_final_spin(acoustic: Run, add: Any) -> None:
    acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-01-02")
    assert acoustic("install", "seat", "red").code == EXIT_UNUSABLE
    for case, kind in (("sound", "free"), ("rumble", "pressed"), ("sound", "final")):
        assert add(case, "--kind", kind, "--on", "2026-01-02", "--quiet").code == EXIT_DONE
    assert acoustic("install", "seat", "red").stdout.startswith("ROUGHER")
    assert acoustic("install", "final", "red").stdout.startswith("CLEAN")


def test_a_fit_sheet_as_text_and_as_json(acoustic: Run) -> None:
    readings = ("--bore", "36.975@1/0", "--bore", "36.985@1/90", "--shell-outside", "44")
    sheet = acoustic("install", "fit", "--bearing", "25x37x7", *readings, "--json").document
    assert sheet["schema"] == "acoustic.fit/2"
    assert sheet["seat"]["mean_mm"] == pytest.approx(36.98)
    assert sheet["shell"]["interference_um"]["likely"] == pytest.approx(14.5, abs=1)  # 37 - 0.0055 - 36.98 mm
    assert "meets" in acoustic("install", "fit", "--bearing", "25x37x7", *readings).stdout


@pytest.mark.parametrize(
    "wrong",
    [
        ("--bearing", "6805", "--bore", "wide"),
        ("--bearing", "nothing", "--bore", "36.98"),
        ("--bearing", "6805", "--bore", "36.98", "--offset", "0.1"),
        ("--bearing", "6805", "--bore", "36.98", "--limits", "36.97"),
        ("--bearing", "6805", "--bore", "36.98", "--cup", "41:x:0:steel"),
    ],
)
def test_fit_sheets_that_cannot_be_made(wrong: tuple[str, ...], acoustic: Run) -> None:
    refused = acoustic("install", "fit", *wrong)
    assert refused.code == EXIT_UNUSABLE
    assert refused.stderr


def test_a_trend_needs_visits_and_says_how_many(acoustic: Run, add: Any, shop: Path) -> None:
    acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-01-01")
    for day in ("2026-02-01", "2026-03-01"):
        add("short_outer", "--on", day, "--quiet")
    told = acoustic("trend", "red", "--today", "2026-03-02")
    assert "not enough visits: 2 so far, 4 needed" in told.stdout
    for day in ("2026-04-01", "2026-05-01"):
        add("short_outer", "--on", day, "--quiet")
    document = acoustic("trend", "red", "--today", "2026-05-02", "--json").document
    (outer,) = [one for one in document["courses"] if one["of"] == "outer_raceway"]
    assert (outer["state"], len(outer["points"]), outer["a_month"]["likely"]) == ("already there", 4, 0.0)
    drawn = acoustic("trend", "red", "--plot", str(shop / "trend.png"))
    assert drawn.code == EXIT_DONE
    assert (shop / "trend.png").read_bytes().startswith(b"\x89PNG")


def test_a_page_about_a_bike(acoustic: Run, add: Any, shop: Path) -> None:
    acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-01-01")
    for day, kind in (("2026-01-02", "free"), ("2026-01-02", "pressed"), ("2026-02-01", "check")):
        add("short_outer", "--on", day, "--kind", kind, "--quiet")
    page = shop / "red <1>.html"
    done = acoustic("report", "red", str(page), "--today", "2026-02-02", "--quiet")
    assert (done.code, done.stdout) == (EXIT_DONE, f"{page}: red, visit 3 of 2026-02-01\n")
    text = page.read_text(encoding="utf-8")
    for heading in ("Before and after pressing", "How it goes on", "Outer ring", "Visits and bearings"):
        assert heading in text
    assert "Rough in the hand" in text, "the same recording, free and pressed in"
    assert text.count("<audio") >= 3
    assert acoustic("report", "red", str(page), "--visit", "9").code == EXIT_UNUSABLE
    assert acoustic("report", "red", str(shop / "red.txt")).code == EXIT_UNUSABLE
    assert acoustic("report", "red", str(shop / "nowhere" / "red.html")).code == EXIT_UNUSABLE


def test_the_book_travels(acoustic: Run, add: Any, shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    add("short_outer", "--bearing", "6805", "--quiet")
    before = visits(acoustic)
    assert acoustic("book", "export", str(shop / "shop.zip")).code == EXIT_DONE
    monkeypatch.setenv("ACOUSTIC_BOOK", str(shop / "elsewhere" / "book.db"))
    open_book(str(shop / "elsewhere" / "book.db")).close()
    assert "1 visit, 2 files" in acoustic("book", "import", str(shop / "shop.zip")).stdout
    assert json.dumps(visits(acoustic)) == json.dumps(before)
    assert acoustic("visit", "recheck", "1", "--quiet").code == EXIT_DONE, "the recordings came along"


@pytest.mark.parametrize(
    "call",
    [
        ("bike", "show", "nobody"),
        ("trend", "nobody"),
        ("visit", "show", "7"),
        ("visit", "recheck"),
        ("visit", "correct", "1", "--because", "x"),
        ("bike", "removed", "3", "--because", "worn"),
        ("bike", "fit", "red", "--on", "2999-01-01"),
        ("bike", "fit", "red", "--on", "yesterday"),
        ("lifetimes",),
        ("lifetimes", "--where", "colour=red"),
        ("trend", "red", "--plot", "trend.txt"),
    ],
)
def test_what_cannot_be_done_says_why(call: tuple[str, ...], acoustic: Run) -> None:
    refused = acoustic(*call)
    assert refused.code == EXIT_UNUSABLE
    assert refused.stderr.count("\n") >= 2, "what was found, and what to do"


def test_what_cannot_be_meant_is_asked_before_it_is_written(acoustic: Run, add: Any) -> None:
    """The same recording twice, kilometres that fall, a bike that may be a typing error."""
    said = ("--bearing", "6805", "--quiet")
    assert add("short_outer", *said, "--on", "2026-03-01", "--km", "900", bike="Red Road", anyway=False).code == 0
    again = add("short_outer", *said, "--on", "2026-03-02", bike="red road", anyway=False)
    assert again.code == EXIT_UNUSABLE and "in the book already: visit 1, Red Road" in again.stderr
    falls = add("sound", *said, "--on", "2026-03-02", "--km", "800", bike="RED ROAD", anyway=False)
    assert falls.code == EXIT_UNUSABLE and "800 km on 2026-03-02, and 900 km before it" in falls.stderr
    assert len(visits(acoustic)) == 1
    typed = add("sound", *said, "--on", "2026-03-02", bike="red raod", anyway=False)
    assert typed.code == EXIT_DONE
    assert 'If you meant Red Road:\n  acoustic visit move 2 "Red Road" --because' in typed.stderr
    moved = acoustic("visit", "move", "2", "Red Road", "--because", "typed wrong")
    assert moved.stdout == "visit 2 of 2026-03-02 belongs to Red Road now, not to red raod.\n"
    assert [one["bike"] for one in visits(acoustic)] == ["Red Road"] * 2
    acoustic("visit", "remove", "2", "--because", "x")
    acoustic("visit", "restore", "2", "--because", "y")
    assert len(visits(acoustic, "--bike", "red ROAD")) == 2


def bearing_judged(acoustic: Run) -> list[str]:
    return [one["verdicts"][0]["check"]["bearing"]["designation"] for one in visits(acoustic)]


def test_a_misread_bearing_is_put_right_and_judged_again(acoustic: Run, add: Any) -> None:
    acoustic("bike", "fit", "red", "--bearing", "6806", "--on", "2026-01-02")
    sizes = ("--balls", "11", "--ball-diameter", "5", "--pitch-diameter", "31")
    add("sound", "--on", "2026-03-01", "--quiet")
    add("sound", "--on", "2026-03-02", "--quiet", *sizes)
    why = ("--because", "misread")
    assert "recheck" not in acoustic("bike", "correct", "1", "--bearing", "61806", *why).stderr, "another spelling"
    corrected = acoustic("bike", "correct", "1", "--bearing", "6805", *why)
    assert "visit 1 was judged as 6806; the book has 6805 now." in corrected.stderr
    assert corrected.stderr.endswith("\n    acoustic visit recheck 1\n"), "sizes stay"
    again = acoustic("visit", "recheck", "--all", "--quiet")
    assert "judged as 6805 now, as 6806 before" in again.stdout
    assert again.stdout.endswith("2 visits judged again; 1 changed.\n")
    first, second = visits(acoustic)
    assert first["verdicts"][0]["asked"]["bearing"]["name"] == "6805"
    assert first["verdicts"][0]["check"]["bearing"]["designation"] == "6805"
    assert second["verdicts"][0]["asked"]["bearing"]["name"] is None
    assert acoustic("visit", "recheck", "1", "--quiet").stdout == "1 visit judged again; 0 changed.\n"


def test_a_visit_on_the_wrong_bike_is_judged_again_with_the_right_ones_bearing(acoustic: Run, add: Any) -> None:
    for bike, bearing in (("red", "6806"), ("blue", "6805")):
        acoustic("bike", "fit", bike, "--bearing", bearing, "--on", "2026-01-02")
    add("sound", "--on", "2026-03-01", "--quiet")
    assert bearing_judged(acoustic) == ["6806"]
    moved = acoustic("visit", "move", "1", "blue", "--because", "wrong bike")
    assert moved.stderr.endswith("\n    acoustic visit recheck 1\n")
    acoustic("visit", "recheck", "1", "--quiet")
    assert bearing_judged(acoustic) == ["6805"]


def test_a_replacement_that_only_the_visit_tells_is_asked_for(acoustic: Run, add: Any) -> None:
    acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-01-02")
    said = add("sound", "--on", "2026-03-01", "--done", "replacement", "--quiet").stderr
    assert said.endswith("\n    acoustic bike replaced red --on 2026-03-01\n")
    acoustic("bike", "replaced", "red", "--on", "2026-03-01")
    assert acoustic("visit", "correct", "1", "--done", "replacement", "--because", "x").stderr == "", "it is there"


def test_recheck_goes_on_past_a_recording_that_was_altered(acoustic: Run, add: Any, shop: Path) -> None:
    for case in ("short_outer", "sound"):
        add(case, "--bearing", "6805", "--quiet")
    first = visits(acoustic)[0]["verdicts"][0]["sha256"]
    (stored,) = (shop / "shop.recordings").rglob(f"{first}*")
    stored.write_bytes(b"something else")
    done = acoustic("visit", "recheck", "--all", "--quiet")
    assert (done.code, done.stdout) == (EXIT_UNUSABLE, "1 visit judged again; 0 changed.\n")
    assert "not judged again: visit 1, red" in done.stderr and "was altered" in done.stderr
    page = acoustic("report", "red", str(shop / "red.html"), "--visit", "1", "--quiet")
    assert page.code == EXIT_UNUSABLE and "was altered" in page.stderr
    exported = acoustic("book", "export", str(shop / "shop.zip"))
    assert exported.code == EXIT_UNUSABLE and "left out" in exported.stderr
    assert (shop / "shop.zip").is_file()
