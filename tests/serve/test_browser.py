"""The page in a real browser: paired by the code's address, recorded in, looked at, used by keys alone."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile
from axe_playwright_python.sync_playwright import Axe
from browsing import Running
from playwright.sync_api import BrowserContext, Page, Response, sync_playwright

from acoustic.book.visits import list_visits
from acoustic.dsp.geometry import BearingGeometry
from acoustic.simulator import SpinPlan, simulate

WIDTHS = (360, 390, 1280)
ADDRESSES = (
    "/",
    "/new",
    "/record",
    "/bikes",
    "/creak",
    "/more",
    "/devices",
    "/guide",
    "/guide/recording",
    "/due",
    "/fit?bearing=6806&bore-0=41,99",
    "/lifetimes",
    "/book",
)
MOST_BYTES = 150_000


@pytest.fixture(scope="module")
def spin(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[float]]:
    """A damaged bearing's spin, as a microphone that the browser takes for its own."""
    geometry = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
    made = simulate(SpinPlan(geometry=geometry, defects=(("outer_raceway", -2.0),), duration_s=13.0, seed=5))
    path = tmp_path_factory.mktemp("fake") / "spin.wav"
    soundfile.write(path, made.samples, made.sample_rate_hz, subtype="PCM_16")
    return path, [float(mark) for mark in made.marks_s]


@pytest.fixture(scope="module")
def context(spin: tuple[Path, list[float]]) -> Iterator[BrowserContext]:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("there is no chromium on PATH")
        pytest.skip("there is no chromium on PATH, so the page was opened in no browser")
    switches = [
        "--no-sandbox",
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={spin[0]}%noloop",
    ]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=switches)
        made = browser.new_context()
        yield made
        browser.close()


@pytest.fixture(scope="module")
def address(counter: Running, context: BrowserContext) -> str:
    """Paired, by the address that a code shows."""
    base = f"http://127.0.0.1:{counter.port}"
    page = context.new_page()
    page.goto(f"{base}/pair#{counter.shop.pairing.new_code()}")
    assert page.evaluate("location.hash") == "", "the code stays in no history"
    page.get_by_role("button", name="Pair").click()
    page.wait_for_url(f"{base}/")
    page.close()
    return base


@pytest.fixture
def page(context: BrowserContext, address: str) -> Iterator[Page]:
    """A page on which nothing may go wrong unseen, and which asks nobody else."""
    made = context.new_page()
    wrong: list[str] = []
    made.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    made.on("pageerror", lambda error: wrong.append(str(error)))
    made.on(
        "request",
        lambda request: None if request.url.startswith((address, "data:", "blob:")) else wrong.append(request.url),
    )
    yield made
    made.close()
    assert not wrong


@pytest.mark.parametrize("path", ADDRESSES)
def test_a_page_is_small_fits_and_can_be_used_by_all(page: Page, address: str, path: str) -> None:
    answers: list[Response] = []
    page.on("response", lambda answer: None if answer.url.endswith("/changes") else answers.append(answer))
    begun = time.monotonic()
    page.goto(address + path, wait_until="load")
    assert time.monotonic() - begun < (10 if os.environ.get("CI") else 5)
    assert 4000 < sum(len(answer.body()) for answer in answers if not answer.url.startswith("data:")) < MOST_BYTES
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        tags = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
        found = Axe().run(page, options=tags)
        assert found.violations_count == 0, found.generate_report()


@pytest.mark.broad
def test_a_spin_recorded_and_tapped_in_the_page(
    counter: Running, page: Page, address: str, spin: tuple[Path, list[float]]
) -> None:
    page.goto(f"{address}/record")
    page.get_by_label("Ticket or bike").fill("ticket 31")
    page.get_by_role("textbox", name="Bearing").fill("6805")
    page.get_by_role("button", name="Begin").click()
    page.evaluate(
        """marks => { for (const mark of marks) setTimeout(() =>
            document.getElementById("tap").dispatchEvent(new PointerEvent("pointerdown")), 1000 * mark); }""",
        spin[1],
    )
    page.locator("#guide", has_text="If it stands, end and send").wait_for(timeout=40_000)
    page.get_by_role("button", name="It stands").click()
    page.wait_for_url("**/checks/*", timeout=60_000)
    page.wait_for_selector("[data-done]", timeout=60_000)
    with counter.shop.book.reading() as connection:
        (visit,) = list_visits(connection, bike="ticket 31")
    check = visit.verdicts[0].check
    assert check.motion is not None
    assert check.motion.source == "marks"
    assert "outer_raceway" in {finding.condition for finding in check.detected}
    assert check.grade.level in page.inner_text("main")
    assert "no processing" in visit.recorder


def test_what_changes_is_seen_on_every_open_page(
    context: BrowserContext, page: Page, counter: Running, address: str, spin: tuple[Path, list[float]]
) -> None:
    page.goto(address)
    other = counter.browser()
    said = {"bike": "ticket 32", "bearing": "6805", "form_token": other.token()}
    other.send(said, "spin.wav", spin[0].read_bytes())
    page.wait_for_selector("text=ticket 32", timeout=10_000)


def test_by_keys_alone(page: Page, address: str) -> None:
    page.goto(f"{address}/new")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    reached = set()
    for _ in range(25):
        page.keyboard.press("Tab")
        reached.add(page.evaluate("document.activeElement.id || document.activeElement.textContent.trim()"))
    assert {"Today", "bike", "bearing", "turns", "recording", "Send"} <= reached
