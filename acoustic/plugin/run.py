"""Run a plugin's code so that it harms nothing: its output, its ways to end the program, and how long it takes."""

from __future__ import annotations

import signal
import sys
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from types import FrameType
from typing import TextIO, TypeVar

PATIENCE_S = 2.0  # as the command's own progress

T = TypeVar("T")


class PluginEndedError(Exception):
    """A plugin raised what is meant to end a program, such as SystemExit; the cause holds it."""


def run(name: str, call: Callable[[], T]) -> T:
    """Call a plugin's code.

    Parameters
    ----------
    name : str
        The plugin, as it is named where it takes longer than 2 s.
    call : callable

    Returns
    -------
    object
        What it returns. What it prints stands on stderr.

    Raises
    ------
    Exception
        What it raised; `PluginEndedError` in place of what is no Exception.
    KeyboardInterrupt
        The user pressed Ctrl-C, whatever the plugin made of that.
    """
    with _stdout_aside, _named_when_slow(name), _interrupts() as interrupts:
        try:
            return call()
        except BaseException as error:
            if isinstance(error, Exception):
                raise
            raise PluginEndedError from error
        finally:
            if interrupts:
                raise KeyboardInterrupt


@contextmanager
def tracing() -> Iterator[None]:
    """Within, show the stack trace of what a plugin raises on stderr."""
    token = _traced.set(True)
    try:
        yield
    finally:
        _traced.reset(token)


def traced(error: BaseException) -> None:
    """Show where a plugin raised, where that was asked for."""
    if _traced.get():
        sys.stderr.write("".join(traceback.format_exception(error)))


def reason(error: BaseException) -> str:
    """Say an error by its kind and its text, even one whose text can't be had."""
    if isinstance(error, PluginEndedError) and error.__cause__ is not None:
        error = error.__cause__
    try:
        return f"{type(error).__name__}: {error}"
    except Exception:
        return type(error).__name__


class _StdoutAside:
    """Python's stdout is stderr within; calls may be nested, or made from several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._inside = 0
        self._real: TextIO = sys.stdout

    def __enter__(self) -> None:
        with self._lock:
            if self._inside == 0:
                self._real, sys.stdout = sys.stdout, sys.stderr
            self._inside += 1

    def __exit__(self, *error: object) -> None:
        with self._lock:
            self._inside -= 1
            if self._inside == 0:
                sys.stdout = self._real


_stdout_aside = _StdoutAside()


def _say(text: str) -> None:
    sys.stderr.write(f"acoustic: {text}\n")


_traced: ContextVar[bool] = ContextVar("traced", default=False)
_progress: ContextVar[Callable[[str], None]] = ContextVar("progress", default=_say)


@contextmanager
def telling(progress: Callable[[str], None]) -> Iterator[None]:
    """Within, tell `progress` which plugin is waited for."""
    token = _progress.set(progress)
    try:
        yield
    finally:
        _progress.reset(token)


@contextmanager
def _named_when_slow(name: str) -> Iterator[None]:
    timer = threading.Timer(PATIENCE_S, _progress.get(), [f"waiting for plugin {name}"])
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


@contextmanager
def _interrupts() -> Iterator[list[int]]:
    """Note Ctrl-C: a plugin may raise KeyboardInterrupt by itself, or swallow the user's.

    Python delivers signals to the main thread alone: elsewhere every KeyboardInterrupt is the plugin's own.
    """
    noted: list[int] = []
    usual = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(usual):
        yield noted
        return

    def note(number: int, frame: FrameType | None) -> None:
        noted.append(number)
        usual(number, frame)

    signal.signal(signal.SIGINT, note)
    try:
        yield noted
    finally:
        signal.signal(signal.SIGINT, usual)
