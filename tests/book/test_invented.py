"""The invented workshop's year: what is simulated is what the check finds in the book."""

from __future__ import annotations

from pathlib import Path

import pytest

from acoustic.book import invented
from acoustic.book.bikes import add_bike, all_bearings
from acoustic.book.lives import lives
from acoustic.book.opening import open_book
from acoustic.book.visits import list_visits
from acoustic.errors import InputError
from acoustic.plugin.registry import load_plugins
from acoustic.simulator.workshop import LAST, SQUEEZED, invented_bearings, invented_visits


def test_visits_are_simulated_checked_and_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bearing in the hand, and squeezed in its seat."""
    two = [one for one in invented_visits() if one.bike == SQUEEZED][:2]
    monkeypatch.setattr(invented, "invented_visits", lambda: tuple(two))
    book, said = open_book(str(tmp_path / "demo.db")), []
    assert invented.write_year(book, load_plugins(), said.append) == 2
    with book.reading() as connection:
        free, pressed = list_visits(connection, bike=SQUEEZED)
        bearings = all_bearings(connection)
    assert [free.kind, free.verdicts[0].grade, pressed.kind, pressed.verdicts[0].grade] == [
        "free",
        "clean",
        "pressed",
        "service",
    ]
    assert len(said) == 2
    assert len(bearings) == len(invented_bearings())
    ended = [life for life in lives(bearings, today=LAST).lives if life.ended]
    assert 20 <= len(ended) < len(bearings), "some worn, some running"
    book.close()


def test_a_book_in_use_is_left_alone(tmp_path: Path) -> None:
    book = open_book(str(tmp_path / "shop.db"))
    with book.writing() as connection:
        add_bike(connection, "red road")
    with pytest.raises(InputError, match="already holds bikes"):
        invented.write_year(book, load_plugins(), lambda _: None)
    book.close()


def test_the_year_is_the_same_every_time_and_in_order() -> None:
    assert invented_visits() == invented_visits()
    assert invented_bearings() == invented_bearings()
    days = [one.on for one in invented_visits()]
    assert days == sorted(days)
    assert max(days) <= LAST
