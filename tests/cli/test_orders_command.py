"""`acoustic orders`: the tables, the document, the bearing options, the refusals."""

from __future__ import annotations

import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from acoustic.cli.orders import orders
from acoustic.errors import EXIT_UNUSABLE, InputError

# 8 balls of 10 mm on 50 mm, by hand: cage 0.4, outer 3.2, inner 4.8, twice the spin 4.8
ROUND = ("--balls", "8", "--ball-diameter", "10", "--pitch-diameter", "50")


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(orders, arguments, catch_exceptions=False)
    assert result.exit_code == 0
    return result


def document(*arguments: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(run(*arguments, "--json").stdout)
    return loaded


def test_every_count_has_a_line() -> None:
    """6805 by hand: 8 x (1 - 3.5/31) = 7.097 for 16 balls, 7.5 x the same = 6.653 for 15."""
    result = run("--bearing", "6805-2RS")
    lines = result.stdout.splitlines()
    assert ["16 x 3.5 mm", "0.444", "7.097", "8.903", "8.744"] in [split(line) for line in lines]
    assert ["15 x 3.5 mm", "0.444", "6.653", "8.347", "8.744"] in [split(line) for line in lines]
    assert "Hz" not in result.stdout
    assert "--balls" in result.stderr


def split(line: str) -> list[str]:
    return [cell.strip() for cell in line.split("  ") if cell.strip()]


def test_words_say_what_the_columns_mean() -> None:
    text = run("--bearing", "6805", "--rows", "2").stdout
    assert "twice the ball's spin" in text
    assert "events in one turn of the inner ring" in text
    assert "2 rows, which share their orders" in text
    assert "solved from ratings" in text


def test_hz_at_a_speed() -> None:
    """90 rpm is 1.5 turns a second: 0.4, 3.2, 4.8, 4.8 become 0.6, 4.8, 7.2, 7.2 Hz."""
    result = run(*ROUND, "--speed", "90")
    below = result.stdout.partition("Hz at 90 rpm")[2].splitlines()
    assert split(below[2]) == ["8 x 10 mm", "0.600", "4.800", "7.200", "7.200"]
    assert result.stderr == ""


def test_json_document() -> None:
    """The bearing block is that of `check --json`."""
    found = document(*ROUND, "--speed", "30")
    by_hand = {"cage": 0.4, "outer_raceway": 3.2, "inner_raceway": 4.8, "ball": 4.8}
    assert found["schema"] == "acoustic.orders/1"
    assert found["speed_rpm"] == 30
    assert found["bearing"] == {
        "designation": "as given",
        "balls": 8,
        "balls_source": "given",
        "ball_diameter_mm": 10.0,
        "pitch_diameter_mm": 50.0,
        "contact_angle_deg": 0.0,
        "turning": "inner",
        "rows": 1,
        "source": "as given",
        "orders": by_hand,
    }
    (candidate,) = found["candidates"]
    assert candidate["orders"] == by_hand
    assert candidate["hz"] == {"cage": 0.2, "outer_raceway": 1.6, "inner_raceway": 2.4, "ball": 2.4}


def test_json_without_speed_has_no_hz() -> None:
    found = document("--bearing", "6806")
    assert found["speed_rpm"] is None
    assert [candidate["hz"] for candidate in found["candidates"]] == [None, None]
    assert [candidate["balls"] for candidate in found["candidates"]] == [18, 17]
    assert found["bearing"]["balls_source"] == "catalogue"


def test_outer_ring_turning() -> None:
    found = document(*ROUND, "--turning", "outer")["bearing"]
    assert (found["turning"], found["orders"]["cage"]) == ("outer", 0.6)


def test_contact_angle() -> None:
    """cos 60 degrees halves the ratio: cage (1 - 0.1)/2."""
    assert document(*ROUND, "--contact-angle", "60")["bearing"]["orders"]["cage"] == 0.45


def test_balls_override_the_catalogue() -> None:
    found = document("--bearing", "6805", "--balls", "19")
    assert found["bearing"]["balls_source"] == "given"
    assert [candidate["balls"] for candidate in found["candidates"]] == [19]


@pytest.mark.parametrize(
    ("arguments", "found"),
    [
        ((), "no bearing was given"),
        (("--bearing", "6085"), "matches '6085'"),
        (("--bearing", "6805", "--speed", "0"), "the speed must be above 0 rpm, got 0"),
        (("--bearing", "6805", "--catalogue", "absent.toml"), "absent.toml cannot be read"),
    ],
)
def test_refusals(arguments: tuple[str, ...], found: str) -> None:
    with pytest.raises(InputError) as caught:
        CliRunner().invoke(orders, arguments, catch_exceptions=False)
    assert found in caught.value.found
    assert caught.value.exit_code == EXIT_UNUSABLE


def test_a_word_for_a_number_is_a_wrong_call() -> None:
    """click's own refusals end with 2 as well."""
    result = CliRunner().invoke(orders, ["--bearing", "6805", "--balls", "many"])
    assert result.exit_code == EXIT_UNUSABLE
    assert "--balls" in result.stderr
