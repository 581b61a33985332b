"""A worker that hangs, dies, or asks for too much is one failed check with a sentence; files are never a fault."""

from __future__ import annotations

import io
import signal
import time
import zipfile
from collections.abc import Callable, Iterator
from concurrent.futures import TimeoutError
from pathlib import Path
from typing import Any

import hostile
import msgspec
import numpy as np
import pytest
import soundfile
from browsing import settings_in
from films import FilmPlan, write_film
from pebble import ProcessExpired
from serving import wait_until_gone

from acoustic.dsp.geometry import BearingGeometry
from acoustic.errors import InputError
from acoustic.serve import queue
from acoustic.serve.judging import QUESTION, Outcome, begin_painting, judge
from acoustic.serve.question import GYRO, MARKS, Question
from acoustic.serve.shop import Shop, open_shop
from acoustic.serve.store import Check
from acoustic.serve.workers import Workers
from acoustic.simulator import SpinPlan, simulate

pytestmark = pytest.mark.broad  # each begins and ends servers of its own

GEOMETRY = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)


@pytest.fixture(scope="module")
def workers() -> Iterator[Workers]:
    made = Workers(1, begin_painting)
    yield made
    made.stop()


@pytest.mark.broad
def test_a_worker_that_hangs_is_ended(workers: Workers) -> None:
    for way in (hostile.hang, hostile.hang_in_compiled_code):
        first = workers.call(hostile.who, timeout_s=60).result(60)
        with pytest.raises(TimeoutError):
            workers.call(way, timeout_s=0.5).result(60)
        assert workers.call(hostile.who, timeout_s=60).result(60) != first
        assert wait_until_gone([first]) == []


def test_what_a_worker_may_use_is_bounded(workers: Workers, tmp_path: Path) -> None:
    pytest.importorskip("resource", reason="this system bounds no process")
    with pytest.raises(MemoryError):
        workers.call(hostile.eat_memory, timeout_s=60).result(60)
    assert workers.call(hostile.fill_the_disk, str(tmp_path), timeout_s=60).result(60) == "File too large"
    begun = time.monotonic()
    with pytest.raises(ProcessExpired) as ended:
        workers.call(hostile.use_the_processor, timeout_s=60).result(60)
    assert ended.value.exitcode == -signal.SIGXCPU
    assert time.monotonic() - begun < 30


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = open_shop(settings_in(tmp_path, 1))
    made.queue.start()
    yield made
    made.close()


def accepted(shop: Shop, number: int, content: bytes = b"RIFF") -> Check:
    arrived = shop.settings.folder / f".{number}.upload"
    arrived.write_bytes(content)
    question = Question(bike=f"ticket {number}", bearing="6805")
    uid = f"{number:032x}"
    return shop.queue.accept(uid, arrived, question, name="spin.wav", device="phone", beside=lambda _: None)


def ended(shop: Shop, check: Check, patience_s: float = 60) -> Check:
    until = time.monotonic() + patience_s
    while (found := shop.store.check(check.uid)) is None or found.is_open:
        assert time.monotonic() < until
        time.sleep(0.02)
    return found


def test_each_way_to_fail_is_a_sentence_and_the_next_check_goes_on(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    ways: tuple[tuple[Callable[..., Any], str], ...] = (
        (hostile.die, queue.DIED),
        (hostile.hang, queue.SLOW),
        (hostile.eat_memory, queue.DIED),
        (hostile.leave, "A fault of the program, not of the recording"),
    )
    for number, (way, sentence) in enumerate(ways):
        monkeypatch.setattr(queue, "judge", way)
        monkeypatch.setattr(queue, "LONGEST_CHECK_S", 1.0 if way is hostile.hang else 60.0)
        found = ended(shop, accepted(shop, number))
        assert (found.state, found.grade, found.visit) == ("failed", "", None)
        assert sentence in found.said, way
    monkeypatch.setattr(queue, "judge", judge)
    found = ended(shop, accepted(shop, 99))
    assert found.state == "failed"
    assert queue.DIED not in found.said
    assert "fault" not in found.said


def test_what_waits_is_called_waiting_and_stopping_it_ends_no_process(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(queue, "judge", hostile.hang)
    checks = [accepted(shop, number) for number in range(3)]
    states = [one.state for one in reversed(shop.store.newest_checks(3))]
    assert states == ["running", "waiting", "waiting"]
    assert shop.queue.cancel(checks[1].uid)
    assert not shop.queue.cancel(checks[1].uid)
    assert [one.tries for one in shop.store.open_checks()] == [1, 0]
    assert shop.queue.cancel(checks[0].uid)
    monkeypatch.setattr(queue, "judge", judge)
    until = time.monotonic() + 30
    while (last := shop.store.check(checks[2].uid)) is not None and last.state == "waiting":
        assert time.monotonic() < until


def test_pictures_that_cannot_be_drawn_are_not_tried_for_ever(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(queue, "detail", hostile.die)
    check = ended(shop, accepted(shop, 1))
    until = time.monotonic() + 30
    with pytest.raises(InputError, match="could not be made"):
        while not shop.queue.draw(check.uid):
            assert time.monotonic() < until
            time.sleep(0.02)


# Files


class Bench:
    """Judges files as a worker does, in this process."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._count = folder, 0

    def judged(self, content: bytes, ending: str, *, way: str = "sound", **beside: str) -> Outcome:
        self._count += 1
        here = self._folder / str(self._count)
        here.mkdir()
        (here / f"recording{ending}").write_bytes(content)
        question = Question(bike="t", bearing="6805", way=way)  # type: ignore[arg-type]
        (here / QUESTION).write_bytes(msgspec.json.encode(question))
        for name, text in beside.items():
            (here / {"marks": MARKS, "gyro": GYRO}[name]).write_text(text, encoding="utf-8")
        return judge(str(here), f"{self._count:032x}", str(self._folder / "book.db"))


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    from acoustic.serve import judging

    monkeypatch.setattr(judging, "_bound_processor_time", lambda: None)  # of the tests' own process
    return Bench(tmp_path)


def require_sentence(outcome: Outcome) -> None:
    assert outcome.state in ("failed", "unusable")
    assert outcome.grade in ("", "undecided")
    assert len(outcome.said.split()) > 5
    assert "Errno" not in outcome.said
    assert "Traceback" not in outcome.said


def flac_of_an_hour() -> bytes:
    held = io.BytesIO()
    soundfile.write(held, np.zeros(3600 * 8000, dtype=np.int16), 8000, format="FLAC")
    return held.getvalue()


def zip_of_200_megabytes() -> bytes:
    held = io.BytesIO()
    with (
        zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("spin.wav", "w", force_zip64=True) as file,
    ):
        for _ in range(10):
            file.write(bytes(20_000_000))
    return held.getvalue()


@pytest.mark.parametrize(
    ("make", "ending"),
    [
        (flac_of_an_hour, ".flac"),
        (zip_of_200_megabytes, ".zip"),
        (zip_of_200_megabytes, ".wav"),
        (lambda: b"", ".wav"),
        (lambda: b"\x89PNG\r\n\x1a\n" + bytes(1000), ".mp4"),
        (lambda: b"RIFF\xff\xff\xff\xffWAVEfmt \xff\xff\xff\xff", ".wav"),
        (lambda: b"#EXTM3U\nfile:///etc/passwd\n", ".mp4"),
        (lambda: b"ffconcat version 1.0\nfile /etc/passwd\n", ".mp4"),
        (lambda: b"<svg xmlns='http://www.w3.org/2000/svg'/>", ".wav"),
    ],
)
def test_bombs_and_strangers_are_a_sentence(bench: Bench, make: Callable[[], bytes], ending: str) -> None:
    content, begun = make(), time.monotonic()
    assert len(content) < 2_000_000
    outcome = bench.judged(content, ending)
    require_sentence(outcome)
    assert "passwd" not in outcome.said
    assert time.monotonic() - begun < 20


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("film") / "spin.mp4"
    write_film(path, FilmPlan(), simulate(SpinPlan(geometry=GEOMETRY, duration_s=5.0, turns=4.0, seed=2)))
    return path.read_bytes()


def test_damaged_films_are_never_a_fault(bench: Bench, film: bytes) -> None:
    """Cut short, and with bytes turned over, at places drawn by seed: judged or a sentence, never an exception."""
    chance = np.random.default_rng(8)
    assert bench.judged(film, ".mp4", way="film").state in ("judged", "unusable")
    for number in range(12):
        damaged = bytearray(film[: chance.integers(10, len(film))] if number % 2 else film)
        for place in chance.integers(0, len(damaged), 40):
            damaged[place] = chance.integers(0, 256)
        outcome = bench.judged(bytes(damaged), ".mp4", way="film")
        if outcome.state != "judged":
            require_sentence(outcome)


@pytest.mark.parametrize(
    "table",
    [
        "",
        "\x00" * 1000,
        "time\nnan\ninf\n-1\n",
        "1e308\n" * 50,
        "9" * 100_000,
        "a,b,c\n" * 1000,
        "0\n0\n0\n0\n0\n",
    ],
)
@pytest.mark.parametrize("kind", ["marks", "gyro"])
def test_tables_that_make_no_sense_are_a_sentence(
    bench: Bench, taken: Callable[..., Any], kind: str, table: str
) -> None:
    way = {"marks": "taps", "gyro": "crank"}[kind]
    require_sentence(bench.judged(taken("short").path.read_bytes(), ".wav", way=way, **{kind: table}))


@pytest.mark.broad
def test_a_film_of_huge_pictures_ends_in_time(bench: Bench, tmp_path: Path) -> None:
    import av

    path = tmp_path / "huge.mp4"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 8192, 4320, "yuv420p"
        stream.options = {"preset": "ultrafast", "crf": "51"}
        picture = av.VideoFrame(8192, 4320, "yuv420p")
        for number in range(6):
            picture.pts = number
            out.mux(stream.encode(picture))
        out.mux(stream.encode(None))
    begun = time.monotonic()
    require_sentence(bench.judged(path.read_bytes(), ".mp4", way="film"))
    assert time.monotonic() - begun < 30
