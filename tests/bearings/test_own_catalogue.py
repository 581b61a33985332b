"""A user's own catalogue: rows added and replaced, and the refusals that name file, row and field."""

from __future__ import annotations

from pathlib import Path

import pytest

from acoustic.bearings.search import find, load_catalogue, resolve_bearing, search
from acoustic.errors import InputError

CATALOGUE = load_catalogue()

GOOD = {
    "designation": '"HP-1"',
    "bore_mm": "10.0",
    "outside_mm": "30",
    "width_mm": "9.0",
    "pitch_diameter_mm": "20.0",
    "ball_diameter_mm": "5.0",
    "ball_counts": "[8, {balls = 7, ball_diameter_mm = 5.556}]",
    "kind": '"deep groove"',
    "source": '"measured"',
    "fits": '[{place = "test hub", spindle_mm = 10}]',
}


def write(folder: Path, *rows: dict[str, str | None]) -> Path:
    """Write a user's catalogue of rows: GOOD with changes, None taking a field out."""
    path = folder / "mine.toml"
    text = ""
    for changes in rows:
        fields = {**GOOD, **changes}
        text += "[[bearing]]\n" + "".join(f"{name} = {value}\n" for name, value in fields.items() if value)
    path.write_text(text, encoding="utf-8")
    return path


class TestUsersCatalogue:
    def test_rows_are_added(self, tmp_path: Path) -> None:
        catalogue = load_catalogue(write(tmp_path, {}))
        assert len(catalogue) == len(CATALOGUE) + 1
        row = find(catalogue, "hp1")
        assert row.size == "10 x 30 x 9"
        assert [(s.balls, s.ball_diameter_mm) for s in row.ball_sets] == [(8, 5.0), (7, 5.556)]
        assert [found.designation for found in search(catalogue, "test hub")] == ["HP-1"]

    def test_a_row_of_the_same_designation_is_replaced(self, tmp_path: Path) -> None:
        path = write(tmp_path, {"designation": '"6000"', "aliases": '["our 6000"]'})
        catalogue = load_catalogue(path)
        assert len(catalogue) == len(CATALOGUE)
        assert find(catalogue, "6000").source == "measured"
        assert resolve_bearing(name="our 6000", catalogue=path).geometry.balls == 8

    def test_a_cup_and_cone_has_no_sizes(self, tmp_path: Path) -> None:
        sizes = dict.fromkeys(("bore_mm", "outside_mm", "width_mm", "fits"))
        catalogue = load_catalogue(write(tmp_path, {"kind": '"cup and cone"', **sizes}))
        assert find(catalogue, "HP-1").size == "no rings"

    @pytest.mark.parametrize(
        ("field", "value", "found"),
        [
            ("source", None, "it is missing"),
            ("width_mm", None, "it is missing"),
            ("balls", "16", "no such field is known"),
            ("designation", "6805", "text is needed, got 6805"),
            ("source", '" "', "text is needed"),
            ("pitch_diameter_mm", '"20"', "a number is needed, got '20'"),
            ("bore_mm", "true", "a number is needed, got True"),
            ("contact_angle_deg", "-1", "a number 0 or more is needed, got -1"),
            ("width_mm", "0", "a number above 0 is needed, got 0"),
            ("outside_mm", "nan", "a number above 0 is needed, got nan"),
            ("ball_counts", "16", "a list is needed, got 16"),
            ("ball_counts", "[]", "the list is empty"),
            ("ball_counts", "[8.5]", "entry 1: a whole number or a table is needed, got 8.5"),
            ("ball_counts", "[true]", "entry 1: a whole number or a table is needed, got True"),
            ("ball_counts", "[40]", "40 balls of 5.0 mm do not fit"),
            ("ball_counts", "[2]", "whole number from 3 to 99, got 2"),
            ("contact_angle_deg", "90", "from 0 to below 90 degrees"),
            ("kind", '"roller"', "'roller' is not known"),
            ("aliases", '"61805"', "a list is needed, got '61805'"),
            ("aliases", "[61805]", "text is needed, got 61805"),
            ("fits", '["hub"]', "entry 1: a table is needed, got 'hub'"),
            ("outside_mm", "25.0", "the balls reach out to 25 mm, past the outside of 25 mm"),
            ("bore_mm", "16.0", "the balls reach in to 15 mm, past the bore of 16 mm"),
            ("rows", "3", "3"),
            ("designation", '"61805"', "another row has the name '61805' already"),
            ("aliases", '["6805"]', "another row has the name '6805' already"),
        ],
    )
    def test_mistakes_name_file_row_and_field(
        self, tmp_path: Path, field: str, value: str | None, found: str
    ) -> None:
        """One spoilt field a case; the spoilt row is the second of two."""
        path = write(tmp_path, {"designation": '"HP-0"'}, {field: value})
        with pytest.raises(InputError) as caught:
            load_catalogue(path)
        assert str(path) in caught.value.found
        assert "row 2 of [[bearing]]" in caught.value.found
        assert f"'{field}'" in caught.value.found or field == "contact_angle_deg"
        assert found in caught.value.found
        assert caught.value.hint

    @pytest.mark.parametrize(
        ("field", "value", "inner", "found"),
        [
            ("ball_counts", "[{balls = 8}]", "ball_diameter_mm", "it is missing"),
            (
                "ball_counts",
                "[{balls = 8, ball_diameter_mm = 5, size = 1}]",
                "size",
                "no such field is known",
            ),
            ("fits", "[{spindle_mm = 24}]", "place", "it is missing"),
            ("fits", '[{place = "hub", spindle_mm = "24"}]', "spindle_mm", "a number is needed, got '24'"),
        ],
    )
    def test_mistakes_inside_an_entry(
        self, tmp_path: Path, field: str, value: str, inner: str, found: str
    ) -> None:
        with pytest.raises(InputError) as caught:
            load_catalogue(write(tmp_path, {field: value}))
        assert f"field '{field}', entry 1, field '{inner}': {found}" in caught.value.found

    def test_two_rows_of_one_designation(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match=r"row 2 .*'designation': another row has the name 'HP-1' already"):
            load_catalogue(write(tmp_path, {}, {}))

    @pytest.mark.parametrize(
        ("content", "found"),
        [
            (b"[[bearing\n", "it cannot be read as TOML"),
            (b"\xff\xfe", "it cannot be read as TOML"),
            (b"", "'bearing': it is missing"),
            (b"bearing = []", "'bearing': the list is empty"),
            (b"bearing = 3", "'bearing': a list is needed, got 3"),
            (b"bearing = [3]", "row 1 of [[bearing]]: a table is needed, got 3"),
            (b"[[bearings]]\n", "'bearings': no such field is known"),
        ],
    )
    def test_files_that_are_no_catalogue(self, tmp_path: Path, content: bytes, found: str) -> None:
        path = tmp_path / "mine.toml"
        path.write_bytes(content)
        with pytest.raises(InputError) as caught:
            load_catalogue(path)
        assert str(path) in caught.value.found
        assert found in caught.value.found

    def test_a_file_that_is_not_there(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match="cannot be read: No such file") as caught:
            load_catalogue(tmp_path / "absent.toml")
        assert "--catalogue" in caught.value.hint
