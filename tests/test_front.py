"""The front door for Python: what it takes, gives back, refuses and loads."""

from __future__ import annotations

import inspect
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import acoustic
import acoustic.bearings.search
import acoustic.check.pipeline
from acoustic import front
from acoustic.cli.bearings import bearings as bearings_command
from acoustic.cli.check import check as check_command
from acoustic.cli.orders import orders as orders_command
from acoustic.errors import InputError

OUTPUT = {"--json", "--plot", "--report", "--language", "--quiet", "--fail-on"}  # a result is shown by its methods


@pytest.fixture(scope="module")
def result(taken: Callable[..., Any]) -> front.CheckResult:
    made = taken("outer")
    found: front.CheckResult = acoustic.check(made.path, bearing="6805", marks=str(made.marks))
    return found


def run(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    return done.stdout.strip()


@pytest.mark.parametrize(
    ("command", "function"),
    [(check_command, front.check), (orders_command, front.orders), (bearings_command, front.bearings)],
    ids=["check", "orders", "bearings"],
)
def test_it_takes_what_the_command_takes(command: Any, function: Any) -> None:
    options = {option for parameter in command.params for option in parameter.opts if option.startswith("--")}
    named = {name for name, one in inspect.signature(function).parameters.items() if one.kind == one.KEYWORD_ONLY}
    assert {f"--{name.replace('_', '-')}" for name in named} - {"--progress"} == options - OUTPUT


def test_the_result_is_the_command_s(result: front.CheckResult, taken: Any, acoustic: Callable[..., Any]) -> None:
    made = taken("outer")
    call = ("check", made.path, "--bearing", "6805", "--marks", made.marks)
    assert result.to_dict() == acoustic(*call, "--json").document
    assert str(result) == acoustic(*call).stdout.rstrip("\n")
    assert result.grade == result.document.grade.level == result.to_dict()["grade"]["level"]
    assert (result.because, result.advice) == (result.document.grade.because, result.document.grade.advice)
    assert "outer_raceway" in {finding.condition for finding in result.findings if finding.detected}
    assert result.usable


def test_an_option_that_no_plugin_has_is_refused(taken: Callable[..., Any]) -> None:
    with pytest.raises(InputError, match="no installed speed source has an option 'hall'"):
        acoustic.check(taken("outer").path, bearing="6805", hall=3)


def test_nothing_of_it_can_be_changed(result: front.CheckResult) -> None:
    with pytest.raises(AttributeError):
        result.analysis = result.analysis  # type: ignore[misc]
    with pytest.raises(AttributeError):
        result.document.grade.level = "clean"  # type: ignore[misc]


def test_a_picture_as_figure_and_as_file(result: front.CheckResult, tmp_path: Path) -> None:
    from matplotlib.figure import Figure

    assert len(result.plot().axes) == 3
    mine = Figure()
    assert result.plot(mine) is mine and len(mine.axes) == 3
    result.plot(tmp_path / "spin.svg")
    result.plot(str(tmp_path / "spin.png"))
    assert (tmp_path / "spin.svg").read_text(encoding="utf-8").startswith("<?xml")
    assert (tmp_path / "spin.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(InputError, match=r"\.gif cannot be written"):
        result.plot(tmp_path / "spin.gif")


def test_a_page(result: front.CheckResult, tmp_path: Path) -> None:
    written = result.report(str(tmp_path / "spin.html"))
    text = written.read_text(encoding="utf-8")
    assert text.lstrip().lower().startswith("<!doctype html>") and f">{result.grade}" in text.lower()
    with pytest.raises(InputError, match=r"\.txt cannot be written"):
        result.report(tmp_path / "spin.txt")


def test_a_notebook_shows_report_and_picture(result: front.CheckResult) -> None:
    shown = result._repr_html_()
    assert shown.startswith("<pre>REPLACE") or shown.startswith(f"<pre>{result.grade.upper()}")
    assert "<svg" in shown and "<?xml" not in shown
    assert repr(result).startswith(f"<CheckResult {result.grade.upper()}")


def test_what_cannot_be_used_is_undecided_and_not_drawn(taken: Any) -> None:
    made = taken("short")
    found = acoustic.check(made.path, bearing="6805", marks=made.marks)
    assert (found.grade, found.usable) == ("undecided", False)
    assert found.advice
    assert "<svg" not in found._repr_html_()
    with pytest.raises(InputError, match="nothing to draw"):
        found.plot()


def test_progress_is_told(taken: Any) -> None:
    made, told = taken("short"), []
    acoustic.check(made.path, bearing="6805", marks=made.marks, progress=told.append)
    assert told[0] == "reading"


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ({}, "no bearing was given"),
        ({"bearing": "6805", "spin": "foot"}, "spin is 'foot'"),
        ({"bearing": "6805", "side": "left"}, "side is 'left'"),
        ({"bearing": "6805", "jockey": 11}, "--chainring is missing"),
        ({"bearing": "6805", "chainring": 500}, "500 teeth"),
        ({"bearing": "6805", "turning": "both"}, "'both'"),
        ({"bearing": "6805"}, "there is no file absent.wav"),
    ],
)
def test_it_refuses_what_the_command_refuses(said: dict[str, Any], found: str) -> None:
    with pytest.raises(InputError, match=found):
        acoustic.check("absent.wav", **said)


@pytest.mark.parametrize(("said", "found"), [({"turns": -1.0}, "more than 0"), ({"speed": 60.0}, "steady")])
def test_speed_sources_refuse_what_cannot_be(said: dict[str, Any], found: str, taken: Callable[..., Any]) -> None:
    with pytest.raises(InputError, match=found):
        acoustic.check(taken("outer").path, bearing="6805", spin="hand", **said)


def test_orders_and_bearings() -> None:
    """6805 by hand: ratio 3.5/31 = 0.112903, outer 8 x 0.887097 = 7.0968; at 90 rpm 1.5 times as many a second."""
    found = acoustic.orders(bearing="6805", speed=90)
    assert found.candidates[0].orders.outer_raceway == pytest.approx(7.0968, abs=1e-4)
    assert found.candidates[0].hz.outer_raceway == pytest.approx(10.645, abs=1e-3)
    assert acoustic.bearings("25x37x7")[0].designation == "6805"
    assert len(acoustic.bearings()) > 30
    with pytest.raises(InputError, match="matches 'sofa'"):
        acoustic.bearings("sofa")


@pytest.mark.parametrize("name", ["check", "bearings", "orders"])
@pytest.mark.parametrize(
    "first", ["", "import acoustic.check.pipeline, acoustic.bearings.search", "import acoustic.cli.check"]
)
def test_the_names_can_be_called_whatever_was_imported_before(name: str, first: str) -> None:
    """Python binds an imported package to its name in the package above."""
    code = f"{first}\nimport acoustic, inspect\nfrom acoustic import {name}\nassert {name} is acoustic.{name}\n"
    assert run(f"{code}print(callable({name}), inspect.signature({name}))").startswith("True (")


def test_the_packages_stay_packages() -> None:
    assert acoustic.check.pipeline.check_recording.__module__ == "acoustic.check.pipeline"
    assert acoustic.bearings.search.find.__module__ == "acoustic.bearings.search"
    assert acoustic.check.__doc__
    with pytest.raises(AttributeError, match="no attribute 'chekc'"):
        acoustic.chekc  # noqa: B018


def test_importing_it_loads_nothing() -> None:
    """By module names, not by a stopwatch: nothing of ours, and nothing from beyond the standard library."""
    loaded = run(
        "import sys; before = set(sys.modules); import acoustic; print(*(set(sys.modules) - before))"
    ).split()
    assert {name.partition(".")[0] for name in loaded} - sys.stdlib_module_names == {"acoustic"}
    assert [name for name in loaded if name.startswith("acoustic.")] == []
