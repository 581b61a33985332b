"""`acoustic install fit`: the sheet as a mechanic asks for it, and what is asked about."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from acoustic.bearings.catalogue import load_catalogue
from acoustic.errors import EXIT_DONE, EXIT_UNUSABLE

Run = Callable[..., Any]

BIG = """
[[bearing]]
designation = "BIG-6207"
bore_mm = 35.0
outside_mm = 72.0
width_mm = 17.0
pitch_diameter_mm = 53.5
ball_diameter_mm = 11.112
ball_counts = [9]
kind = "deep groove"
source = "from memory"
"""
RINGS = [row.designation for row in load_catalogue() if row.bore_mm is not None]


def fit(acoustic: Run, *more: str) -> Any:
    return acoustic("install", "fit", *more)


@pytest.mark.parametrize("designation", RINGS)
def test_every_ring_bearing_of_the_catalogue_gets_a_sheet(acoustic: Run, designation: str) -> None:
    """By a drawing's zone N7, whose middle is tighter than the middle of the bearing's outside."""
    found = fit(acoustic, "--bearing", designation, "--limits", "N7", "--json").document
    assert found["fit"] in ("fits", "tight")
    assert found["likely"]["interference_um"]["likely"] > 0
    assert not found["seat"]["measured"]


def test_the_catalogue_s_worked_example(acoustic: Run, tmp_path: Path) -> None:
    """SKF Rolling bearings (2018), example C.2: 6207, housing N6, steel: 5, 17, 29 um by the likely range, of
    which 4, 15, 25 are lost; -19, -2, 16 of CN (6 to 20) and -10, 9, 29 of C3 (15 to 33) are left, the whole
    clearance against the likely loss. The catalogue's factor is 0.87, by rings of mean thickness; here 0.897, at
    the groove.
    """
    (tmp_path / "own.toml").write_text(BIG, encoding="utf-8")
    asked = ("--bearing", "BIG-6207", "--limits", "N6", "--shell", "steel", "--shell-outside", "thick")
    own = ("--finish", "none", "--catalogue", str(tmp_path / "own.toml"))
    found = fit(acoustic, *asked, *own, "--json").document
    likely = found["likely"]
    assert list(likely["interference_um"].values()) == pytest.approx([5, 17, 29], abs=1.5)
    lost = likely["loss_um"]
    assert list(lost.values()) == pytest.approx([4, 15, 25], abs=1.7)
    for (low, middle, high), left in (((6, 13, 20), (-19, -2, 16)), ((15, 24, 33), (-10, 9, 29))):
        reckoned = (low - lost["most"], middle - lost["likely"], high - lost["least"])
        assert reckoned == pytest.approx(left, abs=1.7)
    assert [round(likely["left_um"][group]["likely"]) for group in ("CN", "C3")] == [-2, 9]
    assert (found["verdict"], found["shell"]["share"]) == ("tight", pytest.approx(0.897, abs=5e-4))
    assert "a bearing of group C3 would keep" in " ".join(found["because"]), "the catalogue's choice too"
    assert fit(acoustic, *asked, *own).stdout.startswith("TIGHT")


def test_what_nobody_measured_is_said(acoustic: Run) -> None:
    told = " ".join(fit(acoustic, "--bearing", "6806", "--bore", "41.985").stdout.split())
    for said in ("48 mm is taken, a usual wall of 3 mm for aluminium", "good to 5 µm", "-11 to 0 µm off 42 mm"):
        assert said in told
    assert "A shell of aluminium; a bearing with rings of steel, one row, clearance group CN." in told
    assert "5 to 7 µm are pressed flat" in told and "Measured and ridden at 20 °C" in told
    given = ("--shell-outside", "50", "--gauge", "2", "--ride-temp", "0")
    told = " ".join(fit(acoustic, "--bearing", "6806", "--bore", "41.985", *given).stdout.split())
    assert "is taken, a usual" not in told and "good to 5" not in told
    assert "ridden at 0 °C" in told


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--shell", "carbon"), "Carbon is no plain ring"),
        (("--balls", "ceramic"), "0.6 µm less than steel ones over 10 °C: negligible"),
        (("--press-temp", "80"), "it drops in without a press"),
        (("--shell", "magnesium"), "a usual wall of 4 mm for magnesium"),
        (("--rings", "stainless"), "FITS"),
    ],
)
def test_materials_and_temperatures(acoustic: Run, more: tuple[str, ...], said: str) -> None:
    """Ceramic by hand: 2 x 3.5 mm x (12 - 3.2) um a kelvin and metre x 10 K = 0.62 um."""
    assert said in " ".join(fit(acoustic, "--bearing", "6806", "--bore", "41.985", *more).stdout.split())


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--bore", "41.985", "--bore", "41.885"), "the readings lie 0.10 mm (100 µm) apart"),
        (("--bore", "41.985", "--shell-outside", "42.2"), "has a wall of 0.10 mm only"),
        (("--bore", "41.985", "--spindle", "29.9"), "0.10 mm (100 µm) under the bearing's bore of 30 mm"),
        (("--bore", "41.80"), "0.20 mm (200 µm) narrower than the 42 mm that go into it"),
    ],
)
def test_what_looks_like_a_slip_is_asked_about(acoustic: Run, more: tuple[str, ...], said: str) -> None:
    asked = fit(acoustic, "--bearing", "6806", *more)
    assert (asked.code, asked.stdout) == (EXIT_UNUSABLE, "")
    assert said in " ".join(asked.stderr.split()) and "--sure" in asked.stderr
    assert fit(acoustic, "--bearing", "6806", *more, "--sure").code == EXIT_DONE


def test_neither_measured_nor_drawn(acoustic: Run) -> None:
    refused = fit(acoustic, "--bearing", "6806")
    assert refused.code == EXIT_UNUSABLE and "--bore" in refused.stderr and "--limits" in refused.stderr


def test_a_coarse_gauge_fits_not_surely(acoustic: Run) -> None:
    """A calliper's 25 um either way about 34.5: 42 um and more a third of the time."""
    found = fit(acoustic, "--bearing", "6806", "--bore", "41.96", "--gauge", "25")
    assert found.stdout.startswith("FITS, not surely (a single row only)")
    assert "the chance of more than 42 µm" in " ".join(found.stdout.lower().split())
    assert fit(acoustic, "--bearing", "6806", "--bore", "41.985", "--gauge", "2").stdout.startswith(
        "FITS (a single"
    )


def test_a_pivot_round_the_shell_says_to_hold_the_seat(acoustic: Callable[..., Any]) -> None:
    told = acoustic("install", "fit", "--bearing", "6811", "--bore", "71.97", "--json")
    assert "so hold it" in told.document["cautions"][0]
