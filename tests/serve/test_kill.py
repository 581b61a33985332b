"""Whatever ends the program: what was acknowledged is judged, once, and nothing goes on running."""

from __future__ import annotations

import itertools
import os
import random
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from browsing import Browser, settings_in
from serving import Served, alive, another, served, wait_until_gone
from wire import Wire, head_of, opening_of

from acoustic.book.opening import open_book
from acoustic.book.visits import list_visits
from acoustic.errors import InputError
from acoustic.serve.shop import open_shop

pytestmark = pytest.mark.broad  # each begins and ends servers of its own


@pytest.fixture(scope="module")
def spin(taken: Callable[..., Any]) -> tuple[bytes, str]:
    made = taken("short_outer")
    return made.path.read_bytes(), made.marks.read_text()


NUMBERS = itertools.count(1)


def send(browser: Browser, spin: tuple[bytes, str], bike: str) -> str:
    said = {"bike": bike, "bearing": "6805", "way": "taps", "marks": spin[1], "form_token": browser.token()}
    answer = browser.send(said, "spin.wav", another(spin[0], next(NUMBERS)))
    assert answer.status == 303, answer.words
    return answer.headers["location"]


def bikes_of_visits(folder: Path) -> list[str]:
    book = open_book(str(folder / "book.db"))
    try:
        with book.reading() as connection:
            return sorted(visit.bike for visit in list_visits(connection))
    finally:
        book.close()


def until_judging(page: Served, patience_s: float = 60) -> list[int]:
    """Wait until a check runs; return all processes."""
    until = time.monotonic() + patience_s
    while not list(page.folder.glob("book.counter/checks/*/progress.txt")):
        assert time.monotonic() < until
        time.sleep(0.02)
    return page.processes()


@pytest.mark.parametrize(
    "number",
    [
        signal.SIGTERM,
        signal.SIGKILL,
        pytest.param(signal.SIGINT, marks=pytest.mark.broad),
        pytest.param(signal.SIGHUP, marks=pytest.mark.broad),
    ],
)
def test_nothing_goes_on_running(tmp_path: Path, spin: tuple[bytes, str], number: int) -> None:
    with served(tmp_path) as page:
        send(page.browser(), spin, "ticket 1")
        running = until_judging(page)
        assert len(running) >= 2
        code = page.end(number)
        assert wait_until_gone(running) == []
    if number == signal.SIGKILL:
        assert code == -signal.SIGKILL
        return
    assert code == 0
    assert "The counter page has ended" in "".join(page.said)
    assert "Traceback" not in "".join(page.said)


def test_what_was_open_at_the_end_is_judged_at_the_next_start(tmp_path: Path, spin: tuple[bytes, str]) -> None:
    with served(tmp_path) as page:
        browser = page.browser()
        addresses = [send(browser, spin, f"ticket {number}") for number in range(4)]
        page.end()
    assert len(bikes_of_visits(tmp_path)) < 4, "ended before all were judged"
    with served(tmp_path, port=page.port) as page:
        for address in addresses:
            assert "outer" in browser.ended(address).words
    assert bikes_of_visits(tmp_path) == [f"ticket {number}" for number in range(4)]


def test_a_killed_worker_is_one_failed_check(tmp_path: Path, spin: tuple[bytes, str]) -> None:
    """Also the one that had nothing to do, as a computer short of memory kills them."""
    with served(tmp_path) as page:
        browser = page.browser()
        browser.ended(send(browser, spin, "before"))
        workers = [pid for pid in page.processes() if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()]
        assert workers
        for pid in workers:
            os.kill(pid, signal.SIGKILL)
        assert wait_until_gone(workers) == []
        assert "outer" in browser.ended(send(browser, spin, "after")).words
        assert alive(page.process.pid)
    assert bikes_of_visits(tmp_path) == ["after", "before"]


@pytest.mark.broad
def test_killed_at_any_time_all_that_was_acknowledged_is_judged_once(
    tmp_path: Path, spin: tuple[bytes, str]
) -> None:
    """Killed ten times, at random: right after an answer, in the middle of an upload, and while it judges."""
    chance, sent, port, browser, halves = random.Random(4), [], None, None, 0
    for round_number in range(10):
        with served(tmp_path, port=port) as page:
            port = page.port
            browser = browser or page.browser()
            for number in range(chance.choice([1, 2, 3])):
                bike = f"ticket {round_number}-{number}"
                sent.append((send(browser, spin, bike), bike))
            if chance.random() < 0.5:
                until_judging(page)
            half = Wire(page.port)  # never acknowledged, and never heard of again
            half.send(head_of(browser, "Content-Length: 1000000") + opening_of(browser) + bytes(100_000))
            time.sleep(chance.uniform(0, 1.5))
            halves += len(list(tmp_path.glob("book.counter/.*.upload")))
            running = page.processes()
            page.end(signal.SIGKILL)
            half.close()
            assert wait_until_gone(running) == []
    assert browser is not None
    assert halves, "some were ended in the middle of an upload"
    with served(tmp_path, port=port) as page:
        for address, _ in sent:
            assert "outer" in browser.ended(address).words
        assert not list(tmp_path.glob("book.counter/.*.upload"))
    assert bikes_of_visits(tmp_path) == sorted(bike for _, bike in sent)


def test_a_second_page_on_the_same_folder_is_refused(tmp_path: Path) -> None:
    settings = settings_in(tmp_path, 1)
    shop = open_shop(settings)
    try:
        with pytest.raises(InputError, match="a counter page runs already"):
            open_shop(settings)
    finally:
        shop.close()
    open_shop(settings).close()
