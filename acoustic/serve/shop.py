"""Everything that a running counter page holds: book, store, codes, queue."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from litestar import Request

from acoustic.book.opening import Book, open_book
from acoustic.errors import InputError
from acoustic.serve.changes import Changes
from acoustic.serve.pairing import Pairing
from acoustic.serve.queue import Queue
from acoustic.serve.settings import Settings
from acoustic.serve.store import Device, Store


@dataclass(frozen=True, slots=True)
class Shop:
    """What the pages work with.

    Attributes
    ----------
    settings : Settings
    book : Book
    store : Store
    pairing : Pairing
    changes : Changes
    queue : Queue
    lock : sqlite3.Connection
        Held while the page runs.
    """

    settings: Settings
    book: Book
    store: Store
    pairing: Pairing
    changes: Changes
    queue: Queue
    lock: sqlite3.Connection

    def close(self) -> None:
        """End the processes and close the files; what is open is taken up at the next start."""
        self.queue.stop()
        self.store.close()
        self.book.close()
        self.lock.close()


def open_shop(settings: Settings) -> Shop:
    """Open the book and what belongs to the page.

    Raises
    ------
    InputError
        The book cannot be opened, or another page runs on the same folder.
    """
    settings.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    lock = _lock(settings.folder)
    try:
        book, changes = open_book(settings.book), Changes()
        store = Store(settings.folder / "counter.db")
        return Shop(settings, book, store, Pairing(store), changes, Queue(settings, store, changes), lock)
    except BaseException:
        lock.close()
        raise


def _lock(folder: Path) -> sqlite3.Connection:
    """Keep a second page out, which would judge what this one judges; the system undoes it whatever ends us."""
    held = sqlite3.connect(folder / "running.lock", timeout=0, isolation_level=None, check_same_thread=False)
    try:
        held.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError:
        held.close()
        raise InputError(
            f"a counter page runs already with what is kept in {folder}",
            hint="Use that one, or end it first; another book is named with --book, another folder with --folder.",
        ) from None
    return held


def shop_of(request: Request[Any, Any, Any]) -> Shop:
    """The running page's."""
    shop: Shop = request.app.state.shop
    return shop


def device_of(request: Request[Any, Any, Any]) -> Device:
    """Who asks; `Access` has seen to it that it is somebody."""
    device: Device = request.state.device
    return device
