"""Odd addresses, headers, forms and names are refused in a sentence; none is a fault, a way in, or run."""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browsing import Browser, Running
from wire import Wire, left_behind, said_by


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
    shared = Settings(book=None, folder=Path(), names=("192.0.2.7", "127.0.0.1"), port=80, secure=False)
    assert shared.shared_addresses == ("http://192.0.2.7",)
    assert shared.own_address == "http://127.0.0.1"
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
