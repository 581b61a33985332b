"""The language of what a rider reads, asked for or set once, and the slip to take home."""

from __future__ import annotations

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
    """A book of its own for each test, and no language set."""
    monkeypatch.setenv("ACOUSTIC_BOOK", str(tmp_path / "shop.db"))
    open_book(str(tmp_path / "shop.db")).close()
    monkeypatch.delenv("ACOUSTIC_LANGUAGE", raising=False)
    return tmp_path


@pytest.fixture
def visited(acoustic: Run, taken: Take) -> None:
    made = taken("short_outer")
    told = ("--marks", str(made.marks), "--bike", "red", "--bearing", "6805", "--on", "2026-03-01", "--quiet")
    assert acoustic("visit", "add", str(made.path), *told).code == EXIT_DONE


def test_a_check_s_page_speaks_the_rider_s_language(
    acoustic: Run, taken: Take, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made, page = taken("short_outer"), shop / "page.html"
    call = ("check", str(made.path), "--marks", str(made.marks), "--bearing", "6805", "--report", str(page))
    monkeypatch.setenv("ACOUSTIC_LANGUAGE", "fr")
    for more, heading in (((), "En clair"), (("--language", "DE"), "In einfachen Worten")):
        assert acoustic(*call, "--quiet", *more).code == EXIT_DONE
        text = page.read_text(encoding="utf-8")
        assert heading in text and "In plain words" not in text and "For the bench" in text


def test_a_bike_s_page_speaks_it_too(acoustic: Run, visited: None, shop: Path) -> None:
    page = shop / "red.html"
    assert acoustic("report", "red", str(page), "--language", "es", "--quiet").code == EXIT_DONE
    text = page.read_text(encoding="utf-8")
    assert '<section class="half" lang="es"' in text and "Qué se ha oído" in text


def test_a_slip_of_a_visit(acoustic: Run, visited: None, shop: Path) -> None:
    slip = shop / "slip.html"
    done = acoustic("visit", "slip", "1", "--out", str(slip), "--language", "de")
    assert (done.code, done.stdout) == (EXIT_DONE, f"{slip}: red, visit 1 of 2026-03-01\n")
    text = slip.read_text(encoding="utf-8")
    assert '<html lang="de">' in text
    for said in ("Ihr Tretlager", "red", "1. März 2026", "ersetzen", "Lassen Sie ein neues Lager einbauen"):
        assert said in text


def test_a_slip_follows_what_was_done_since(acoustic: Run, visited: None, shop: Path) -> None:
    """A bearing that has gone out must not be asked for once more."""
    slip = shop / "slip.html"
    assert acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-03-02").code == EXIT_DONE
    assert acoustic("visit", "slip", "1", "--out", str(slip)).code == EXIT_DONE
    text = slip.read_text(encoding="utf-8")
    assert "A new bearing has gone in since." in text and "Have a new bearing fitted" not in text


def test_what_cannot_be_written(acoustic: Run, visited: None, shop: Path) -> None:
    slip = str(shop / "slip.html")
    other = acoustic("visit", "slip", "1", "--out", slip, "--language", "it")
    assert other.code == EXIT_UNUSABLE and "'en', 'de', 'fr', 'es'" in other.stderr
    none = acoustic("visit", "slip", "7", "--out", slip)
    assert none.code == EXIT_UNUSABLE and "no visit 7" in none.stderr
    assert acoustic("visit", "remove", "1", "--because", "wrong bike").code == EXIT_DONE
    removed = acoustic("visit", "slip", "1", "--out", slip)
    assert removed.code == EXIT_UNUSABLE and "was removed (wrong bike)" in removed.stderr
    assert not Path(slip).exists()
