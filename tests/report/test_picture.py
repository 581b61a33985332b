"""The picture: three panels, what was heard named in words, written whole or not at all."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import matplotlib
import matplotlib.image
import numpy as np
import pytest

from acoustic.report.picture import save_picture

Analyse = Callable[[str], Any]


def drawn(result: Any, path: Path) -> str:
    save_picture(result, path)
    return path.read_text(encoding="utf-8")


def test_the_panels_say_what_they_show(tmp_path: Path, analysis_of: Analyse) -> None:
    result = analysis_of("inner")
    svg = drawn(result, tmp_path / "inner.svg")
    # Text stays text, so that it can be read, searched and translated.
    told = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", svg))
    for words in (
        f"{result.verdict.level.upper()}: {result.verdict.because[0]}",
        "bearing 6805",
        "Recording",
        "turning, judged",
        "still: the room",
        "Crank speed, from the marks given: 9.0 turns",
        "events a crank turn",
    ):
        assert words in told
    assert re.search(r"inner ring \d\.\d\d heard", told)
    assert re.search(r"outer ring \d\.\d\d(?! heard)", told)


@pytest.mark.parametrize("case", ["sound", "grit"])
def test_where_no_line_was_heard(case: str, tmp_path: Path, analysis_of: Analyse) -> None:
    svg = drawn(analysis_of(case), tmp_path / "picture.svg")
    assert svg.count("outer ring") == svg.count("inner ring") == 1
    assert not re.search(r"ring \d\.\d\d heard", svg)


def test_png(tmp_path: Path, analysis_of: Analyse) -> None:
    """10 by 9.2 inches at 120 dots an inch; every panel has ink in it."""
    path = tmp_path / "outer.png"
    save_picture(analysis_of("outer"), path)
    pixels = matplotlib.image.imread(path)[:, :, :3]
    assert pixels.shape == (1104, 1200, 3)
    dark = (pixels.mean(axis=2) < 0.5).mean(axis=1)
    for third in np.array_split(dark[60:], 3):
        assert third.max() > 0.05


def test_ticks_are_shown(tmp_path: Path, analysis_of: Analyse) -> None:
    result = analysis_of("sound")
    ticking = replace(result.features.motion, own_clicks_s=np.array([2.0, 3.0, 4.5]))
    svg = drawn(replace(result, features=replace(result.features, motion=ticking)), tmp_path / "ticks.svg")
    assert ">ticks<" in svg


def test_nothing_heard_nothing_drawn(tmp_path: Path, analysis_of: Analyse) -> None:
    with pytest.raises(ValueError, match="nothing was heard"):
        save_picture(replace(analysis_of("sound"), features=None), tmp_path / "empty.png")
    assert list(tmp_path.iterdir()) == []


def test_a_failed_picture_leaves_nothing_behind(
    tmp_path: Path, analysis_of: Analyse, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(figure: Any, target: Any, **options: Any) -> None:
        Path(target).write_bytes(b"half a pict")
        raise OSError("the disk is full")

    monkeypatch.setattr("matplotlib.figure.Figure.savefig", full)
    (tmp_path / "spin.png").write_bytes(b"an older picture")
    with pytest.raises(Exception, match="the disk is full"):
        save_picture(analysis_of("sound"), tmp_path / "spin.png")
    assert [path.name for path in tmp_path.iterdir()] == ["spin.png"]
    assert (tmp_path / "spin.png").read_bytes() == b"an older picture"


def test_the_program_s_own_settings_of_matplotlib_stay(tmp_path: Path, analysis_of: Analyse) -> None:
    """No global backend or style is switched: a notebook that calls this keeps its own."""
    before = dict(matplotlib.rcParams)
    save_picture(analysis_of("sound"), tmp_path / "sound.svg")
    assert dict(matplotlib.rcParams) == before


def test_a_file_s_name_is_no_formula(tmp_path: Path, analysis_of: Analyse) -> None:
    """Between dollar signs matplotlib reads mathematics, and refuses what is none."""
    result = analysis_of("sound")
    named = replace(result, recording=replace(result.recording, path=Path("a$\\frac$.wav")))
    assert "a$\\frac$.wav" in drawn(named, tmp_path / "name.svg")
