"""A bearing's name settled; marks from makers' catalogues, from memory."""

from __future__ import annotations

import pytest

from acoustic.bearings.catalogue import CatalogueRow, load_catalogue
from acoustic.bearings.names import Settled, settle
from acoustic.bearings.search import find, search
from acoustic.errors import InputError

CATALOGUE = load_catalogue()


@pytest.mark.parametrize(
    ("typed", "settled"),
    [
        ("6805", Settled("6805")),
        ("6805-2rs", Settled("6805", "contact")),
        ("6805 2RS", Settled("6805", "contact")),
        ("61805", Settled("6805")),
        ("61805-2RS1/C3", Settled("6805", "contact")),
        ("6805-VRS", Settled("6805")),
        ("25x37x7", Settled("6805")),
        ("25 × 37 × 7 mm", Settled("6805")),
        ("24x37x7", Settled("24x37x7")),
        ("6902ZZ", Settled("6902", "shield")),
        ("69022Z", Settled("6902", "shield")),
        ("69022RS", Settled("6902", "contact")),
        ("6902-RS", Settled("6902", "contact")),
        ("6803 llb", Settled("6803", "low-friction")),
        ("6803-2RSL", Settled("6803", "low-friction")),
        ("S6902ZZ", Settled("6902", "shield")),
        ("6000 ZZ ABEC5", Settled("6000", "shield")),
        ("6805N", Settled("25x37x6")),
        ("6805-AC", Settled("6805-AC")),
        ("6806-2RS-AC", Settled("6806-AC", "contact")),
        ("6902-RS-AC", Settled("6902-AC", "contact")),
    ],
)
def test_one_bearing_has_one_designation(typed: str, settled: Settled) -> None:
    assert settle(CATALOGUE, typed) == settled
    assert find(CATALOGUE, typed).designation == settled.designation


@pytest.mark.parametrize("row", CATALOGUE, ids=lambda row: row.designation)
def test_every_name_of_the_catalogue_means_its_own_row_with_any_marks(row: CatalogueRow) -> None:
    for name in row.names:
        for marks in ("", "-2RS", "2RS", " ZZ", "/C3", "-LLU C3"):
            assert settle(CATALOGUE, f"{name}{marks}").designation == row.designation


def test_what_is_no_bearing_is_refused_with_the_nearest_names() -> None:
    with pytest.raises(InputError, match=r"'banana'; the nearest names are \S+, "):
        settle(CATALOGUE, "banana")
    with pytest.raises(InputError, match="nearest names are 6805,"):
        settle(CATALOGUE, "6805-XYZ")
    with pytest.raises(InputError, match="is called '68'; the nearest names are 68"):
        settle(CATALOGUE, "68")
    with pytest.raises(InputError, match="is called ''"):
        settle(CATALOGUE, "")


def test_a_search_keeps_the_last_digit_too() -> None:
    assert [row.designation for row in search(CATALOGUE, "6902ZZ")] == ["6902", "6902-FULL", "6902-AC"]
