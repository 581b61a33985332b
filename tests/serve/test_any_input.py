"""Whatever is typed, tapped or written into an address, a page answers it; none meets a fault of the program."""

from __future__ import annotations

import logging
import random
import re
from pathlib import Path
from urllib.parse import quote, urlencode

import pytest
from browsing import Running

from acoustic.serve.app import create_app
from acoustic.serve.view import environment

VALUES = (
    "",
    " ",
    "x",
    "0",
    "-1",
    "9,5",
    "1e308",
    "nan",
    "inf",
    "\0",
    "\u202e",
    "٣",
    "6805",
    "25x37x7",
    "2026-02-30",
    "2026-11-26",
    "on",
    "drive",
    "a" * 3000,
    "<script>alert(1)</script>",
    "'; DROP TABLE visits; --",
    "../../etc/passwd",
    "24.1, 24.2, 24.3",
    "[]",
    '{"a": 1}',
)
# The stream has no end; wrong codes would hold up the pairing of all that follows, and have tests of their own.
LEFT_OUT = {"/changes", "/pair"}


def names_in_templates() -> list[str]:
    found: set[str] = set()
    for name in environment().list_templates():
        path = environment().loader.get_source(environment(), name)[1]  # type: ignore[union-attr]
        found |= set(re.findall(r'\bname="(\w+)"', Path(str(path)).read_text(encoding="utf-8")))
    return sorted(found - {"form_token", "viewport", "color-scheme"})


def routes(counter: Running, method: str) -> list[str]:
    found = [route.path for route in create_app(counter.shop).routes if method in getattr(route, "methods", ())]
    return sorted(path for path in found if path not in LEFT_OUT and not path.startswith(("/static", "/api")))


@pytest.fixture(scope="module")
def uids(counter: Running) -> list[str]:
    """A check that failed, and none."""
    browser = counter.browser()
    said = {"bike": "any", "bearing": "6805", "form_token": browser.token()}
    address = browser.send(said, "spin.wav", b"no sound").headers["location"]
    browser.ended(address)
    return [address.rpartition("/")[2], "0" * 32, "\0", "..", "é"]


def filled(path: str, uids: list[str], chance: random.Random) -> str:
    def one(found: re.Match[str]) -> str:
        choices = uids if found[1] == "uid" else [*uids, *VALUES[2:12]]
        return quote(chance.choice(choices), safe="") or "x"

    return re.sub(r"\{(\w+):\w+\}", one, path)


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_no_input_meets_a_fault(
    counter: Running, uids: list[str], caplog: pytest.LogCaptureFixture, method: str
) -> None:
    names, chance, browser = names_in_templates(), random.Random(method), counter.browser()
    assert len(names) >= 10
    token, asked, understood = browser.token(), 0, 0
    with caplog.at_level(logging.ERROR):
        for path in routes(counter, method):
            for _ in range(12):
                fields = {
                    name: chance.choice(VALUES) for name in chance.sample(names, chance.randint(0, len(names)))
                }
                address = filled(path, uids, chance)
                if method == "GET":
                    answer = browser.get(f"{address}?{urlencode(fields)}")
                else:
                    answer = browser.post(address, {**fields, "form_token": token})
                asked += 1
                understood += answer.status < 400
                assert answer.status < 500, (address, fields, answer.words)
                if answer.headers.get("content-type", "").startswith("text/html"):
                    assert "<script>alert" not in answer.text, (address, fields)
                if answer.status == 429:
                    browser = counter.browser()
                    token = browser.token()
    assert asked > 100
    assert understood > 20, "not everything was refused at the door"
    assert not [record for record in caplog.records if record.name.startswith("acoustic")]
