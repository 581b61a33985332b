"""What hostile or broken senders do is refused in a sentence, leaves nothing behind, and holds nobody up."""

from __future__ import annotations

import errno
import time

import pytest
from browsing import Browser, Running
from wire import Wire, head_of, left_behind, opening_of, said_by

from acoustic.serve import connection, limits, uploads

# Too much


def test_three_gigabytes_are_refused_before_they_are_sent(counter: Running, browser: Browser) -> None:
    with Wire(counter.port) as wire:
        wire.send(head_of(browser, "Content-Length: 3000000000"))
        answer = wire.read().decode()
    assert " 413 " in answer.partition("\r\n")[0]
    assert "larger than 600 MB" in answer
    assert "quarter of a minute" in answer


@pytest.mark.parametrize("length", ["Transfer-Encoding: chunked", "Content-Length: 500000000"])
def test_a_body_without_end_is_ended(
    counter: Running, browser: Browser, monkeypatch: pytest.MonkeyPatch, length: str
) -> None:
    monkeypatch.setattr(uploads, "MOST_UPLOAD_BYTES", 2_000_000)
    opening = opening_of(browser)
    with Wire(counter.port) as wire:
        chunked = "chunked" in length

        def part(content: bytes) -> bytes:
            return b"%x\r\n%b\r\n" % (len(content), content) if chunked else content

        wire.send(head_of(browser, length) + part(opening))
        for _ in range(40):
            wire.send(part(bytes(64_000)))
        answer = wire.read().decode()
    assert " 400 " in answer.partition("\r\n")[0]
    assert "larger than" in answer or "too large" in answer
    assert left_behind(counter) == []


def test_the_answer_waits_for_what_is_still_sent(
    counter: Running, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A browser that is cut off while it sends shows an error of its own instead of ours."""
    monkeypatch.setattr(uploads, "MOST_UPLOAD_BYTES", 2_000_000)
    answer = browser.send(said_by(browser), "film.mp4", bytes(30_000_000))
    assert answer.status == 400
    assert "larger than" in answer.words or "too large" in answer.words


def test_a_full_disk_is_a_sentence(counter: Running, browser: Browser, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    said = said_by(browser)
    with monkeypatch.context() as patch:
        patch.setattr(uploads.os, "write", full)
        answer = browser.send(said, "spin.wav", b"RIFF" * 1000)
    assert answer.status == 400
    assert "The disk of the workshop's computer is full" in answer.text.replace("&#39;", "'")
    assert left_behind(counter) == []
    monkeypatch.setattr(uploads, "LEAST_FREE_BYTES", 10**18)
    answer = browser.send(said, "spin.wav", b"RIFF" * 1000)
    assert answer.status == 400
    assert "is full" in answer.words
    assert left_behind(counter) == []


def test_one_device_cannot_fill_the_queue(
    counter: Running, browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    from acoustic.errors import InputError
    from acoustic.serve import queue

    monkeypatch.setattr(
        counter.shop.store, "count_open", lambda device=None: {None: 31, "bench phone": 30}.get(device, 0)
    )
    counter.shop.queue.require_room("another phone")
    with pytest.raises(InputError, match="30 recordings wait"):
        counter.shop.queue.require_room("bench phone")
    monkeypatch.setattr(queue, "MOST_WAITING", 31)
    with pytest.raises(InputError, match="31 recordings wait"):
        counter.shop.queue.require_room("another phone")


# Too slow


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "LONGEST_HEAD_S", 0.5)
    monkeypatch.setattr(limits, "LONGEST_SILENCE_S", 0.5)


@pytest.mark.usefixtures("hasty")
@pytest.mark.parametrize("begun", [b"", b"GET / HTTP/1.1\r\nHost: 127"])
def test_who_does_not_finish_a_head_is_cut_off(counter: Running, begun: bytes) -> None:
    at = time.monotonic()
    with Wire(counter.port) as wire:
        wire.send(begun)
        assert wire.read() == b""
    assert 0.3 < time.monotonic() - at < 5


@pytest.mark.usefixtures("hasty")
def test_who_drips_a_head_is_cut_off(counter: Running) -> None:
    with Wire(counter.port) as wire, pytest.raises(OSError):
        for sign in b"GET / HTTP/1.1\r\n" + b"X: y\r\n" * 100:
            wire.send(bytes([sign]))
            time.sleep(0.05)


@pytest.mark.usefixtures("hasty")
def test_who_falls_silent_in_a_body_is_told_so(counter: Running, browser: Browser) -> None:
    opening = opening_of(browser)
    with Wire(counter.port) as wire:
        wire.send(head_of(browser, "Content-Length: 1000000") + opening)
        answer = wire.read().decode()
    assert " 400 " in answer.partition("\r\n")[0]
    assert "comes too slowly" in answer
    assert left_behind(counter) == []


@pytest.mark.usefixtures("hasty")
def test_who_drips_a_body_is_told_so(counter: Running, browser: Browser) -> None:
    """Never silent for long, but 10 bytes in a twentieth of a second are 200 in one."""
    opening = opening_of(browser)
    with Wire(counter.port) as wire:
        wire.send(head_of(browser, "Content-Length: 1000000") + opening)
        for _ in range(16):
            wire.send(bytes(10))
            time.sleep(0.05)
        answer = wire.read().decode()
    assert "comes too slowly" in answer


@pytest.mark.usefixtures("hasty")
def test_a_strangers_slow_form_is_ended_too(counter: Running) -> None:
    with Wire(counter.port) as wire:
        wire.send(head_of(Browser(counter.port), "Content-Length: 100", "/pair"))
        assert b"comes too slowly" in wire.read()


def test_a_sender_who_goes_away_leaves_nothing(
    counter: Running, browser: Browser, caplog: pytest.LogCaptureFixture
) -> None:
    opening = opening_of(browser)
    with Wire(counter.port) as wire:
        wire.send(head_of(browser, "Content-Length: 1000000") + opening + bytes(100_000))
        until = time.monotonic() + 10
        while not left_behind(counter):
            assert time.monotonic() < until
    while left_behind(counter):
        assert time.monotonic() < until
    assert "Traceback" not in caplog.text


# Too often


def test_one_address_cannot_hold_all_connections(counter: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "MOST_OF_ONE_ADDRESS", 8)
    wires = [Wire(counter.port) for _ in range(8)]
    try:
        with Wire(counter.port) as one_more:
            assert one_more.read() == b""
    finally:
        for wire in wires:
            wire.__exit__()
    until = time.monotonic() + 10
    while connection.Connection.open_now.total() > 6:
        assert time.monotonic() < until
    assert Browser(counter.port).get("/pair").status == 200


def test_streams_are_counted(counter: Running, browser: Browser) -> None:
    at = f"127.0.0.1:{counter.port}"
    ask = f"GET /changes HTTP/1.1\r\nHost: {at}\r\nCookie: {browser.cookie}\r\n\r\n".encode()
    wires = [Wire(counter.port) for _ in range(limits.MOST_AT_ONCE["stream"])]
    try:
        for wire in wires:
            wire.send(ask)
            assert b" 200 " in wire._socket.recv(4096)
        with Wire(counter.port) as one_more:
            one_more.send(ask)
            assert b" 429 " in one_more.read()
        assert counter.browser().get("/").status == 200
    finally:
        for wire in wires:
            wire.__exit__()
    until = time.monotonic() + 10
    while browser.get("/").status == 200:  # what was closed is not counted any longer
        with Wire(counter.port) as again:
            again.send(ask)
            if b" 200 " in again._socket.recv(4096):
                break
        assert time.monotonic() < until


def test_a_stream_ends_with_its_session(counter: Running, browser: Browser) -> None:
    at = f"127.0.0.1:{counter.port}"
    with Wire(counter.port) as wire:
        wire.send(f"GET /changes HTTP/1.1\r\nHost: {at}\r\nCookie: {browser.cookie}\r\n\r\n".encode())
        assert b" 200 " in wire._socket.recv(4096)
        mine = counter.shop.pairing.device_of(browser.cookie.partition("=")[2])
        assert mine is not None
        counter.shop.store.end_device(mine.uid)
        before = counter.shop.changes.count
        counter.shop.changes.tell()
        rest = b""
        while not rest.endswith(b"0\r\n\r\n"):
            more = wire._socket.recv(4096)
            assert more
            rest += more
        assert b"data: %d" % (before + 1) not in rest


def test_rates() -> None:
    class Clock:
        now = 1.0

        def __call__(self) -> float:
            return self.now

    clock = Clock()
    kept = limits.Limits(clock)
    for _ in range(int(limits.DEVICE_AT_ONCE)):
        kept.require_rate("phone", paired=True)
    with pytest.raises(limits.TooManyRequestsException):
        kept.require_rate("phone", paired=True)
    kept.require_rate("laptop", paired=True)
    clock.now += 1
    for _ in range(int(limits.DEVICE_PER_S)):
        kept.require_rate("phone", paired=True)
    with pytest.raises(limits.TooManyRequestsException):
        kept.require_rate("phone", paired=True)


def test_who_guesses_codes_holds_up_nobody_else() -> None:
    clock = lambda: 1.0  # noqa: E731
    kept = limits.Limits(clock)
    for _ in range(int(limits.WRONG_CODES_AT_ONCE)):
        kept.require_code("10.0.0.9")
        kept.count_wrong_code("10.0.0.9")
    with pytest.raises(limits.TooManyRequestsException):
        kept.require_code("10.0.0.9")
    kept.require_code("10.0.0.8")


def test_what_is_remembered_of_strangers_is_bounded() -> None:
    now_s = [1.0]
    kept = limits.Limits(lambda: now_s[0])
    for number in range(3 * limits.MOST_KEPT):
        now_s[0] += 1
        kept.require_rate(f"10.0.{number}", paired=False)
    assert len(kept._buckets) <= limits.MOST_KEPT + 1
