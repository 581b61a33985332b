"""What hostile or broken senders do is refused in a sentence, leaves nothing behind, and holds nobody up."""

from __future__ import annotations

import errno
import json
import logging
import re
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import BOUNDARY, Browser, Running, form_of

from acoustic.serve import connection, limits, uploads

MULTIPART = {"Content_Type": f"multipart/form-data; boundary={BOUNDARY}"}


def said_by(browser: Browser, **more: str) -> dict[str, str]:
    return {"form_token": browser.token(), "bike": "t", "bearing": "6805", **more}


def left_behind(counter: Running) -> list[Path]:
    return list(counter.shop.settings.folder.glob(".*.upload"))


class Wire:
    """Bytes to and from the server, as no browser would send them."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=20)

    def __enter__(self) -> Wire:
        return self

    def __exit__(self, *_: object) -> None:
        self._socket.close()

    def send(self, content: bytes) -> None:
        self._socket.sendall(content)

    def read(self) -> bytes:
        """All that comes until the server closes the connection, or an answer is whole."""
        came = b""
        while True:
            try:
                more = self._socket.recv(65536)
            except ConnectionResetError:
                return came
            came += more
            if not more or came.endswith((b"</html>", b"</html>\n")):
                return came


def head_of(browser: Browser, length: str, path: str = "/checks") -> bytes:
    at = f"127.0.0.1:{browser.port}"
    lines = [f"POST {path} HTTP/1.1", f"Host: {at}", f"Origin: http://{at}", f"Cookie: {browser.cookie}", length]
    lines.append(f"Content-Type: multipart/form-data; boundary={BOUNDARY}")
    return "\r\n".join([*lines, "", ""]).encode()


def opening_of(browser: Browser) -> bytes:
    """A form up to the recording's first byte."""
    return form_of(said_by(browser), "spin.wav", b"").partition(b"\r\n--" + BOUNDARY.encode() + b"--")[0]


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


# Tricks


@pytest.fixture
def refusing_log(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Nothing that is asked may be a fault of ours."""
    with caplog.at_level(logging.ERROR):
        yield
    assert not [record for record in caplog.records if record.name.startswith("acoustic")]


STATIC_TRICKS = [
    "/static/../settings.py",
    "/static/..%2fsettings.py",
    "/static/%2e%2e/settings.py",
    "/static/%2e%2e%2f%2e%2e%2fsettings.py",
    "/static/....//settings.py",
    "/static/..%5csettings.py",
    "/static//etc/passwd",
    "/static/%2fetc%2fpasswd",
    "/static/",
    "/static/.",
    "/static/counter.css%00.py",
    "/static/%00",
    "/static/" + "a" * 5000,
    "/static/%ff%fe",
    "/static/../api/visits",
    "/static/../devices",
]


@pytest.mark.usefixtures("refusing_log")
@pytest.mark.parametrize("path", STATIC_TRICKS)
def test_the_open_folder_leads_nowhere_else(counter: Running, path: str) -> None:
    stranger = Browser(counter.port)
    assert stranger.get("/static/counter.css").status == 200
    answer = stranger.get(path)
    assert 400 <= answer.status < 500, answer.words
    assert b"MOST_UPLOAD_BYTES" not in answer.body
    assert b"root:" not in answer.body


@pytest.mark.usefixtures("refusing_log")
@pytest.mark.parametrize("path", ["/pair/", "/pairs", "/pair/../devices", "/help/x", "/Pair", "//pair", "/static"])
def test_near_an_open_address_nothing_is_open(counter: Running, path: str) -> None:
    answer = Browser(counter.port).get(path)
    assert answer.status in (401, 404) or (answer.status == 200 and "Pair this device" in answer.words), path
    assert "Devices" not in re.sub(r"“Devices”", "", answer.words)


@pytest.mark.usefixtures("refusing_log")
@pytest.mark.parametrize(
    "path",
    [
        "/checks/..%2f..%2fcounter.db",
        "/checks/..%2f..%2fcounter.db/recording",
        "/checks/%2e%2e/recording",
        "/checks/%00",
        "/checks/%ff",
        "/checks/" + "a" * 10_000,
        "/checks/x/picture/999999999999999999999999",
        "/checks/x/picture/-1",
        "/bikes/%00%ff",
        "/new?bike=%00&bearing=%ff",
        "/new?bike=" + "a" * 10_000,
        "/new?bike=%3Cscript%3Ealert(1)%3C/script%3E",
        "/new?bike=a&bike=b&bike[]=c",
        "/%E2%80%AE",
        "/changes/../devices",
    ],
)
def test_no_address_makes_a_fault(browser: Browser, path: str) -> None:
    answer = browser.get(path)
    assert answer.status < 500
    assert "<script>alert" not in answer.text
    assert "SQLite" not in answer.text


@pytest.mark.usefixtures("refusing_log")
@pytest.mark.parametrize(
    ("header", "text"),
    [
        ("Cookie", "crank-8321=" + "a" * 10_000),
        ("Cookie", "crank-8321=\xe9\xff; =; ;;; a=b=c"),
        ("Cookie", "\x80" * 100),
        ("Authorization", "Bearer " + "a" * 10_000),
        ("Authorization", "Bearer \xe9\xff"),
        ("Authorization", "Bearer"),
        ("Authorization", "Basic YTpi"),
        ("Content_Type", "multipart/form-data; boundary="),
        ("Accept_Language", "\xff" * 5000),
        ("X_Forwarded_For", "' OR 1=1 --"),
    ],
)
def test_no_header_makes_a_fault(counter: Running, header: str, text: str) -> None:
    assert Browser(counter.port).get("/", **{header: text}).status == 401


@pytest.mark.usefixtures("refusing_log")
@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("multipart/form-data; boundary=x", b""),
        ("multipart/form-data; boundary=x", b"--x--"),
        ("multipart/form-data; boundary=x", b"--x\r\nContent-Disposition: form-data; name=\r\n\r\n"),
        ("multipart/form-data; boundary=" + "x" * 5000, b"--x\r\n"),
        ("multipart/form-data; boundary=\xe9", b"--\xe9\r\n"),
        (
            "multipart/form-data; boundary=x",
            b'--x\r\nContent-Disposition: form-data; name="a"\r\n\r\n' + b"a" * 9999,
        ),
        ("multipart/form-data; boundary=x", b"--x\r\n" + b"A: b\r\n" * 50_000),
        ("application/json", b"[" * 100_000),
        ("", b"\xff" * 1000),
    ],
)
def test_no_form_makes_a_fault(counter: Running, browser: Browser, kind: str, body: bytes) -> None:
    answer = browser.ask("POST", "/checks", body, Content_Type=kind)
    assert answer.status in (400, 403)
    assert left_behind(counter) == []


@pytest.mark.usefixtures("refusing_log")
@pytest.mark.parametrize("path", ["/pair", "/devices/code", "/devices/program"])
@pytest.mark.parametrize(
    "body",
    [b"&".join(b"a=%d" % number for number in range(500)), b"%ff=%ff&form_token=%ff", b"a" * 300_000, b"=&=&;"],
)
def test_no_small_form_makes_a_fault(browser: Browser, path: str, body: bytes) -> None:
    assert browser.ask("POST", path, body).status in (400, 403, 413)


@pytest.mark.usefixtures("refusing_log")
def test_long_names_and_scripts_are_shown_and_not_run(counter: Running, browser: Browser) -> None:
    script = "<script>alert(1)</script>"
    for name in ("n" * 10_000, script, "\x00\x1b[31m", "\u202egpj.exe"):
        code = counter.shop.pairing.new_code()
        assert Browser(counter.port).pair(code, name).status == 303
    page = browser.get("/devices")
    assert page.status == 200
    assert script not in page.text
    assert "n" * 201 not in page.text
    answer = browser.send(
        said_by(browser, bike=script * 400, notes="\x00" * 10_000), "n" * 10_000 + ".wav", b"RIFF"
    )
    assert answer.status in (303, 400)
    if answer.status == 303:
        browser.ended(answer.headers["location"])
    assert script not in browser.get("/").text
    assert left_behind(counter) == []


def test_no_other_method_is_a_way_in(counter: Running) -> None:
    for method in ("PUT", "DELETE", "PATCH", "TRACE", "OPTIONS", "HEAD", "CONNECT", "X"):
        at = f"127.0.0.1:{counter.port}"
        with Wire(counter.port) as wire:
            wire.send(f"{method} /devices HTTP/1.1\r\nHost: {at}\r\nConnection: close\r\n\r\n".encode())
            status = wire.read().partition(b"\r\n")[0].split()[1]
        assert status in (b"400", b"401", b"403", b"405"), method


def test_an_upgrade_is_no_way_in(counter: Running) -> None:
    at = f"127.0.0.1:{counter.port}"
    with Wire(counter.port) as wire:
        lines = [f"Host: {at}", "Connection: Upgrade", "Upgrade: websocket", "Sec-WebSocket-Version: 13"]
        wire.send("\r\n".join(["GET /changes HTTP/1.1", *lines, "", ""]).encode())
        assert b" 401 " in wire.read().partition(b"\r\n")[0]


def test_the_usual_ports_are_left_away_by_browsers() -> None:
    from acoustic.serve.settings import Settings

    def hosts(port: int, *, secure: bool) -> tuple[str, ...]:
        return Settings(book=None, folder=Path(), names=("bench.local",), port=port, secure=secure).addresses

    assert hosts(80, secure=False) == ("http://bench.local",)
    assert hosts(443, secure=True) == ("https://bench.local",)
    assert hosts(443, secure=False) == ("http://bench.local:443",)
    assert hosts(8321, secure=True) == ("https://bench.local:8321",)


# Secrets


def test_nothing_secret_is_logged_or_stands_in_an_address(
    counter: Running, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> Any:
        raise RuntimeError("on purpose")

    with caplog.at_level(logging.DEBUG):
        code = counter.shop.pairing.new_code()
        browser = Browser(counter.port)
        paired = browser.pair(code)
        token = browser.token()
        browser.send(said_by(browser), "spin.wav", b"RIFF")
        monkeypatch.setattr(counter.shop.store, "newest_checks", broken)
        assert browser.get("/?secret=1").status == 500
    assert "on purpose" in caplog.text, "the log is the one that is looked at"
    secret = browser.cookie.partition("=")[2]
    assert len(secret) > 30
    for word in (code, secret, token):
        assert word not in caplog.text
        assert word not in paired.headers["location"]
    assert "secret=1" not in caplog.text
    assert json.dumps(browser.get("/devices").text).count(secret) == 0
    assert browser.cookie.startswith(f"crank-{counter.port}=")
