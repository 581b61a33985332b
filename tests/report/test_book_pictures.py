"""The trend's chart: no word over a point or line, each sign explained, letters large enough on a phone."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from acoustic.report.book_pictures import FONT_PT, TREND_IN, series_figure
from acoustic.trend.points import Event, Point
from acoustic.trend.series import DRAG, Series, judge_series

FIRST = date(2026, 1, 5).toordinal()
PHONE_PX = 390
# Points of 72 an inch; CSS pixels are what a phone counts.
LEAST_PX = 11.0


def series(values: list[float], *, quantity: str = "outer_raceway", groups: int = 1, works: bool = True) -> Series:
    points = [
        Point(FIRST + 28.0 * number, value, 400.0 * number, f"phone {number % groups}, spun by hand")
        for number, value in enumerate(values)
    ]
    events = [Event(float(FIRST), "replacement"), Event(FIRST + 30.0, "service")] if works else []
    return judge_series(quantity, points, events, today=FIRST + 28.0 * len(values))


CASES = {
    "rising": series([-30, -30, -23, -21, -20, -18, -17, -15, -14], works=False),
    "served": series([-14, -12, -23, -21, -20, -18, -17, -15, -14]),
    "level": series([-18, -17.5, -18.4, -17.8, -18.0, -18.3, -17.6]),
    "too few": series([-18.0, -17.0], works=False),
    "one": series([-18.0], works=False),
    "three groups": series([-25.0, -22, -21, -20, -19, -17, -16, -15, -14], groups=3, works=False),
    "already there": series([-5.0, -4, -6, -5, -4, -5], works=False),
    "drag": series([0.12, 0.13, 0.14, 0.15, 0.16, 0.17], quantity=DRAG, works=False),
}


@pytest.fixture(params=CASES)
def drawn(request: pytest.FixtureRequest) -> tuple[Any, Series]:
    one = CASES[request.param]
    figure = series_figure(
        one, title="ticket 201, silver gravel with a long name: outer ring", unit="severity [dB]"
    )
    figure.draw_without_rendering()
    return figure, one


def test_no_word_stands_among_the_points(drawn: tuple[Any, Series]) -> None:
    figure, _ = drawn
    (axes,) = figure.axes
    inside = axes.get_window_extent()
    texts = [axes._left_title, axes.yaxis.label, *axes.get_xticklabels(), *axes.get_yticklabels(), *axes.texts]
    for text in (*texts, *figure.legends[0].get_texts()):
        box = text.get_window_extent()
        if text.get_text() and text.get_visible():
            assert not inside.overlaps(box.padded(-1)), text.get_text()
    assert figure.legends[0].get_window_extent().y1 <= inside.y0
    whole = figure.bbox
    for text in figure.legends[0].get_texts():
        box = text.get_window_extent()
        assert box.x1 <= whole.x1 and box.y0 >= whole.y0, f"{text.get_text()} runs out of the picture"


def test_every_point_and_the_limit_lie_in_the_picture(drawn: tuple[Any, Series]) -> None:
    figure, one = drawn
    low, high = figure.axes[0].get_ylim()
    assert all(low < point.value < high for point in one.points)
    assert one.limit is None or low < one.limit < high


def test_letters_are_large_enough_on_a_phone() -> None:
    assert FONT_PT * PHONE_PX / (72 * TREND_IN[0]) >= LEAST_PX


def legend(one: Series) -> str:
    figure = series_figure(one, title="x", unit="dB")
    return " | ".join(text.get_text().replace("\n", " ") for text in figure.legends[0].get_texts())


def test_each_sign_is_explained() -> None:
    said = legend(CASES["rising"])
    for words in (
        "phone 0, spun by hand",
        "today",
        "likeliest course",
        "hatched: holds the true course nine times in ten",
        "replacement from here on (-10)",
        "replacement is due between ",
        "likeliest day",
    ):
        assert words in said
    assert "service done" in legend(CASES["served"])
    assert "not compared" in legend(CASES["three groups"])
    assert "is due between" not in legend(CASES["level"])
