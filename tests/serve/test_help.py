"""Help is there for whoever cannot get in, and names what the page really says and does."""

from __future__ import annotations

from browsing import Browser, Running

from acoustic.serve import limits, settings


def test_it_is_read_without_a_session(counter: Running, browser: Browser) -> None:
    stranger = Browser(counter.port)
    page = stranger.get("/help")
    assert page.status == 200
    assert 'href="/help"' in stranger.get("/").text
    assert 'href="/help"' in stranger.get("/pair").text
    assert 'href="/devices"' not in page.text, "no way past the pairing"
    assert browser.get("/help").status == 200


def test_it_speaks_of_each_thing_that_stands_in_the_way(counter: Running) -> None:
    words = Browser(counter.port).get("/help").words
    for thing in (
        "cannot open the page",
        "certificate",
        "No microphone",
        "No motion",
        "camera",
        "firewall",
        "--share",
    ):
        assert thing.lower() in words.lower(), thing


def test_what_it_says_is_what_holds(counter: Running) -> None:
    words = Browser(counter.port).get("/help").words.replace("&quot;", '"')
    assert f"{settings.MOST_UPLOAD_BYTES // 1_000_000} MB" in words
    assert int(limits.WRONG_CODES_AT_ONCE) == 10
    assert "After ten wrong codes" in words
    assert settings.MOST_OF_ONE_DEVICE == 30
    assert "thirty recordings" in words
    wrong_host = Browser(counter.port).get("/", Host="evil.example").words
    assert "address in the browser" in wrong_host
    assert f"http://127.0.0.1:{counter.port}" in wrong_host, "and which is the right one"
    assert "none of the counter page" in words
