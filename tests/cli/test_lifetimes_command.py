"""`acoustic lifetimes`, from bearings written down by commands to what it prints and writes."""

from __future__ import annotations

import csv
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.book.opening import open_book
from acoustic.errors import EXIT_DONE, EXIT_UNUSABLE

Run = Callable[..., Any]


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, acoustic: Run) -> Path:
    """Twelve bikes, a bearing in each; pressed ones wore out on the 11th of February to July, the others later."""
    monkeypatch.setenv("ACOUSTIC_BOOK", str(tmp_path / "shop.db"))
    open_book(str(tmp_path / "shop.db")).close()
    for number in range(12):
        shell, name = ("threaded", "6805-2RS") if number % 2 else ("pressed", "6805")
        made = ("--shell", shell, "--supplier", "east", "--km", "100")
        acoustic("bike", "fit", f"bike {number}", "--bearing", name, "--on", "2026-01-01", *made)
        month = 2 + number // 2 + 4 * (number % 2)
        end = ("--on", f"2026-{month:02d}-11", "--because", "worn", "--km", str(100 + 1000 * month))
        acoustic("bike", "removed", str(number + 1), *end)
    return tmp_path


def test_over_all_bikes(acoustic: Run, shop: Path) -> None:
    document = acoustic("lifetimes", "--by", "shell", "--json").document
    assert [kind["bearings"] for kind in document["kinds"]] == [6, 6]
    # Half of the six pressed ones were out by April the 11th, day 100.
    assert (document["measure"], document["kinds"][0]["median"]) == ("days", 100.0)
    assert document["comparisons"][0]["few_ends"]
    told = acoustic("lifetimes", "--by", "shell", "--plot", str(shop / "curves.svg"))
    assert "Half of bearings in pressed shells lasted" in told.stdout
    assert "hint" in told.stdout
    assert (shop / "curves.svg").is_file()
    assert acoustic("lifetimes", "--where", "shell=glued").code == EXIT_UNUSABLE


def test_in_kilometres_and_rides(acoustic: Run, shop: Path) -> None:
    """Pressed ones: 2000 to 7000 km; the third of six is 4000 km, a hundred rides of 40 km."""
    pressed = ("--where", "shell=pressed")
    assert acoustic("lifetimes", *pressed, "--in", "km", "--json").document["kinds"][0]["median"] == 4000.0
    told = acoustic("lifetimes", *pressed, "--in", "rides", "--ride-km", "40", "--plot", str(shop / "rides.png"))
    assert "lasted 100 rides or longer" in told.stdout
    for half in (("--in", "rides"), ("--ride-km", "40")):
        assert acoustic("lifetimes", *half).code == EXIT_UNUSABLE


@pytest.mark.parametrize("by", ["designation", "supplier"])
def test_one_kind_however_it_was_written(by: str, acoustic: Run, shop: Path) -> None:
    (kind,) = acoustic("lifetimes", "--by", by, "--json").document["kinds"]
    assert kind["name"] == {"designation": "6805 bearings", "supplier": "bearings from east"}[by]
    assert kind["bearings"] == 12


def test_bearings_from_before_the_book(acoustic: Run, shop: Path) -> None:
    """As the book began on March the 1st, one of twelve had come out, and eleven had run 59 days."""
    told = acoustic("lifetimes", "--since", "2026-03-01")
    assert "11 bearings went in before the book began on 2026-03-01 and count from then on." in told.stdout
    assert "1 bearing that the book never saw at work" in told.stdout
    unasked = acoustic("lifetimes", "--json")
    assert unasked.document["joined"] == 0, "without visits each counts from the day it went in"
    assert "add --since" in unasked.stderr


def test_a_table_of_the_lives(acoustic: Run, shop: Path) -> None:
    assert acoustic("lifetimes", "--csv", str(shop / "lives.csv"), "--since", "2026-03-01").code == EXIT_DONE
    with (shop / "lives.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 11
    # The second bike's, from January the 1st to June the 11th.
    assert rows[0] | {"ran [days]": "161", "watched from [days]": "59", "worn out": "yes"} == rows[0]
    assert (rows[0]["designation"], rows[0]["supplier"], rows[0]["lot"]) == ("6805", "east", "")
    assert acoustic("lifetimes", "--csv", str(shop / "nowhere" / "lives.csv")).code == EXIT_UNUSABLE


def test_it_starts_quickly(shop: Path) -> None:
    """By module names, as a stopwatch differs from machine to machine: scipy alone would take half of its time."""
    code = "import sys; from acoustic.cli import main\ntry: main(['lifetimes'])\n"
    code += "except SystemExit: print(*sys.modules, file=sys.stderr)"
    environment = {**os.environ, "PYTHONUTF8": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment
    )
    loaded = {module.partition(".")[0] for module in done.stderr.split()}
    assert "sqlalchemy" in loaded, "the test looks at the right process"
    assert not loaded & {"scipy", "matplotlib", "librosa", "alembic", "soundfile"}
