"""What people type: decimal commas, days with the day first, choices in capitals; and the help."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import click
import pytest

from acoustic.cli.book_options import Day
from acoustic.cli.questions import (
    CHAIN_ON,
    HOW_IT_TURNED,
    OTHER,
    WHAT_TO_WRITE,
    WHERE_HEARD,
    WHICH_BEARING,
    WHICH_VISIT,
)
from acoustic.cli.types import Number
from acoustic.errors import EXIT_UNUSABLE, InputError

Run = Callable[..., Any]


def test_a_comma_gives_the_same_orders_as_a_point(acoustic: Run) -> None:
    """4.5 mm balls on a 36.5 mm circle; the orders are checked elsewhere."""
    call = ("orders", "--balls", "12", "--json")
    comma = acoustic(*call, "--ball-diameter", "4,5", "--pitch-diameter", "36,5")
    assert comma.stdout == acoustic(*call, "--ball-diameter", "4.5", "--pitch-diameter", "36.5").stdout
    assert comma.document["bearing"]["pitch_diameter_mm"] == 36.5


@pytest.mark.parametrize("typed", ["1.234,5", "1,234.5", "9.5 mm", "nan"])
def test_what_may_be_two_numbers_is_refused(typed: str, acoustic: Run) -> None:
    outcome = acoustic("orders", "--balls", "12", "--ball-diameter", typed, "--pitch-diameter", "36")
    assert (outcome.code, outcome.stdout) == (EXIT_UNUSABLE, "")
    assert "'--ball-diameter'" in outcome.stderr and typed in outcome.stderr and "write" in outcome.stderr


def test_bounds_are_inside() -> None:
    kind = Number(0, 100)
    assert [kind.convert(text, None, None) for text in ("0", "100", "99,5")] == [0.0, 100.0, 99.5]
    for text in ("-0,1", "100,5"):
        with pytest.raises(click.BadParameter, match="0 or more and at most 100 is needed"):
            kind.convert(text, None, None)
    with pytest.raises(click.BadParameter, match="more than 0 and at most 3 is needed"):
        Number(above=0, most=3).convert("0,0", None, None)
    with pytest.raises(click.BadParameter, match=r"12,345 may be 12345 or 12\.3"):
        Number(0, thousands=True).convert("12,345", None, None)


def test_a_day_is_said_back_where_it_was_typed_otherwise(capsys: pytest.CaptureFixture[str]) -> None:
    assert Day().convert("12.03.2026", None, None) == date(2026, 3, 12)
    assert capsys.readouterr().err == "acoustic: 12.03.2026 is read as 12 March 2026.\n"
    assert Day().convert("2026-03-12", None, None) == date(2026, 3, 12)
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize(
    ("typed", "found", "hint"),
    [
        ("12/03/2026", "12/03/2026 may be 2026-03-12 or 2026-12-03", "Write the one that is meant."),
        ("31.02.2026", "31.02.2026 is not a day of the calendar", "Check the day and the month."),
        ("soon", "soon is not a day", "Write 2026-05-31 or 31.05.2026."),
        ("31.12.2999", "2999-12-31 is in the future", "Check the year and the month."),
    ],
)
def test_days_that_are_refused(typed: str, found: str, hint: str) -> None:
    with pytest.raises(InputError) as caught:
        Day().convert(typed, None, None)
    assert (caught.value.found, caught.value.hint) == (found, hint)


def sections(text: str) -> dict[str, list[str]]:
    """Headings of a help text with the long options below each."""
    found: dict[str, list[str]] = {}
    heading = ""
    for line in text.splitlines():
        if re.fullmatch(r"\S.*:", line):
            heading = line[:-1]
        elif option := re.match(r"  (?:-\w, )?(--[a-z-]+)", line):
            found.setdefault(heading, []).append(option[1])
    return found


def test_help_of_check_is_sorted_by_question(acoustic: Run) -> None:
    text = acoustic("check", "--help").stdout
    found = sections(text)
    assert list(found) == [WHICH_BEARING, HOW_IT_TURNED, WHERE_HEARD, CHAIN_ON, WHAT_TO_WRITE, OTHER]
    assert found[WHICH_BEARING][0] == "--bearing"
    assert found[HOW_IT_TURNED][0] == "--film", "the recommended way stands first"
    assert found[HOW_IT_TURNED][1:3] == ["--mark-channel", "--marks"]
    assert found[CHAIN_ON] == ["--chainring", "--sprocket", "--jockey"]
    assert {"--report", "--json", "--quiet", "--fail-on"} <= set(found[WHAT_TO_WRITE])
    assert found[OTHER] == ["--help"]
    assert text.index("--film --report") < text.index(f"{WHICH_BEARING}:"), "the whole call stands above the list"


def test_a_choice_may_have_capitals(acoustic: Run) -> None:
    call = ("orders", "--bearing", "6805", "--json", "--turning")
    assert acoustic(*call, "Outer").document == acoustic(*call, "outer").document


def test_a_bore_with_commas_is_the_same_sheet(acoustic: Run) -> None:
    call = ("install", "fit", "--bearing", "6806", "--json")
    commas = acoustic(*call, "--bore", "41,975@5/0", "--bore", "41,976@5,5/90", "--limits", "41,970:41,990")
    points = acoustic(*call, "--bore", "41.975@5/0", "--bore", "41.976@5.5/90", "--limits", "41.970:41.990")
    assert (commas.code, commas.stdout) == (0, points.stdout)
    two = acoustic(*call, "--bore", "1.041,975")
    assert (two.code, two.stdout) == (EXIT_UNUSABLE, "")
    assert "more than one point or comma" in two.stderr and "--bore 1.041,975" in two.stderr


def test_the_book_asks_about_thousands_of_kilometres(acoustic: Run, tmp_path: Path) -> None:
    book = ("--book", tmp_path / "shop.db")
    acoustic("book", "new", tmp_path / "shop.db")
    call = ("bike", "fit", "red", "--bearing", "6805", "--on", "12.03.2026", *book)
    asked = acoustic(*call, "--km", "12,345")
    assert asked.code == EXIT_UNUSABLE
    assert "12,345 may be 12345 or 12.3" in asked.stderr
    fitted = acoustic(*call, "--km", "12345,5")
    assert fitted.code == 0, fitted.stderr
    assert "12.03.2026 is read as 12 March 2026." in fitted.stderr


def test_help_of_the_other_long_commands_is_sorted_by_question(acoustic: Run) -> None:
    visit = sections(acoustic("visit", "add", "--help").stdout)
    assert list(visit) == [WHICH_VISIT, WHICH_BEARING, HOW_IT_TURNED, WHERE_HEARD, CHAIN_ON, WHAT_TO_WRITE, OTHER]
    assert visit[WHICH_VISIT][:2] == ["--bike", "--on"] and visit[HOW_IT_TURNED][0] == "--film"
    fit = sections(acoustic("install", "fit", "--help").stdout)
    assert fit[WHICH_BEARING] == ["--bearing", "--catalogue"] and "--bore" in fit["What was measured"]
    triage = sections(acoustic("triage", "--help").stdout)
    assert next(iter(triage)) == WHICH_BEARING and triage[OTHER] == ["--help"]
