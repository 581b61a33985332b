"""`acoustic install choose`: a ranking with reasons, the book's lives beside it, and what it asks for."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.book.opening import open_book
from acoustic.errors import EXIT_UNUSABLE

Run = Callable[..., Any]
TRUE_SEAT = ("--bore", "41.985@1/0", "--bore", "41.986@1/90", "--bore", "41.985@6/0", "--bore", "41.986@6/90")
IN_LINE = ("--offset", "0.02", "--shell-width", "68", "--gauge", "2", "--group", "C3")


@pytest.fixture(autouse=True)
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ACOUSTIC_BOOK", str(tmp_path / "shop.db"))
    open_book(str(tmp_path / "shop.db")).close()
    return tmp_path / "shop.db"


def test_nothing_measured_is_the_forgiving_kind_and_why(acoustic: Run) -> None:
    told = acoustic("install", "choose", "--use", "wet")
    assert told.stdout.startswith("SINGLE ROW IN SEPARATE CUPS, outer contact seals\n")
    text = " ".join(told.stdout.split())
    assert "What is not measured counts as out of true" in text
    assert "double row, steel balls (not here) because two rows need one true bore" in text


def test_a_true_seat_takes_two_rows(acoustic: Run) -> None:
    told = acoustic("install", "choose", "--bearing", "6806", *TRUE_SEAT, *IN_LINE)
    assert told.stdout.startswith("DOUBLE ROW, STEEL BALLS")
    document = acoustic("install", "choose", "--bearing", "6806", *TRUE_SEAT, *IN_LINE, "--json").document
    assert document["known"]["spindle"] == "thick"
    assert document["units"][0]["points"][0]["basis"]


def test_the_shop_s_own_lives_stand_beside(acoustic: Run) -> None:
    for number in range(5):
        sort = ("--bearing", "6805", "--rows", "1", "--shell", "threaded")
        acoustic("bike", "fit", f"ticket {number}", *sort, "--on", "2025-01-01")
        acoustic("bike", "removed", str(number + 1), "--on", f"2025-0{number + 2}-01", "--because", "worn")
    text = " ".join(acoustic("install", "choose").stdout.split())
    assert "here in this shop 5 of them, 5 worn out: half last 90 days (nine times in ten" in text


def test_a_bore_without_its_bearing_is_asked_about(acoustic: Run) -> None:
    refused = acoustic("install", "choose", "--bore", "41.98")
    assert (refused.code, refused.stdout) == (EXIT_UNUSABLE, "")
    assert "--bearing" in refused.stderr
