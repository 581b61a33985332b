"""Connections that are held open and say nothing are closed, and nobody holds them all."""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any, ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

# Judgement: the head of a request is one packet; the wait for it ends by then even on a bad radio link.
LONGEST_HEAD_S = 10.0
# Judgement: an answer that came early, such as "too large", waits for the rest of what is sent to be shown.
LONGEST_REST_S = 120.0
MOST_OF_ONE_ADDRESS = 64  # judgement: a browser opens six to an address
MOST_CONNECTIONS = 400  # below the thousand files that a process may open on most systems


class Connection(H11Protocol):
    """uvicorn's, with an end to its patience for heads and for what is sent after the answer."""

    open_now: ClassVar[Counter[str]] = Counter()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._timer: asyncio.TimerHandle | None = None
        self._waits_for = ""
        self._counted: str | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, or close it where there are too many."""
        super().connection_made(transport)
        who = self.client[0] if self.client else ""
        if self.open_now[who] >= MOST_OF_ONE_ADDRESS or self.open_now.total() >= MOST_CONNECTIONS:
            transport.abort()
            return
        self.open_now[who] += 1
        self._counted = who
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a connection."""
        if self._timer is not None:
            self._timer.cancel()
        if self._counted is not None:
            who = self._counted
            self.open_now[who] -= 1
            if not self.open_now[who]:
                del self.open_now[who]
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came."""
        super().data_received(data)
        self._watch()

    def on_response_complete(self) -> None:
        """Go on with the next request."""
        super().on_response_complete()
        self._watch()

    def _watch(self) -> None:
        """Begin or end the wait for a head, or for the rest of what was answered already."""
        waits_for = ""
        if self.conn.their_state is h11.IDLE:
            waits_for = "head"
        elif self.conn.our_state in (h11.DONE, h11.MUST_CLOSE):
            waits_for = "rest"
        if waits_for == self._waits_for:
            return
        self._waits_for = waits_for
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if waits_for:
            patience_s = LONGEST_HEAD_S if waits_for == "head" else LONGEST_REST_S
            self._timer = self.loop.call_later(patience_s, self.transport.abort)
