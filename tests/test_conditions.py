"""The table of conditions: refused by row and field where it is broken."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest

import acoustic.conditions
from acoustic.conditions import read_table, table
from acoustic.errors import InputError


@pytest.fixture
def content() -> dict[str, Any]:
    text = Path(acoustic.conditions.__file__).with_suffix(".toml").read_text(encoding="utf-8")
    return copy.deepcopy(tomllib.loads(text))


def test_the_table_that_comes_along_is_read(content: dict[str, Any]) -> None:
    assert read_table(content) == table()


def broken(content: dict[str, Any], change: str) -> dict[str, Any]:
    row = content["condition"][0]
    if change == "level":
        row["limit"][0]["level"] = "bad"
    elif change == "source":
        del row["limit"][0]["source"]
    elif change == "advice":
        row["limit"][0]["advice"] = ["pray"]
    elif change == "missing":
        del row["name"]
    else:
        row["colour"] = "red"
    return content


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("level", r"row 1 of \[\[condition\]\] \(outer_raceway\).*'bad' is not known"),
        ("source", "a limit in dB needs its source"),
        ("advice", "a limit names 'pray'; use one of ride_on"),
        ("missing", "field 'name': it is missing"),
        ("unknown", "field 'colour': no such field is known"),
    ],
)
def test_a_broken_table_is_refused_by_row_and_field(change: str, words: str, content: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=rf"conditions\.toml.*{words}"):
        read_table(broken(content, change))
