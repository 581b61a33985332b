"""The page in a browser: it loads, asks nothing of a network, fits a phone and two sheets of paper."""

from __future__ import annotations

import html
import json
import os
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from acoustic.report.page import Lead, Section, page, page_of_check

Analyse = Callable[[str], Any]

PHONE_PX = 360
A4_PT = (595, 842)  # ISO 216: 210 by 297 mm
CASES = ["outer", "sound", "far_away"]
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--enable-logging=stderr",
    "--virtual-time-budget=10000",
)
POLICY = r'<meta http-equiv="Content-Security-Policy"[^>]*>'
# Tells the frame around it what has loaded and whether it fits.
PROBE = """<script>
const loaded = audio => new Promise(done => {
  if (audio.readyState > 0) done(audio.duration);
  audio.onloadedmetadata = () => done(audio.duration);
  audio.onerror = () => done(audio.error.message);
});
addEventListener("load", () => Promise.all([...document.querySelectorAll("audio")].map(loaded)).then(sounds =>
  parent.postMessage(JSON.stringify({
    sounds: sounds,
    pictures: [...document.images].map(image => image.naturalWidth),
    width: innerWidth,
    needed: document.documentElement.scrollWidth,
  }), "*")));
</script>"""
# A window is 500 pixels wide at least; a frame may be as narrow as a phone.
FRAME = """<!doctype html><iframe src="page.html" width="{width}" height="640" style="border:0"></iframe>
<pre id="told"></pre><script>
addEventListener("message", message => document.getElementById("told").textContent = message.data);
</script>"""


class Seen(NamedTuple):
    """What a browser did."""

    dom: str
    console: list[str]
    asked: list[str]


@pytest.fixture(scope="module")
def browse(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Seen]:
    """Open a file in Chromium: (file, *more flags) -> Seen."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("there is no chromium on PATH")
        pytest.skip("there is no chromium on PATH, so no page was opened in a browser")

    def browse(file: Path, *flags: str) -> Seen:
        folder = tmp_path_factory.mktemp("browser")
        net = folder / "net.json"
        done = subprocess.run(
            [program, *FLAGS, f"--user-data-dir={folder / 'user'}", f"--log-net-log={net}", *flags, file.as_uri()],
            capture_output=True,
            text=True,
            encoding="utf-8",
            check=True,
            timeout=120,
        )
        console = [line for line in done.stderr.splitlines() if ":CONSOLE:" in line]
        return Seen(done.stdout, console, asked_by_the_page(json.loads(net.read_text(encoding="utf-8"))))

    return browse


def asked_by_the_page(log: dict[str, Any]) -> list[str]:
    """Addresses of requests that come from a document; the browser's own come from 'not an origin'."""
    events = [event.get("params", {}) for event in log["events"]]
    asked = [event for event in events if "initiator" in event and "url" in event]
    return [event["url"] for event in asked if event["initiator"] != "not an origin"]


@pytest.fixture(scope="module")
def written(analysis_of: Analyse, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Write the page of a case: (case) -> Path."""
    folder = tmp_path_factory.mktemp("pages")

    def write(case: str) -> Path:
        path = folder / f"{case}.html"
        if not path.exists():
            path.write_text(page_of_check(analysis_of(case)), encoding="utf-8")
        return path

    return write


def told(page: Path, width_px: int, folder: Path, browse: Callable[..., Seen]) -> Any:
    """What a copy of the page, which may run a script, tells of itself in a frame of this width."""
    copy, left_out = re.subn(POLICY, "", page.read_text(encoding="utf-8"))
    assert left_out == 1
    (folder / "page.html").write_text(copy.replace("</body>", f"{PROBE}</body>"), encoding="utf-8")
    frame = folder / "frame.html"
    frame.write_text(FRAME.format(width=width_px), encoding="utf-8")
    seen = browse(frame, "--dump-dom", "--window-size=1400,900")
    answer = re.search(r'<pre id="told">(.+?)</pre>', seen.dom)
    assert answer, "the page told nothing"
    return json.loads(html.unescape(answer.group(1)))


@pytest.mark.parametrize("case", CASES)
def test_it_asks_for_nothing_and_the_console_is_empty(
    case: str, written: Callable[[str], Path], browse: Callable[..., Seen]
) -> None:
    seen = browse(written(case), "--dump-dom")
    assert "In plain words" in seen.dom
    assert (seen.console, seen.asked) == ([], [])


def test_what_would_be_seen_of_a_page_that_asks(
    tmp_path: Path, written: Callable[[str], Path], browse: Callable[..., Seen]
) -> None:
    """The same page with an address in it: its policy stops the request, and without a policy the log shows it."""
    leaking = written("sound").read_text(encoding="utf-8")
    leaking = leaking.replace("</body>", '<img src="http://outside.invalid/x.png" alt=""></body>')
    for name, text in (("kept", leaking), ("free", re.sub(POLICY, "", leaking))):
        (tmp_path / f"{name}.html").write_text(text, encoding="utf-8")
    kept, free = (browse(tmp_path / f"{name}.html", "--dump-dom") for name in ("kept", "free"))
    assert len(kept.console) == 1 and "outside.invalid" in kept.console[0]
    assert kept.asked == []
    assert free.asked == ["http://outside.invalid/x.png"]


@pytest.mark.parametrize("width_px", [PHONE_PX, 1280])
@pytest.mark.parametrize("case", CASES)
def test_sounds_and_pictures_load_and_it_fits(
    case: str, width_px: int, tmp_path: Path, written: Callable[[str], Path], browse: Callable[..., Seen]
) -> None:
    page = told(written(case), width_px, tmp_path, browse)
    lasting_s = {"outer": [12.0, 12.0, 12.0, 24.0, 24.0], "sound": [12.0, 12.0], "far_away": [12.0]}[case]
    assert page["sounds"] == pytest.approx(lasting_s, abs=0.05)
    assert len(page["pictures"]) == (1 if case == "far_away" else 3)
    assert min(page["pictures"]) > 100
    assert page["width"] == width_px
    assert page["needed"] <= width_px, "no scrolling sideways"


def test_a_page_too_wide_would_be_seen(
    tmp_path: Path, written: Callable[[str], Path], browse: Callable[..., Seen]
) -> None:
    wide = tmp_path / "wide.html"
    text = written("sound").read_text(encoding="utf-8")
    wide.write_text(text.replace("</body>", '<div style="width: 400px">wide</div></body>'), encoding="utf-8")
    assert told(wide, PHONE_PX, tmp_path, browse)["needed"] > PHONE_PX


@pytest.mark.broad
@pytest.mark.parametrize("case", CASES)
def test_it_prints_on_two_sheets(
    case: str, tmp_path: Path, written: Callable[[str], Path], browse: Callable[..., Seen]
) -> None:
    printed = tmp_path / "page.pdf"
    browse(written(case), f"--print-to-pdf={printed}", "--no-pdf-header-footer")
    pdf = printed.read_bytes()
    sheets = re.findall(rb"/Type */Page\b", pdf)
    assert 1 <= len(sheets) <= 2
    assert re.search(rb"/Count (\d+)", pdf).group(1) == str(len(sheets)).encode()
    for box in re.findall(rb"/MediaBox *\[0 0 ([\d.]+) ([\d.]+)\]", pdf):
        assert [float(side) for side in box] == pytest.approx(A4_PT, abs=1)


@pytest.mark.broad
def test_a_bike_s_page_with_all_it_may_hold_prints_on_two_sheets(
    analysis_of: Analyse, tmp_path: Path, browse: Callable[..., Seen]
) -> None:
    """A lead, two charts, what an install left behind and a year of visits beside one check."""
    drawn = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 46"><rect width="90" height="46"/></svg>'
    trend = ("Replacement within 10 months.", "+1.7 dB a month.", "Read from the usual recorder, spun by hand.")
    sections = (
        Section("How it goes on", ("Outer ring: replacement within 10 months.",), half="customer"),
        Section("Before and after pressing", ("As before.", "It runs as it did in the hand.")),
        Section("Final spin of the install", ("Clean.", "It runs smoothly.", "Feel for play at the crank arms.")),
        Section("Outer ring", trend, drawn),
        Section("Drag", trend, drawn),
        Section(
            "Visits and bearings",
            tuple(f"2026-{month:02}-01: check, watch; {month}00 km" for month in range(1, 9)),
        ),
    )
    lead = Lead(
        "Fresh install: clean.", ("It runs clean.",), (), ("Clean.",), ("Feel for play.",), before_grade=False
    )
    bike, printed = tmp_path / "bike.html", tmp_path / "bike.pdf"
    bike.write_text(page("Red bike", "7 visits", (analysis_of("outer"),), sections, lead=lead), encoding="utf-8")
    browse(bike, f"--print-to-pdf={printed}", "--no-pdf-header-footer")
    assert len(re.findall(rb"/Type */Page\b", printed.read_bytes())) == 2
