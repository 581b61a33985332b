"""Everything that a running counter page holds: book, store, codes, queue."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from litestar import Request

from acoustic.book.opening import Book, open_book
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
    """

    settings: Settings
    book: Book
    store: Store
    pairing: Pairing
    changes: Changes
    queue: Queue

    def close(self) -> None:
        """End the processes and close the files; what is open is taken up at the next start."""
        self.queue.stop()
        self.store.close()
        self.book.close()


def open_shop(settings: Settings) -> Shop:
    """Open the book and what belongs to the page.

    Raises
    ------
    InputError
        The book cannot be opened.
    """
    settings.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    book, changes = open_book(settings.book), Changes()
    store = Store(settings.folder / "counter.db")
    return Shop(settings, book, store, Pairing(store), changes, Queue(settings, store, changes))


def shop_of(request: Request[Any, Any, Any]) -> Shop:
    """The running page's."""
    shop: Shop = request.app.state.shop
    return shop


def device_of(request: Request[Any, Any, Any]) -> Device:
    """Who asks; `Access` has seen to it that it is somebody."""
    device: Device = request.state.device
    return device
