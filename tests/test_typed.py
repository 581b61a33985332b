"""Numbers, times and days as people type them: each reading, and what is refused since it has two."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.typed import day_in, number_in, seconds_in


@pytest.mark.parametrize(
    ("text", "value"),
    [
        *(("9.5", 9.5), ("9,5", 9.5), ("36,975", 36.975), ("36.975", 36.975), (" 12 ", 12.0), (",5", 0.5)),
        *(("5,", 5.0), ("-0,02", -0.02), ("−20", -20.0), ("+3", 3.0), ("1e-3", 1e-3), ("1,5E2", 150.0)),
    ],
)
def test_a_comma_is_a_decimal_point(text: str, value: float) -> None:
    assert number_in(text) == value


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_whatever_python_writes_is_read_back(value: float) -> None:
    """repr() writes the shortest digits that give the number again."""
    assert number_in(repr(value)) == number_in(repr(value).replace(".", ",")) == value


@given(st.integers(0, 9), st.integers(0, 59), st.integers(0, 59_999))
def test_a_player_s_time_is_its_seconds(hours: int, minutes: int, ms: int) -> None:
    text = f"{hours}:{minutes:02}:{ms // 1000:02}.{ms % 1000:03}"
    assert seconds_in(text) == pytest.approx(hours * 3600 + minutes * 60 + ms / 1000, abs=1e-9)
    assert seconds_in(text.replace(".", ",")) == seconds_in(text)


@given(st.dates(date(1900, 1, 1), date(2100, 12, 31)))
def test_every_day_is_read_both_ways(day: date) -> None:
    assert day_in(day.isoformat()) == day_in(f"{day.day}.{day.month}.{day.year}") == day


@pytest.mark.parametrize("text", ["1.234,5", "1,234.5", "1,234,567", "1.234.567", "1'234,5", ",", "9,,5"])
def test_two_signs_are_refused(text: str) -> None:
    """1.234,5 is German and 1,234.5 English; which of the two is typed does not settle where the other stands."""
    with pytest.raises(ValueError, match=r"more than one point or comma|is not a number"):
        number_in(text)
    with pytest.raises(ValueError, match=r"more than one|is not a time"):
        seconds_in(text)


@pytest.mark.parametrize("text", ["", " ", "many", "nan", "inf", "1_000", "9.5 mm", "٩", "0x10", "1e999", "0:05"])
def test_what_is_no_number(text: str) -> None:
    with pytest.raises(ValueError, match="is not a number"):
        number_in(text)


def test_kilometres_may_have_thousands() -> None:
    """A rider's 12,345 km is 12345 in London and 12.345 in Berlin, where 12.345 is 12345."""
    for text in ("12,345", "12.345", "1,000"):
        with pytest.raises(ValueError, match="may be"):
            number_in(text, thousands=True)
    plain = {"12345": 12345.0, "12345,6": 12345.6, "0,345": 0.345, "1234,567": 1234.567, "999.5": 999.5}
    assert {text: number_in(text, thousands=True) for text in plain} == plain


@pytest.mark.parametrize(
    ("text", "value"),
    [
        *(("0:01.758", 1.758), ("0:01,758", 1.758), ("1:02", 62.0), ("00:00:01.758", 1.758), ("1:00:00", 3600.0)),
        *(("75:00.5", 4500.5), ("1.758", 1.758), ("1,758", 1.758), ("3", 3.0)),
    ],
)
def test_times_as_a_player_shows_them(text: str, value: float) -> None:
    assert seconds_in(text) == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(
    "text", ["0:61", "0:1.5.2", "1:60:00", "0:00:01:22", "0:01:758", ":5", "5:", "a:b", "now", ""]
)
def test_what_is_no_time(text: str) -> None:
    with pytest.raises(ValueError, match="is not a time"):
        seconds_in(text)


@pytest.mark.parametrize(
    "text", ["2026-03-12", "12.03.2026", "12.3.2026", "12. 3. 2026", "12-03-2026", " 12.03.2026 "]
)
def test_days_have_the_day_first(text: str) -> None:
    assert day_in(text) == date(2026, 3, 12)


def test_strokes_are_read_where_they_can_be_one_day_only() -> None:
    assert day_in("31/05/2026") == day_in("05/31/2026") == date(2026, 5, 31)
    assert day_in("05/05/2026") == date(2026, 5, 5)
    with pytest.raises(ValueError, match="2026-03-12 or 2026-12-03"):
        day_in("12/03/2026")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "yesterday",
        "31.02.2026",
        "2026-13-01",
        "12.03.26",
        "12.3/2026",
        "2026-3-1",
        "20260312",
        "0.0.2026",
        "0/5/2026",
    ],
)
def test_what_is_no_day(text: str) -> None:
    with pytest.raises(ValueError, match="is not a day"):
        day_in(text)
