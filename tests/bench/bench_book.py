"""The workshop's book under load, in a crowd and under the axe.

10 000 visits; several commands at the same moment; kills at random moments of `visit add`.

Run by hand: ``python tests/bench/bench_book.py [--quick] [--kills N]``. A PostgreSQL server is used as well where
ACOUSTIC_TEST_POSTGRES names one. The quick form has 1 000 visits, 2 crowds and 10 kills.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import sqlalchemy as sa

sys.path.insert(0, str(Path(__file__).parents[1]))
from checked import plain_check

from acoustic.book import visits
from acoustic.book.bikes import add_bike, all_bearings, all_bikes, bearings_of, fit_bearing
from acoustic.book.files import sha256_of
from acoustic.book.lives import began_on, lives, readings_of
from acoustic.book.opening import Book, open_book
from acoustic.book.question import AskedBearing, AskedBlock, AskedScene
from acoustic.book.records import Fitted, Judged, Visit
from acoustic.book.series import all_series
from acoustic.cli import main as command
from acoustic.dsp.geometry import BearingGeometry
from acoustic.lifetimes.kinds import lifetimes_of
from acoustic.simulator import SpinPlan, simulate

SERVER = "ACOUSTIC_TEST_POSTGRES"
LIMITS_S = {"add": 0.5, "list": 0.5, "trend": 0.5, "lifetimes": 2.0}
FIRST = date(2020, 1, 1)


@contextmanager
def places(folder: Path) -> Iterator[dict[str, str]]:
    """Where the books lie: a file, and a new database on the server if there is one."""
    where = {"SQLite": str(folder / "book.db")}
    os.environ["ACOUSTIC_RECORDINGS"] = str(folder / "server recordings")
    server = os.environ.get(SERVER)
    if server is None:
        print(f"{SERVER} names no server: PostgreSQL is left out")
        yield where
        return
    url, name = sa.make_url(server).set(drivername="postgresql+psycopg"), f"bench_{uuid.uuid4().hex}"
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(sa.text(f"CREATE DATABASE {name}"))
    where["PostgreSQL"] = url.set(drivername="postgresql", database=name).render_as_string(hide_password=False)
    try:
        yield where
    finally:
        with engine.connect() as connection:
            connection.execute(sa.text(f"DROP DATABASE {name} WITH (FORCE)"))


def invented(kept: Any, day: date, severity_db: float) -> Judged:
    """A verdict as large as a real one."""
    names = ("outer_raceway", "inner_raceway", "ball", "cage", "rumble", "contamination", "tight", "raceway")
    document = plain_check(level="watch", drag=0.1, **dict.fromkeys(names, severity_db))
    document["cautions"] = ["x" * 100] * 4
    asked = AskedBlock(bearing=AskedBearing(), speed={}, scene=AskedScene(), files={})
    at = datetime(day.year, day.month, day.day)
    return Judged(
        sha256=kept.sha256,
        suffix=kept.suffix,
        name=kept.name,
        bytes=kept.bytes,
        asked=asked,
        document=document,
        judged_at=at,
    )


def fill(book: Book, sound: Path, count: int) -> None:
    """Ten visits a bike."""
    rng, kept = random.Random(3), book.files.keep(sound)
    with book.writing() as connection:
        for bike in range(count // 10):
            name, day = f"bike {bike}", FIRST + timedelta(days=rng.randrange(1500))
            add_bike(connection, name)
            out = day + timedelta(days=rng.randrange(60, 800)) if rng.random() < 0.6 else None
            shell, why = ("pressed", "threaded")[bike % 2], "worn" if out else ""
            said: dict[str, Any] = {
                "designation": "6805",
                "shell": shell,
                "removed_on": out,
                "removed_because": why,
            }
            fitted = Fitted(bike=name, installed_on=day, **said)
            uid = fit_bearing(connection, fitted).uid
            for visit in range(10):
                on = day + timedelta(days=40 * visit)
                heard = (invented(kept, on, -25 + 2 * visit + rng.gauss(0, 1)),)
                visits.add_visit(connection, Visit(bike=name, bearing=uid, on_date=on, verdicts=heard))


def timed(action: Callable[[], Any]) -> float:
    """Best of five [s]: the machine's other work only adds."""
    best = float("inf")
    for _ in range(5):
        start_s = time.perf_counter()
        action()
        best = min(best, time.perf_counter() - start_s)
    return best


def follow(connection: sa.Connection) -> None:
    """What `acoustic trend` works out of one bike."""
    held = visits.list_visits(connection, bike="bike 7")
    all_series(held, bearings_of(connection, "bike 7"), None, date(2026, 1, 1))


def outlive(connection: sa.Connection) -> None:
    """What `acoustic lifetimes` works out of all bikes."""
    bearings, readings = all_bearings(connection), readings_of(connection)
    taken = lives(bearings, today=date(2026, 1, 1), began=began_on(bearings, readings))
    lifetimes_of(taken.lives, by="shell")


def load(where: dict[str, str], sound: Path, count: int) -> bool:
    """Print how long each action takes; tell whether one is too slow."""
    slow = False
    for name, place in where.items():
        book = open_book(place)
        fill(book, sound, count)
        kept = book.files.keep(sound)

        def read(action: Callable[[sa.Connection], Any], book: Book = book) -> Callable[[], Any]:
            def run() -> None:
                with book.reading() as connection:
                    action(connection)

            return run

        def add(book: Book = book, kept: Any = kept) -> None:
            with book.writing() as connection:
                heard = (invented(kept, FIRST, -20.0),)
                visits.add_visit(connection, Visit(bike="bike 1", on_date=FIRST, verdicts=heard))

        took = {
            "add": timed(add),
            "list": timed(read(lambda c: visits.list_visits(c, newest=20))),
            "trend": timed(read(follow)),
            "lifetimes": timed(read(outlive)),
        }
        book.close()
        told = ", ".join(f"{action} {1000 * s:.0f} ms ({LIMITS_S[action]:.1f} s)" for action, s in took.items())
        print(f"{name:<11} {count} visits: {told}", flush=True)
        slow |= any(s > LIMITS_S[action] for action, s in took.items())
    return slow


def add_one(place: str, sound: Path) -> None:
    """Run the command as a mechanic would."""
    plan = ["--bike", "red", "--bearing", "6805", "--quiet", "--book", place, "--anyway"]
    plan += ["--marks", str(sound.with_suffix(".csv"))]
    try:
        command(["visit", "add", *plan, str(sound)])
    except SystemExit as done:
        if done.code:
            raise RuntimeError(f"visit add ended with {done.code}") from None


def adding(place: str, sounds: list[Path], write_to: int) -> None:
    """Add visits until killed; every line on the pipe is one acknowledged."""
    os.dup2(write_to, 1)
    sys.stdout = os.fdopen(1, "w", buffering=1)
    try:
        while True:
            add_one(place, random.choice(sounds))
    finally:
        os._exit(2)


def killed(place: str, sounds: list[Path], kills: int) -> tuple[int, int]:
    """Kill so many adders, each at a moment of its own; visits acknowledged and visits in the book."""
    rng, acknowledged = random.Random(11), set()
    open_book(place).close()
    with tempfile.TemporaryDirectory() as scratch:
        open_book(str(Path(scratch) / "book.db")).close()
        add_one(str(Path(scratch) / "book.db"), sounds[0])  # what is imported here need not be in each child
        start_s = time.perf_counter()
        add_one(str(Path(scratch) / "book.db"), sounds[1])
        one_s = time.perf_counter() - start_s
    for _ in range(kills):
        read_from, write_to = os.pipe()
        child = os.fork()
        if child == 0:
            random.seed(rng.random())
            os.close(read_from)
            adding(place, sounds, write_to)
        os.close(write_to)
        time.sleep(rng.uniform(0.1, 2.5 * one_s))  # in the first, the second or the third
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            raise RuntimeError("an adder gave up by itself")
        with os.fdopen(read_from) as told:
            acknowledged |= {int(line.split()[1].rstrip(":")) for line in told if line.endswith("\n")}
    book = open_book(place)
    with book.reading() as connection:
        held = {visit.number: visit for visit in visits.list_visits(connection)}
    lost = acknowledged - held.keys()
    half = [number for number, visit in held.items() if len(visit.verdicts) != 1]
    whole = {judged.sha256: judged.suffix for visit in held.values() for judged in visit.verdicts}
    broken = [sha for sha, suffix in whole.items() if sha256_of(book.files.require(sha, suffix)) != sha]
    book.close()
    if lost or half or broken:
        raise RuntimeError(f"lost {lost}, half {half}, broken {broken}")
    return len(acknowledged), len(held)


def at_once(calls: list[list[str]]) -> list[tuple[int, str]]:
    """Run commands at the same moment, each in a process of its own; exit codes and what they said."""
    running = [
        subprocess.Popen(
            [sys.executable, "-m", "acoustic", *call], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for call in calls
    ]
    said = [process.communicate() for process in running]
    return [(process.returncode, out + err) for process, (out, err) in zip(running, said, strict=True)]


def crowded(place: str, sounds: list[Path], rounds: int) -> None:
    """Eight `visit add` of a new bike at once, then six `bike replaced`; raise if one is lost or doubled."""
    open_book(place).close()
    for number in range(rounds):
        bike, said = f"new {number}", ["--book", place]
        heard = ["--bearing", "6805", "--quiet", "--anyway", *said]
        calls = []
        for one in range(8):
            sound = sounds[one % len(sounds)]
            calls.append(["visit", "add", str(sound), "--marks", str(sound.with_suffix(".csv")), "--bike", bike])
        added = at_once([[*call, *heard] for call in calls])
        if any(code for code, _ in added):
            raise RuntimeError(f"refused: {added}")
        at_once([["bike", "fit", bike, "--bearing", "6805", "--on", "2025-01-01", *said]])
        replaced = at_once([["bike", "replaced", bike, "--bearing", "6806", *said]] * 6)
        book = open_book(place)
        with book.reading() as connection:
            bikes = [one.name for one in all_bikes(connection) if one.name == bike]
            visited = len(visits.list_visits(connection, bike=bike))
            sitting = [one for one in bearings_of(connection, bike) if one.removed_on is None]
        book.close()
        codes = sorted(code for code, _ in replaced)
        if (len(bikes), visited, len(sitting), codes) != (1, 8, 1, [0, 2, 2, 2, 2, 2]):
            raise RuntimeError(f"{bikes}, {visited} visits, {sitting}, {replaced}")


def main() -> None:
    """Print the table; exit with 1 where a limit is missed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="1 000 visits, 10 kills")
    parser.add_argument("--kills", type=int, help="in place of 200")
    said = parser.parse_args()
    kills = said.kills or (10 if said.quick else 200)
    geometry = BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0)
    with tempfile.TemporaryDirectory() as name:
        folder, sounds = Path(name), []
        for seed in range(3):
            spin = simulate(SpinPlan(geometry=geometry, turns=10.0, duration_s=12.0, seed=seed))
            sounds.append(folder / f"spin-{seed}.wav")
            soundfile.write(sounds[-1], np.asarray(spin.samples), spin.sample_rate_hz)
            sounds[-1].with_suffix(".csv").write_text("\n".join(f"{mark:.3f}" for mark in spin.marks_s))
        with places(folder) as where:
            slow = load(where, sounds[0], 1000 if said.quick else 10_000)
        (folder / "crowd").mkdir()
        with places(folder / "crowd") as where:
            rounds = 2 if said.quick else 10
            for kind, place in where.items():
                crowded(place, sounds, rounds)
                told = "8 visits of a new bike all kept, 6 replacements one bearing"
                print(f"{kind:<11} {rounds} times at once: {told}", flush=True)
        with places(folder / "kills") as where:
            (folder / "kills").mkdir()
            for kind, place in where.items():
                told, held = killed(place, sounds, kills)
                print(f"{kind:<11} {kills} kills: {told} visits acknowledged, all there; {held} there, none half")
    sys.exit(1 if slow else 0)


if __name__ == "__main__":
    main()
