"""Pages of a fresh install: before and after, and what stands on top of a bike's page."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.book.opening import open_book
from acoustic.errors import EXIT_DONE, EXIT_UNUSABLE

Run = Callable[..., Any]


@pytest.fixture
def add(acoustic: Run, taken: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Add a visit to a book of its own."""
    monkeypatch.setenv("ACOUSTIC_BOOK", str(tmp_path / "shop.db"))
    open_book(str(tmp_path / "shop.db")).close()

    def run(case: str, kind: str, on: str) -> None:
        made = taken(case)
        call = ("--marks", made.marks, "--bike", "red", "--bearing", "6805", "--kind", kind, "--on", on, "--quiet")
        assert acoustic("visit", "add", made.path, *call).code == EXIT_DONE

    return run


def plain_half(page: Path) -> str:
    """What the rider reads, tags taken out."""
    half = page.read_text(encoding="utf-8").partition("In plain words")[2].partition("For the bench")[0]
    return " ".join(re.sub("<[^>]*>", " ", half).split())


def test_rougher_in_its_seat_before_and_after(acoustic: Run, add: Any, tmp_path: Path) -> None:
    add("sound", "free", "2026-01-02")
    add("short_outer", "pressed", "2026-01-02")
    both, bike = tmp_path / "both.html", tmp_path / "bike.html"
    told = acoustic("install", "seat", "red", "--report", both)
    assert told.code == EXIT_DONE and told.stdout.startswith("ROUGHER")
    assert acoustic("report", "red", bike, "--quiet").code == EXIT_DONE
    for page in (both, bike):
        assert "Just pressed in, and rougher than in the hand" in plain_half(page)
        assert "pulls it and sees whether it turns freely" in plain_half(page)
        whole = page.read_text(encoding="utf-8")
        assert "Have a new bearing fitted" not in whole and "Replace the bearing" not in whole
        assert "Pull the bearing and spin it in the hand" in whole
    assert plain_half(both).index("In the hand, 2026-01-02") < plain_half(both).index("In its seat, 2026-01-02")
    whole = both.read_text(encoding="utf-8")
    assert whole.count("<audio") > 4
    assert re.search(r"Strikes of the outer ring: not heard \(−\d+ dB\) in the hand, heard \(", whole)
    assert "Heard in neither: " in whole
    assert acoustic("install", "seat", "red", "--report", tmp_path / "both.pdf").code == EXIT_UNUSABLE


def test_replaced_since_asks_for_a_final_spin(acoustic: Run, add: Any, tmp_path: Path) -> None:
    add("short_outer", "check", "2026-01-02")
    page = tmp_path / "bike.html"
    acoustic("report", "red", page, "--quiet")
    assert "Have a new bearing fitted" in plain_half(page)
    assert acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-01-05").code == EXIT_DONE
    acoustic("report", "red", page, "--quiet")
    assert "Replaced since it was last heard" in plain_half(page)
    assert "What was heard of the old one" in plain_half(page)
    assert "How it goes on" not in plain_half(page), "no due day of a bearing that is out"
    assert "Have a new bearing fitted" not in plain_half(page)
    assert "Record a final spin of the new bearing" in page.read_text(encoding="utf-8")
