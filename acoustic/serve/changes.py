"""Tell all open pages that something changed: from any thread, to any number that wait."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator

# A page that hears nothing for so long cannot tell a quiet shop from a dead connection.
HEARTBEAT_S = 15.0
# Each page that hears of a change asks for what changed; several in one blink are one to people (judgement).
LEAST_S = 0.15


class Changes:
    """A count that rises with every change."""

    def __init__(self) -> None:
        self.count = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: set[asyncio.Event] = set()
        self._ended = False

    def bind(self) -> None:
        """Take the running event loop for the one in which pages wait."""
        self._loop = asyncio.get_running_loop()

    def tell(self) -> None:
        """Say that something changed."""
        self.count += 1
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        for event in self._waiting:
            event.set()

    def end(self) -> None:
        """Let nobody wait any longer; called in the event loop."""
        self._ended = True
        self._wake()

    async def follow(self) -> AsyncIterator[int]:
        """Yield the count at once, soon after every change, and now and then as a sign of life."""
        event = asyncio.Event()
        self._waiting.add(event)
        try:
            while not self._ended:
                event.clear()
                yield self.count
                await asyncio.sleep(LEAST_S)
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(event.wait(), HEARTBEAT_S)
        finally:
            self._waiting.discard(event)
