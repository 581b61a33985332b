"""Lengths of time and chances in words; what a terminal must not obey."""

from __future__ import annotations

import json

import pytest

from acoustic.text import DAY, MONTH, WEEK, legible, one_in, unit_for


def test_weeks_up_to_half_a_year_then_months() -> None:
    assert [unit_for(days) for days in (0.0, 14.0, 182.0, 182.1, 4000.0)] == [WEEK, WEEK, WEEK, MONTH, MONTH]
    assert [unit_for(days, smallest=DAY) for days in (14.0, 14.1, 182.1)] == [DAY, WEEK, MONTH]


def test_a_year_has_twelve_months() -> None:
    assert MONTH.whole_below(365.25) == MONTH.whole_above(365.25) == 12


@pytest.mark.parametrize(("days", "below", "above"), [(0.0, 0, 0), (6.9, 0, 1), (7.0, 1, 1), (7.1, 1, 2)])
def test_lengths_are_rounded_outwards(days: float, below: int, above: int) -> None:
    assert (WEEK.whole_below(days), WEEK.whole_above(days)) == (below, above)


def test_rounding_of_sums_is_no_week_of_its_own() -> None:
    assert WEEK.whole_below(21 - 1e-12) == WEEK.whole_above(21 + 1e-12) == 3


def test_one_is_said_in_the_singular() -> None:
    assert [WEEK.counted(count) for count in (0, 1, 2)] == ["0 weeks", "1 week", "2 weeks"]


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.05, "20"), (0.0234, "40"), (0.0003, "3 000"), (1e-4, "10 000"), (1e-30, "1 000 000"), (0.0, "1 000 000")],
)
def test_chances_are_said_as_one_time_in_so_many(chance: float, said: str) -> None:
    """1 / 0.0234 is 42.7, to one digit 40."""
    assert one_in(chance) == f"one time in {said}"


@pytest.mark.parametrize(
    "code", [*range(0x20), *range(0x7F, 0xA0), *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
)
def test_controls_are_shown_as_json_would(code: int) -> None:
    """Ends of lines and tabs alone pass; what is shown is the same character in JSON (RFC 8259, section 7)."""
    shown = legible(f"a{chr(code)}b")
    assert (shown == f"a{chr(code)}b") == (chr(code) in "\n\t")
    if chr(code) not in "\n\t":
        assert json.loads(f'"{shown}"') == f"a{chr(code)}b"
        assert shown.isprintable()


@pytest.mark.parametrize("text", ["Süd, é, 20 µm", "שלום", "\N{WOMAN}\N{ZERO WIDTH JOINER}\N{GIRL}", "5\u202f000"])
def test_letters_of_any_script_pass(text: str) -> None:
    assert legible(text) == text
