"""`acoustic bearings`: the table, the document, the refusal."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from acoustic.cli.bearings import bearings
from acoustic.errors import EXIT_UNUSABLE, InputError

OWN = """
[[bearing]]
designation = "HP-1"
pitch_diameter_mm = 20.0
ball_diameter_mm = 5.0
ball_counts = [8]
kind = "cup and cone"
source = "measured"
"""


def run(*arguments: str, **environment: str) -> Result:
    result = CliRunner().invoke(bearings, arguments, env=environment, catch_exceptions=False)
    assert result.exit_code == 0
    return result


def test_everything_is_listed() -> None:
    result = run()
    for designation in ("6000", "6805", "6811", "6905", "24x37x7", "29x42x7", "6806-AC", "cup-11x1/4"):
        assert f"\n{designation} " in result.stdout


def test_a_row_shows_size_balls_use_and_source() -> None:
    result = run("6806-2RS")
    head, first, *_ = result.stdout.split("\n\n")
    assert head.split() == ["bearing", "size,", "mm", "balls", "used", "in", "ball", "data"]
    for part in ("6806", "30 x 42 x 7", "18 or 17 x 3.5", "30 mm spindle", "solved from ratings"):
        assert part in first
    assert "6805" not in result.stdout


def test_lines_fit_a_screen() -> None:
    """The columns with their gaps make 102 characters."""
    assert max(map(len, run().stdout.splitlines())) <= 102


def test_words_need_no_quotes() -> None:
    assert run("41", "mm", "press-fit").stdout == run("41 mm press-fit").stdout
    assert run("25", "x", "37", "x", "7").stdout == run("25x37x7").stdout


def test_json_is_the_whole_of_stdout() -> None:
    document = json.loads(run("6808", "--json").stdout)
    assert document["schema"] == "acoustic.bearings/1"
    assert document["text"] == "6808"
    row = document["rows"][0]
    assert (row["designation"], row["bore_mm"], row["aliases"]) == ("6808", 40.0, ["61808"])
    assert row["ball_sets"] == [
        {"balls": 21, "ball_diameter_mm": 3.969},
        {"balls": 21, "ball_diameter_mm": 3.5},
    ]


def test_talk_goes_to_stderr() -> None:
    result = run("29x42x7")
    assert result.stderr.startswith("1 of ")
    assert "1 of " not in result.stdout


def test_own_catalogue_by_option_or_environment(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(OWN, encoding="utf-8")
    by_option = run("HP-1", "--catalogue", str(path))
    assert "no rings" in by_option.stdout
    assert run("HP-1", ACOUSTIC_CATALOGUE=str(path)).stdout == by_option.stdout


def test_nothing_found_ends_with_the_nearest_names() -> None:
    with pytest.raises(InputError, match=r"the nearest names are .*6805") as caught:
        CliRunner().invoke(bearings, ["6085"], catch_exceptions=False)
    assert caught.value.exit_code == EXIT_UNUSABLE


def test_a_row_says_how_much_grease() -> None:
    """6805: 35 % of 1.27 cm³ are 0.4 g, 60 % are 0.7 g; a cup and cone has no volume of its own."""
    assert "grease 0.3 to 0.5 g, 0.7 g against water" in " ".join(run("6805").stdout.split())
    assert "grease" not in run("cup-11x1/4").stdout
