"""Nobody without a session sees or changes anything, and no other site does in a session's name."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from browsing import BOUNDARY, Browser, Running, form_of

OPEN = {"/pair", "/help", "/static/{file_path:path}"}


def addresses(counter: Running) -> Iterator[tuple[str, str]]:
    """Every method and address of the page, with ids that do not exist."""
    from acoustic.serve.app import create_app

    for route in create_app(counter.shop).routes:
        for method in sorted(getattr(route, "methods", ())):
            if method not in ("OPTIONS", "HEAD") and not route.path.startswith("/static"):
                path = route.path.replace("{uid:str}", "0" * 32).replace("{number:int}", "0")
                yield method, path


def test_without_a_session_there_is_only_the_way_to_one(counter: Running) -> None:
    stranger = Browser(counter.port)
    looked_at = 0
    for method, path in addresses(counter):
        if path in OPEN:
            continue
        looked_at += 1
        answer = stranger.ask(method, path)
        assert answer.status == 401, (method, path)
        assert "is not paired" in answer.words
    assert looked_at >= 15


def test_a_code_is_good_once(counter: Running) -> None:
    code = counter.shop.pairing.new_code()
    first, second = Browser(counter.port), Browser(counter.port)
    assert first.pair(code).status == 303
    assert first.get("/").status == 200
    assert second.pair(code).status == 403
    assert second.get("/").status == 401


def test_a_code_may_be_typed_in_small_letters_with_blanks(counter: Running) -> None:
    code = counter.shop.pairing.new_code().lower()
    assert Browser(counter.port).pair(f" {code[:5]} - {code[5:]} ").status == 303


def test_the_cookie_is_kept_from_scripts_and_other_sites(counter: Running) -> None:
    cookie = Browser(counter.port).pair(counter.shop.pairing.new_code()).headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_every_page_forbids_what_is_not_ours(browser: Browser) -> None:
    headers = browser.get("/").headers
    assert "default-src 'none'" in headers["content-security-policy"]
    assert "unsafe-inline" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1:1", "[::1]:80"])
def test_another_host_is_refused(browser: Browser, host: str) -> None:
    """A site whose name is made to point at this machine is still another site."""
    assert browser.get("/", Host=host).status == 400


@pytest.mark.parametrize("origin", ["", "null", "http://evil.example", "https://127.0.0.1"])
def test_a_change_from_another_origin_is_refused(counter: Running, browser: Browser, origin: str) -> None:
    token = browser.token()
    for method, path in addresses(counter):
        if method == "POST" and not path.startswith("/api"):  # there a token takes the place of the origin
            assert browser.post(path, {"form_token": token}, Origin=origin).status == 403, path


def test_a_change_without_the_sessions_token_is_refused(counter: Running, browser: Browser) -> None:
    others = counter.browser().token()
    for token in ({}, {"form_token": ""}, {"form_token": others}):
        for method, path in addresses(counter):
            if method == "POST" and path not in ("/pair", "/checks", "/book/look") and not path.startswith("/api"):
                assert browser.post(path, token).status == 403, path
        assert browser.send({**token, "bike": "ticket 1"}, "spin.wav", b"RIFF").status == 403
        kind = f"multipart/form-data; boundary={BOUNDARY}"
        assert browser.ask("POST", "/book/look", form_of(token, "a.zip", b"PK"), Content_Type=kind).status == 403
    assert browser.ask("POST", "/checks", form_of({}, "spin.wav", b"RIFF")).status in (400, 403)


def test_a_device_that_was_ended_is_out(counter: Running, browser: Browser) -> None:
    other = counter.browser()
    mine = counter.shop.pairing.device_of(other.cookie.partition("=")[2])
    assert mine is not None
    assert browser.post(f"/devices/{mine.uid}/end", {"form_token": browser.token()}).status == 303
    assert other.get("/").status == 401
    assert browser.get("/").status == 200


def test_a_code_shown_on_the_page_pairs_a_phone(counter: Running, browser: Browser) -> None:
    answer = browser.post("/devices/code", {"form_token": browser.token()})
    assert answer.status == 200
    assert "not shared with other devices" in answer.words, "this page listens on this machine alone"
