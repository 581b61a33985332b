"""How much one device may ask for, and how long it may take to say it.

A phone gone wild, or a program with a fault in its loop, is held up alone; the others are served.
"""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from litestar.exceptions import TooManyRequestsException
from litestar.types import Receive
from litestar.types.asgi_types import ReceiveMessage

from acoustic.errors import InputError
from acoustic.serve.settings import LONGEST_SILENCE_S, SLOWEST_BYTES_S

# Judgement: a page is six requests, an open one asks twice a second while a check runs.
DEVICE_PER_S, DEVICE_AT_ONCE = 50.0, 250.0
STRANGER_PER_S, STRANGER_AT_ONCE = 10.0, 100.0  # judgement: the pages about pairing, and a slip or two
# Judgement: a mistyped code is tried again at once; whoever guesses has ten codes a minute.
WRONG_CODES_PER_S, WRONG_CODES_AT_ONCE = 10 / 60, 10.0
# Browsers open six connections to a page's address: five streams leave one for the page itself.
MOST_AT_ONCE = {"stream": 5, "upload": 4, "page": 24}
MOST_KEPT = 2000  # judgement: far more than a workshop has devices


class Bucket:
    """Fills with time, and is drawn from.

    Parameters
    ----------
    per_s, most : float
    """

    def __init__(self, per_s: float, most: float) -> None:
        self._per_s, self._most, self._left, self._at = per_s, most, most, 0.0

    def left(self, now_s: float) -> float:
        """How much may be drawn now."""
        if self._at:
            self._left = min(self._most, self._left + (now_s - self._at) * self._per_s)
        self._at = now_s
        return self._left

    def is_full(self, now_s: float) -> bool:
        """Whether nothing would be lost if it were forgotten."""
        return self.left(now_s) >= self._most

    def draw(self, now_s: float) -> bool:
        """Draw one; tell whether there was one."""
        if self.left(now_s) < 1:
            return False
        self._left -= 1
        return True


class Limits:
    """Who has asked how often of late, and what is open now.

    Parameters
    ----------
    clock : callable
        Seconds that only rise; tests give their own.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._buckets: dict[tuple[str, str], Bucket] = {}
        self._open: Counter[tuple[str, str]] = Counter()

    def require_rate(self, who: str, *, paired: bool) -> None:
        """Count a request.

        Raises
        ------
        TooManyRequestsException
            Too many came of late.
        """
        bucket = (
            self._bucket(who, "device", DEVICE_PER_S, DEVICE_AT_ONCE)
            if paired
            else self._bucket(who, "stranger", STRANGER_PER_S, STRANGER_AT_ONCE)
        )
        if not bucket.draw(self._clock()):
            raise TooManyRequestsException("this device asks too often; wait some seconds")

    def require_code(self, who: str) -> None:
        """See whether somebody may try a code.

        Raises
        ------
        TooManyRequestsException
            Too many of theirs were wrong of late.
        """
        if self._wrong_codes(who).left(self._clock()) < 1:
            raise TooManyRequestsException("too many wrong codes came from this device; try again in a minute")

    def count_wrong_code(self, who: str) -> None:
        """Remember that a code was wrong."""
        self._wrong_codes(who).draw(self._clock())

    @contextmanager
    def held(self, who: str, kind: str) -> Iterator[None]:
        """Count what is open at one time.

        Raises
        ------
        TooManyRequestsException
            So many are open already.
        """
        if self._open[who, kind] >= MOST_AT_ONCE[kind]:
            raise TooManyRequestsException("too much is open on this device at once; close another page of it")
        self._open[who, kind] += 1
        try:
            yield
        finally:
            self._open[who, kind] -= 1
            if not self._open[who, kind]:
                del self._open[who, kind]

    def _wrong_codes(self, who: str) -> Bucket:
        return self._bucket(who, "code", WRONG_CODES_PER_S, WRONG_CODES_AT_ONCE)

    def _bucket(self, who: str, kind: str, per_s: float, most: float) -> Bucket:
        if len(self._buckets) > MOST_KEPT:
            now_s = self._clock()
            self._buckets = {key: one for key, one in self._buckets.items() if not one.is_full(now_s)}
        return self._buckets.setdefault((who, kind), Bucket(per_s, most))


def patient(receive: Receive, clock: Callable[[], float] = time.monotonic) -> Receive:
    """The same body, but whoever sends it must neither fall silent nor drip.

    Raises
    ------
    InputError
        From a call: nothing came for too long, or all of it comes too slowly.
    """
    begun, count, done = clock(), 0, False

    async def wait() -> ReceiveMessage:
        nonlocal count, done
        if done:
            return await receive()
        late = begun + LONGEST_SILENCE_S + count / SLOWEST_BYTES_S - clock()
        try:
            async with asyncio.timeout(min(LONGEST_SILENCE_S, late)):
                message = await receive()
        except TimeoutError:
            raise InputError(
                f"what is sent comes too slowly: {count // 1000} kB so far, and then nothing for too long",
                hint="Come closer to the network's antenna, then send it again.",
            ) from None
        done = True
        if message["type"] == "http.request":
            count += len(message["body"])
            done = not message["more_body"]
        return message

    return wait
