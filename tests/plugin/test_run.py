"""A plugin's code harms nothing: what it prints, how it ends, how long it takes."""

from __future__ import annotations

import signal
import sys
import threading
import time
from typing import Any

import pytest

from acoustic.plugin.run import PATIENCE_S, PluginEndedError, reason, run, telling, traced, tracing


def raising(error: BaseException) -> Any:
    def call() -> None:
        raise error

    return call


def test_what_it_returns() -> None:
    assert run("a", lambda: 3) == 3


def test_what_it_prints_is_on_stderr(capsys: pytest.CaptureFixture[str]) -> None:
    run("a", lambda: print("hello"))
    print("the result")
    assert capsys.readouterr() == ("the result\n", "hello\n")


def test_stdout_is_back_after_many_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    """Eight threads whose calls overlap, so that one leaves while others are within."""
    before = sys.stdout
    calls = [threading.Thread(target=run, args=("a", lambda s=s: time.sleep(s))) for s in (0.01, 0.03, 0.02) * 3]
    for call in calls:
        call.start()
    for call in calls:
        call.join()
    assert sys.stdout is before


@pytest.mark.parametrize("error", [ValueError("no chain"), MemoryError(), RecursionError("deep")])
def test_an_error_passes_as_it_is(error: Exception) -> None:
    with pytest.raises(type(error)) as caught:
        run("a", raising(error))
    assert caught.value is error


class Odd(BaseException):
    """What no `except Exception` meets."""


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (SystemExit(3), "SystemExit: 3"),
        (KeyboardInterrupt("mine"), "KeyboardInterrupt: mine"),
        (GeneratorExit("over"), "GeneratorExit: over"),
        (Odd("odd"), "Odd: odd"),
    ],
)
def test_what_would_end_the_program_becomes_an_error(error: BaseException, said: str) -> None:
    with pytest.raises(PluginEndedError) as caught:
        run("a", raising(error))
    assert reason(caught.value) == said


def test_the_user_s_ctrl_c_passes() -> None:
    with pytest.raises(KeyboardInterrupt):
        run("a", lambda: signal.raise_signal(signal.SIGINT))


@pytest.mark.parametrize("then", [None, ValueError("interrupted")])
def test_the_user_s_ctrl_c_cannot_be_swallowed(then: Exception | None) -> None:
    def call() -> None:
        try:
            signal.raise_signal(signal.SIGINT)
        except BaseException:
            if then is not None:
                raise then from None

    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt):
        run("a", call)
    assert signal.getsignal(signal.SIGINT) is before


def test_in_another_thread_no_interrupt_is_the_user_s() -> None:
    caught: list[BaseException] = []

    def call() -> None:
        try:
            run("a", raising(KeyboardInterrupt()))
        except BaseException as error:
            caught.append(error)

    thread = threading.Thread(target=call)
    thread.start()
    thread.join()
    assert [type(error) for error in caught] == [PluginEndedError]


def test_one_that_takes_long_is_named_meanwhile(monkeypatch: pytest.MonkeyPatch) -> None:
    """2 s in earnest; a twentieth of a second here. It is told before the call is over, and once."""
    assert PATIENCE_S == 2.0
    monkeypatch.setattr("acoustic.plugin.run.PATIENCE_S", 0.05)
    told: list[str] = []

    def call() -> list[str]:
        time.sleep(0.3)
        return list(told)

    with telling(told.append):
        meanwhile = run("slow-one", call)
        run("quick-one", lambda: None)
    assert meanwhile == told == ["waiting for plugin slow-one"]


def test_without_anybody_to_tell_it_is_said_on_stderr(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("acoustic.plugin.run.PATIENCE_S", 0.05)
    run("slow-one", lambda: time.sleep(0.3))
    assert capsys.readouterr().err == "acoustic: waiting for plugin slow-one\n"


def test_an_error_that_cannot_be_said_is_named_by_its_kind() -> None:
    class MuteError(Exception):
        def __str__(self) -> str:
            raise RuntimeError("no words")

    assert reason(MuteError()) == "MuteError"


def test_where_a_plugin_raised_is_shown_where_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    error = ValueError("no eyes")
    traced(error)
    assert capsys.readouterr().err == ""
    with tracing():
        traced(error)
    assert "ValueError: no eyes" in capsys.readouterr().err
