"""Worker processes that are there again after one of them was killed."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from multiprocessing import get_context
from typing import TypeVar

from pebble import ProcessPool

T = TypeVar("T")


class Workers:
    """Processes that wait for calls.

    Parameters
    ----------
    count : int
    prepare : callable
        Called in each new process first.
    """

    def __init__(self, count: int, prepare: Callable[[], None]) -> None:
        self._count, self._prepare = count, prepare
        self._pool = self._new()
        self._lock = threading.Lock()

    def start(self) -> None:
        """Begin the processes before the first call."""
        with self._lock:
            _ = self._pool.active

    def call(self, function: Callable[..., T], *args: object, timeout_s: float) -> Future[T]:
        """Call a function in a process.

        The library gives all processes up where one was killed that had nothing to do, as a computer short of
        memory does; they are begun anew then.
        """
        with self._lock:
            try:
                return self._pool.schedule(function, args=args, timeout=timeout_s)
            except RuntimeError:
                threading.Thread(target=_end, args=[self._pool], daemon=True).start()
                self._pool = self._new()
                return self._pool.schedule(function, args=args, timeout=timeout_s)

    def stop(self) -> None:
        """End them, whatever they do."""
        with self._lock:
            _end(self._pool)

    def _new(self) -> ProcessPool:
        # A forked process would share this one's sockets and locks.
        return ProcessPool(max_workers=self._count, initializer=self._prepare, context=get_context("spawn"))


def _end(pool: ProcessPool) -> None:
    pool.stop()  # type: ignore[no-untyped-call] # the library leaves it unsaid
    pool.join()
