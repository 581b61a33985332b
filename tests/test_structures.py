"""Structures from TOML and to JSON: what a file's mistakes are called, and what JSON can hold."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
import numpy as np
import pytest

from acoustic.errors import InputError
from acoustic.structures import AboveZero, Text, checked, encode, read_toml, to_plain


class Bell(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    name: Text
    loud_db: Annotated[float, msgspec.Meta(le=120)] = 60.0
    sizes_mm: tuple[int | str, ...] = ()
    tone: Literal["high", "low"] = "high"
    width_mm: AboveZero | None = None

    def __post_init__(self) -> None:
        if self.name == "gong":
            raise ValueError("field 'name': a gong is no bell")


class Shop(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    bell: tuple[Bell, ...]
    prices: dict[str, AboveZero] = {}


def refusal(content: Any) -> InputError:
    with pytest.raises(InputError) as caught:
        checked(content, Shop, "shop.toml", hint="Write [[bell]] tables.")
    return caught.value


@pytest.mark.parametrize(
    ("bell", "found", "hint"),
    [
        ({"loud_db": 1}, "row 2 of [[bell]], field 'name': it is missing", "Add name."),
        (
            {"name": "ding", "colour": "red"},
            "row 2 of [[bell]] (ding), field 'colour': no such field is known",
            "Remove it or use one of name, loud_db, sizes_mm, tone, width_mm.",
        ),
        ({"name": " "}, "field 'name': text is needed, got ' '", 'Write it as name = "...".'),
        ({"name": "ding", "loud_db": 121}, "a number 120 or less is needed, got 121", "Correct the number."),
        ({"name": "ding", "width_mm": 0}, "a number above 0 is needed, got 0", "Correct the number."),
        ({"name": "ding", "width_mm": "2"}, "a number is needed, got '2'", "Write it as width_mm = 12.5."),
        (
            {"name": "ding", "sizes_mm": [1, 2.5]},
            "field 'sizes_mm', entry 2: a whole number or text is needed, got 2.5",
            "Write it as sizes_mm = 16.",
        ),
        ({"name": "ding", "tone": "mid"}, "field 'tone': 'mid' is not known", "Use one of high, low."),
        ({"name": "gong"}, "row 2 of [[bell]] (gong), field 'name': a gong is no bell", "Correct the row."),
        ("ding", "row 2 of [[bell]]: a table is needed, got 'ding'", ""),
    ],
)
def test_a_row_s_mistake(bell: Any, found: str, hint: str) -> None:
    error = refusal({"bell": [{"name": "good"}, bell]})
    assert error.found.startswith("shop.toml, row 2 of [[bell]]")
    assert found in error.found
    assert hint in error.hint


@pytest.mark.parametrize(
    ("content", "found"),
    [
        ({}, "shop.toml, field 'bell': it is missing"),
        ({"bell": 3}, "shop.toml, field 'bell': a list is needed, got 3"),
        ({"bells": []}, "shop.toml, field 'bells': no such field is known"),
    ],
)
def test_a_file_of_another_form(content: Any, found: str) -> None:
    error = refusal(content)
    assert (error.found, error.hint) == (found, "Write [[bell]] tables.")


def test_a_mistake_in_a_table_of_free_names_is_met_too() -> None:
    """Which name it stands under is not told by the library."""
    assert "field 'prices': a number above 0 is needed" in refusal({"bell": [], "prices": {"ding": -1}}).found


def test_what_is_right_is_built() -> None:
    assert checked({"bell": [{"name": "ding"}]}, Shop, "shop.toml", hint="") == Shop((Bell("ding"),))


@pytest.mark.parametrize(
    ("content", "found"), [(None, "cannot be read: "), (b"[[", "read as TOML"), (b"\xff", "read as TOML")]
)
def test_files_that_cannot_be_read(content: bytes | None, found: str, tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_toml(path, hint="Look for it.")
    assert str(path) in caught.value.found and found in caught.value.found
    assert caught.value.hint == "Look for it."


class Held(msgspec.Struct, frozen=True):
    what: Any


def test_numbers_that_json_cannot_hold_become_null() -> None:
    held = Held({"a": (math.nan, 1.0, np.float64(math.inf)), "ä": np.int64(3)})
    assert to_plain(held) == {"what": {"a": [None, 1.0, None], "ä": 3}}
    assert json.loads(encode(held)) == to_plain(held)
    assert '"ä": 3' in encode(held)
    with pytest.raises(TypeError, match="neither text nor a number"):
        to_plain(Held(object()))
