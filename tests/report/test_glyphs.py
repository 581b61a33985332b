"""Names with letters that the figures' font lacks are drawn without warnings (warnings are errors in tests)."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest
from matplotlib.figure import Figure

from acoustic.report.book_pictures import save_figure
from acoustic.report.glyphs import any_letters
from acoustic.report.page.embed import svg_of


def named() -> Figure:
    figure = Figure(layout="constrained")
    figure.subplots().set_title("\U0001f6b2 7, \u81ea\u8ee2\u8eca")
    return figure


@pytest.mark.parametrize("ending", [".png", ".svg"])
def test_a_picture_of_a_bike_with_an_emoji_in_its_name(ending: str, tmp_path: Path) -> None:
    with pytest.warns(UserWarning, match="missing from font"):
        named().savefig(tmp_path / "plain.png")
    save_figure(named(), tmp_path / f"trend{ending}")
    assert (tmp_path / f"trend{ending}").stat().st_size > 0
    assert "\U0001f6b2 7" in svg_of(named())


def test_other_warnings_are_let_through() -> None:
    with pytest.warns(UserWarning, match="the disk"), any_letters():
        warnings.warn("the disk is nearly full", stacklevel=1)
