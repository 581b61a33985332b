"""What an owner types about bikes and bearings: one step for a replacement, slips put right, hints that work."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest

from acoustic.book.opening import open_book
from acoustic.cli import group
from acoustic.errors import EXIT_DONE, EXIT_UNUSABLE

Run = Callable[..., Any]


@pytest.fixture(autouse=True)
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book of its own for each test."""
    monkeypatch.setenv("ACOUSTIC_BOOK", str(tmp_path / "shop.db"))
    open_book(str(tmp_path / "shop.db")).close()
    return tmp_path


def commands_in(text: str) -> list[str]:
    """The commands that a text tells to type: to the end of the line."""
    return re.findall(r"(?:: |^    )(acoustic .*)$", text, re.MULTILINE)


def can_be_typed(command: str) -> bool:
    """Whether the command line takes it: commands, options and their values, as they stand there."""
    words = shlex.split(command.replace(" DAY", " 2026-01-01").replace(" KM", " 900"))[1:]
    with click.Context(group, info_name="acoustic") as context:
        found: click.Command = group
        while isinstance(found, click.Group):
            found_next = found.get_command(context, words.pop(0))
            if found_next is None:
                return False
            found = found_next
    numbers = ["1" if word == "NUMBER" else word for word in words]
    try:
        found.make_context("acoustic", numbers)
    except click.ClickException:
        return False
    return True


def test_a_replacement_is_one_step(acoustic: Run) -> None:
    fitted = acoustic("bike", "fit", "Red", "--bearing", "6805 2RS", "--shell", "threaded", "--on", "2026-01-02")
    assert fitted.stdout == "bearing 1 (6805) has been in Red since 2026-01-02.\n"
    said = (
        "--bearing",
        "61805-2rs",
        "--on",
        "2026-02-01",
        "--km",
        "900",
        "--supplier",
        "wholesaler",
        "--lot",
        "B7",
    )
    done = acoustic("bike", "replaced", "red", *said, "--lot", "B7")
    assert done.stdout.splitlines() == [
        "bearing 1 (6805) came out of Red on 2026-02-01 after 30 days: worn.",
        "bearing 2 (6805) went in.",
    ]
    listed = acoustic("bike", "list").stdout.splitlines()
    assert listed[1].split() == ["Red", "2", "6805", "2026-02-01"], "with the number that other commands ask for"
    shown = acoustic("bike", "show", "RED").stdout
    assert "bearing 2: 6805, contact, threaded, wholesaler, lot B7; in 2026-02-01 at 900 km" in shown
    assert "out 2026-02-01 at 900 km (worn)" in shown
    assert acoustic("bike", "removed", "2", "--because", "sold", "--on", "2026-02-02").stdout == (
        "bearing 2 came out of Red on 2026-02-02 after 1 day: sold.\n"
    )


def test_a_bike_that_may_be_a_typing_error_is_said(acoustic: Run) -> None:
    acoustic("bike", "add", "ticket 102")
    fitted = acoustic("bike", "fit", "ticket 1O2", "--bearing", "6805", "--on", "2026-01-02")
    (command,) = commands_in(fitted.stderr)
    assert acoustic(*shlex.split(command)[1:]).code == EXIT_DONE
    assert acoustic("bike", "list", "--json").document["bikes"][0]["bearings"][0]["designation"] == "6805"


def test_slips_are_put_right_and_told(acoustic: Run) -> None:
    acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-01-02")
    why = ("--because", "typed wrong")
    assert acoustic("bike", "correct", "1", "--bearing", "6806-ZZ", "--side", "drive", *why).code == EXIT_DONE
    assert acoustic("bike", "rename", "red", "ticket 7", *why).stdout == "red is called ticket 7 now.\n"
    assert acoustic("bike", "removed", "1", "--because", "worn", "--on", "2026-02-01").code == EXIT_DONE
    assert acoustic("bike", "restore", "1", *why).stdout == "bearing 1 (6806) sits in ticket 7 again.\n"
    assert acoustic("bike", "withdraw", "1", *why).code == EXIT_DONE
    shown = acoustic("bike", "show", "ticket 7").stdout
    for told in ("bearing from 6805 to 6806", "name from red to ticket 7", "entry taken back: typed wrong"):
        assert told in shown
    acoustic("bike", "add", "tiket 7")
    assert acoustic("bike", "merge", "tiket 7", "ticket 7", *why).code == EXIT_DONE
    assert [bike["name"] for bike in acoustic("bike", "list", "--json").document["bikes"]] == ["ticket 7"]


@pytest.mark.parametrize("by_environment", [False, True])
def test_a_book_is_made_only_if_it_is_meant(
    by_environment: bool, acoustic: Run, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    named = ("--book", str(shop / "new" / "tiping.db"))
    if by_environment:
        monkeypatch.setenv("ACOUSTIC_BOOK", named[1])
        named = ()
    refused = acoustic("bike", "list", *named)
    assert (refused.code, (shop / "new").exists()) == (EXIT_UNUSABLE, False)
    assert ("which ACOUSTIC_BOOK names" in refused.stderr) == by_environment
    (command,) = commands_in(refused.stderr)
    assert acoustic(*shlex.split(command)[1:]).code == EXIT_DONE
    assert acoustic("bike", "list", *named).code == EXIT_DONE
    assert acoustic(*shlex.split(command)[1:]).code == EXIT_UNUSABLE, "it is there already"


def test_the_book_in_the_own_data_folder_is_made_when_it_is_first_used(
    acoustic: Run, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("ACOUSTIC_BOOK")
    monkeypatch.setattr("acoustic.book.opening._data_folder", lambda: shop / "own")
    assert "a new book was made" in acoustic("bike", "list").stderr
    assert acoustic("bike", "list").stderr == ""


UNNAMED = [
    (("tiket 1", "2026-03-01"), "the book has no bike tiket 1.", 'mean ticket 1? Then give --bike "ticket 1"'),
    (("green 77", "2026-03-01"), "the book has no bike green 77, and no bearing was given", "--bearing NAME"),
    (("ticket 1", "2025-12-31"), "no bearing was in ticket 1; bearing 1 (6805) went in on 2026-01-02", "the day"),
    (
        ("ticket 1", "2026-03-01"),
        "on 2026-03-01 no bearing was in ticket 1; bearing 1 (6805) came out",
        "bike fit",
    ),
    (("empty", "2026-03-01"), "no bearing was given, and the book has none of empty", "acoustic bike fit empty"),
    (("both", "2026-03-01"), "two bearings were in both: bearing 2 (6805) and bearing 3 (6805)", "--side drive"),
    (("unsaid", "2026-03-01"), "the book does not say what bearing 4 in unsaid is", "acoustic bike correct 4"),
]


@pytest.mark.parametrize(("visit", "found", "hint"), UNNAMED, ids=[told for _, told, _ in UNNAMED])
def test_a_visit_without_a_bearing_says_what_the_book_lacks(
    visit: tuple[str, str], found: str, hint: str, acoustic: Run, shop: Path
) -> None:
    acoustic("bike", "fit", "ticket 1", "--bearing", "6805", "--on", "2026-01-02")
    acoustic("bike", "removed", "1", "--because", "worn", "--on", "2026-02-02")
    acoustic("bike", "add", "empty")
    for side in ("drive", "non-drive"):
        acoustic("bike", "fit", "both", "--bearing", "6805", "--on", "2026-01-02", "--side", side)
    acoustic("bike", "fit", "unsaid", "--on", "2026-01-02")
    refused = acoustic("visit", "add", str(shop / "spin.wav"), "--bike", visit[0], "--on", visit[1])
    assert refused.code == EXIT_UNUSABLE
    assert found in refused.stderr and hint in refused.stderr
    assert all(map(can_be_typed, commands_in(refused.stderr)))


def test_an_archive_of_no_branch_asks_for_it(acoustic: Run, shop: Path) -> None:
    acoustic("book", "new", str(shop / "other.db"))
    acoustic("bike", "add", "ticket 1", "--book", str(shop / "other.db"))
    acoustic("book", "export", str(shop / "other.zip"), "--book", str(shop / "other.db"))
    acoustic("book", "branch", "South")
    refused = acoustic("book", "import", str(shop / "other.zip"))
    assert "does not say which branch it is from" in refused.stderr and "--branch NAME" in refused.stderr
    assert "bike" not in refused.stderr and all(map(can_be_typed, commands_in(refused.stderr)))
    assert acoustic("book", "import", str(shop / "other.zip"), "--branch", "North").code == EXIT_DONE


def test_branches(acoustic: Run, shop: Path) -> None:
    north = ("--book", str(shop / "north.db"))
    acoustic("book", "new", north[1], "--branch", "North")
    assert acoustic("book", "branch", *north).stdout == "North\n"
    for book in ((), north):
        acoustic("bike", "fit", "ticket 1", "--bearing", "6805", "--on", "2026-01-02", *book)
    assert acoustic("book", "export", str(shop / "n.zip"), *north).stdout.endswith(
        "1 bike, 1 bearing, 0 visits, 0 files\n"
    )
    tried = acoustic("book", "import", str(shop / "n.zip"), "--dry-run").stdout
    assert "would be new in the book: 1 bike, 1 bearing" in tried and "ticket 1 (North)" in tried
    acoustic("book", "import", str(shop / "n.zip"))
    names = [bike["name"] for bike in acoustic("bike", "list", "--json").document["bikes"]]
    assert names == ["ticket 1", "ticket 1 (North)"]


REFUSALS: list[tuple[str, ...]] = [
    ("bike", "show", "rde"),
    ("bike", "show", "nobody at all"),
    ("bike", "add", "RED"),
    ("bike", "fit", "red", "--bearing", "6805", "--on", "2026-03-01"),
    ("bike", "fit", "red", "--bearing", "6805", "--on", "2025-12-01"),
    ("bike", "fit", "blue", "--bearing", "banana"),
    ("bike", "replaced", "red", "--on", "2026-01-02"),
    ("bike", "replaced", "red", "--on", "2026-02-02", "--km", "100"),
    ("bike", "replaced", "red", "--on", "2026-02-02", "--km", "38800"),
    ("bike", "removed", "9", "--because", "worn"),
    ("bike", "restore", "1", "--because", "x"),
    ("bike", "correct", "1", "--because", "x"),
    ("bike", "correct", "1", "--out", "2026-02-01", "--because", "x"),
    ("bike", "rename", "red", "blue two", "--because", "x"),
    ("bike", "merge", "red", "blue two", "--because", "x"),
    ("bike", "merge", "red", "red", "--because", "x"),
    ("visit", "show", "7"),
    ("visit", "restore", "7", "--because", "x"),
    ("visit", "move", "7", "red", "--because", "x"),
    ("book", "new", "{shop}/shop.db"),
    ("book", "import", "{shop}/none.zip"),
    ("bike", "list", "--book", "{shop}/my shop.db"),
]


@pytest.mark.parametrize("call", REFUSALS, ids=" ".join)
def test_refusals_name_commands_that_work_as_typed(call: tuple[str, ...], acoustic: Run, shop: Path) -> None:
    acoustic("bike", "fit", "red", "--bearing", "6805", "--on", "2026-01-02", "--km", "300")
    acoustic("bike", "fit", "blue two", "--bearing", "6805", "--on", "2026-01-02")
    refused = acoustic(*(word.format(shop=shop) for word in call))
    assert (refused.code, refused.stdout) == (EXIT_UNUSABLE, "")
    assert refused.stderr.count("\n") >= 2, "what was found, and what to do"
    wrong = [command for command in commands_in(refused.stderr) if not can_be_typed(command)]
    assert wrong == []


def test_what_can_be_typed_is_told_from_what_cannot() -> None:
    assert can_be_typed('acoustic bike show "red road"')
    assert not can_be_typed("acoustic bike list.")
    assert not can_be_typed("acoustic bike showing red")
    assert not can_be_typed("acoustic bike removed one --because worn")


def test_tables_stand_in_columns_whatever_the_names(acoustic: Run) -> None:
    for name in ("red", "\U0001f6b2 7", "\u81ea\u8ee2\u8eca", "e\u0301t\u00e9"):
        acoustic("bike", "fit", name, "--bearing", "6805", "--on", "2026-01-02")
    lines = acoustic("bike", "list").stdout.splitlines()
    wide = {"\U0001f6b2", "\u81ea", "\u8ee2", "\u8eca"}
    starts = {line.index("6805") + sum(letter in wide for letter in line) for line in lines[1:]}
    assert len(starts) == 1


LIST = """
import sys
from acoustic.cli import main
try:
    main(["visit", "list"])
except SystemExit as end:
    assert not end.code
heavy = {"numpy", "scipy", "alembic", "matplotlib", "librosa", "av", "acoustic.plugin.registry"}
print(sorted(heavy & set(sys.modules)))
"""


def test_a_list_of_visits_loads_nothing_heavy(acoustic: Run) -> None:
    """What makes the whole command quick: no numerics, no plugins, no migrations."""
    acoustic("bike", "add", "red")
    done = subprocess.run([sys.executable, "-c", LIST], check=True, capture_output=True, text=True)
    assert done.stdout.splitlines()[-1] == "[]", done.stdout
