"""Searching the catalogue, and settling which bearing is meant."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.bearings.search import find, load_catalogue, resolve_bearing, search
from acoustic.errors import InputError

CATALOGUE = load_catalogue()
ROWS = {row.designation: row for row in CATALOGUE}


def designations(text: str) -> list[str]:
    return [row.designation for row in search(CATALOGUE, text)]


class TestSearch:
    @pytest.mark.parametrize(
        "name",
        [
            *("6805", "61805", " 6805 ", "6805/2RS", "6805-2RS", "6805 2rs", "6805-2RS1", "61805-2RSH"),
            *("6805ZZ", "6805LLU", "6805LLB", "6805DDU", "6805-VV", "6805 C3", "6805-2Z/C3", "6805 2RSR C3"),
        ],
    )
    def test_seals_and_clearance_do_not_matter(self, name: str) -> None:
        """Suffixes as makers print them (from memory)."""
        assert find(CATALOGUE, name) is ROWS["6805"]

    def test_suffixes_that_matter_are_kept(self) -> None:
        assert find(CATALOGUE, "6805-ac-2RS") is ROWS["6805-AC"]
        assert find(CATALOGUE, "6805N-2RS") is ROWS["25x37x6"]

    @pytest.mark.parametrize("text", ["25x37x7", "25 x 37 x 7", "25×37×7", "25 X 37 X 7 mm", "25mm x 37mm x 7mm"])
    def test_by_size(self, text: str) -> None:
        assert designations(text) == ["6805", "6805-FULL", "6805-AC"]

    @pytest.mark.parametrize("name", ["24x37x7", "24.0 × 37 × 7 mm", "24377"])
    def test_a_size_of_one_row_names_it(self, name: str) -> None:
        assert find(CATALOGUE, name) is ROWS["24x37x7"]

    def test_by_start_of_designation(self) -> None:
        assert designations("681") == ["6810", "6811", "6812"]

    @pytest.mark.parametrize(
        "text",
        [
            "41 mm press-fit, 24 mm spindle",
            "spindle 24 mm, pressfit 41",
            "24 mm axle in a 41 mm press fit shell",
        ],
    )
    def test_by_shell_and_spindle(self, text: str) -> None:
        """41 mm shells take 37 mm outside bearings on 24 mm spindles (spacer chart, common practice)."""
        found = designations(text)
        assert {"6805", "24x37x7"} <= set(found)
        assert not {"6806", "29x42x7"} & set(found)

    def test_by_shell_alone_or_spindle_alone(self) -> None:
        assert "6806" in designations("M47")
        assert designations("29 mm spindle") == ["29x42x7", "29x42x8", "29x41x8", "29x41x11"]
        assert designations("42 mm press-fit with clips 30 mm") == ["6806", "6806-AC", "3806"]

    @pytest.mark.parametrize(
        ("text", "among", "not_among"),
        [
            ("threaded", {"6805", "cup-11x1/4"}, {"6902", "unit-41-24"}),
            ("68 mm threaded shell, 24 mm spindle", {"6805", "24x37x7"}, {"6806"}),
            ("press-fit 86.5 mm wide", {"6805", "6806"}, {"608"}),
            ("pressed 92, 24 mm axle", {"6805", "24x37x7"}, {"6806"}),
            ("square taper", {"6903", "cup-11x1/4"}, {"6805"}),
            ("square-tapered bottom bracket", {"6903", "cup-11x1/4"}, {"6805"}),
            ("double row", {"3805", "3802"}, {"6805"}),
            ("threaded, two rows", {"3805"}, {"3802", "6805"}),
            ("dual-row press-fit", {"3805", "3806"}, {"6806"}),
            ("single row threaded", {"6805"}, {"3805"}),
            ("T47", {"6806"}, {"6902"}),
            ("Italian thread", {"6805"}, {"6806"}),
            ("one piece 46 mm", {"unit-46-24", "unit-46-30"}, {"unit-41-24"}),
            ("full complement pivots", {"6902-FULL"}, {"6902"}),
            ("headset", {"40x52x7"}, {"6806"}),
        ],
    )
    def test_by_the_trade_s_words(self, text: str, among: set[str], not_among: set[str]) -> None:
        """Widths by a crank maker's spacer chart: 41 mm shells are 86.5 and 92 mm wide, threaded ones 68."""
        found = set(designations(text))
        assert among <= found
        assert not found & not_among

    def test_another_width_of_the_same_rings_is_named(self) -> None:
        with pytest.raises(InputError, match="24x37x7 has its rings at another width") as caught:
            find(CATALOGUE, "24x37x9")
        assert "changes no rhythm" in caught.value.hint

    def test_by_part_and_kind(self) -> None:
        assert "6902" in designations("hubs")
        assert designations("cup and cone") == ["cup-11x1/4", "cup-9x1/4", "cup-10x3/16"]

    def test_no_text_is_all_and_nonsense_is_nothing(self) -> None:
        assert search(CATALOGUE, " ") == CATALOGUE
        assert search(CATALOGUE, "velvet") == ()
        assert search(CATALOGUE, "!") == ()

    @given(text=st.text(max_size=30))
    def test_any_text_is_answered_or_refused(self, text: str) -> None:
        assert set(search(CATALOGUE, text)) <= set(CATALOGUE)
        try:
            assert find(CATALOGUE, text) in CATALOGUE
        except InputError as error:
            assert error.found and error.hint

    def test_a_misspelt_name_gets_its_neighbours(self) -> None:
        with pytest.raises(InputError, match="no bearing in the catalogue matches '6085'") as caught:
            find(CATALOGUE, "6085")
        assert "6805" in caught.value.found
        assert "acoustic bearings" in caught.value.hint

    @pytest.mark.parametrize("name", ["681", "29"])
    def test_an_ambiguous_name_lists_what_it_may_mean(self, name: str) -> None:
        with pytest.raises(InputError, match="names no single bearing; it may mean") as caught:
            find(CATALOGUE, name)
        assert all(some in caught.value.found for some in designations(name))


class TestResolve:
    def test_name_gives_a_candidate_for_every_count(self) -> None:
        bearing = resolve_bearing(name="6805-2RS")
        assert [geometry.balls for geometry in bearing.candidates] == [16, 15]
        assert (bearing.designation, bearing.balls_source, bearing.rows) == ("6805", "catalogue", 1)
        assert bearing.source == ROWS["6805"].source

    def test_name_and_balls(self) -> None:
        bearing = resolve_bearing(name="6805", balls=19, turning="outer", rows=2)
        (geometry,) = bearing.candidates
        assert (geometry.balls, geometry.ball_diameter_mm, geometry.turning) == (19, 3.5, "outer")
        assert (bearing.balls_source, bearing.rows) == ("given", 2)
        assert bearing.source.endswith("some numbers as given")

    def test_a_counts_own_ball_is_used(self) -> None:
        """The 24 mm size lists 15 balls of 3.5 mm before 15 of 3.175 mm."""
        assert resolve_bearing(name="24x37x7", balls=15).geometry.ball_diameter_mm == 3.5

    def test_numbers_override_the_row(self) -> None:
        bearing = resolve_bearing(
            name="6805", balls=17, ball_diameter_mm=3.175, pitch_diameter_mm=31.2, contact_angle_deg=15
        )
        geometry = bearing.geometry
        assert (geometry.ball_diameter_mm, geometry.pitch_diameter_mm) == (3.175, 31.2)
        assert geometry.contact_angle_deg == 15

    def test_a_zero_angle_overrides_the_row(self) -> None:
        assert resolve_bearing(name="6805-AC").geometry.contact_angle_deg == 15
        assert resolve_bearing(name="6805-AC", contact_angle_deg=0.0).geometry.contact_angle_deg == 0

    def test_equal_candidates_are_one(self) -> None:
        """6808 comes with 21 balls of two sizes; with the size given one candidate is left."""
        assert len(resolve_bearing(name="6808").candidates) == 2
        assert len(resolve_bearing(name="6808", ball_diameter_mm=3.5).candidates) == 1

    def test_rows_are_the_catalogue_s_unless_given(self) -> None:
        assert resolve_bearing(name="3805").rows == 2
        assert resolve_bearing(name="3805", rows=1).rows == 1
        assert resolve_bearing(name="6805").rows == 1

    def test_numbers_alone(self) -> None:
        bearing = resolve_bearing(balls=8, ball_diameter_mm=10.0, pitch_diameter_mm=50.0)
        assert (bearing.designation, bearing.balls_source, bearing.source) == (
            "as given",
            "given",
            "as given",
        )
        assert bearing.geometry.contact_angle_deg == 0

    @pytest.mark.parametrize(
        ("options", "found", "hint"),
        [
            ({}, "no bearing was given", "--bearing"),
            ({"contact_angle_deg": 15.0}, "no bearing was given", "--bearing"),
            ({"balls": 16}, "missing: --ball-diameter and --pitch-diameter", "Add --ball-diameter"),
            ({"balls": 16, "pitch_diameter_mm": 31.0}, "missing: --ball-diameter", "Add --ball-diameter"),
            ({"name": "6805", "balls": 40}, "40 balls of 3.5 mm do not fit", "Check the numbers"),
            ({"name": "6805", "pitch_diameter_mm": -1.0}, "diameters must be above 0", "Check the numbers"),
            ({"name": "6805", "pitch_diameter_mm": 0.0}, "diameters must be above 0", "Check the numbers"),
            ({"name": "6805", "balls": 0}, "from 3 to 99, got 0", "Check the numbers"),
            ({"balls": 8, "ball_diameter_mm": 50.0, "pitch_diameter_mm": 20.0}, "smaller than", "Check"),
            ({"name": "6805", "rows": 3}, "1 or 2 rows of balls are needed, got 3", "--rows 1"),
            ({"name": ""}, "no bearing in the catalogue matches ''", "acoustic bearings"),
        ],
    )
    def test_refusals(self, options: dict[str, Any], found: str, hint: str) -> None:
        with pytest.raises(InputError) as caught:
            resolve_bearing(**options)
        assert found in caught.value.found
        assert hint in caught.value.hint


def test_a_size_alone_means_the_plain_kind() -> None:
    """The angular-contact bearing of the same size is asked for by its own name."""
    assert find(CATALOGUE, "25x37x7").designation == "6805"
    assert find(CATALOGUE, "6805-AC").designation == "6805-AC"
