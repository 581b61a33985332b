"""A counter page in a process of its own, as `acoustic serve` begins it, to be ended in every way."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from browsing import Browser, free_port


@dataclass
class Served:
    """A running `acoustic serve`."""

    process: subprocess.Popen[str]
    port: int
    folder: Path
    code: str
    said: list[str] = field(default_factory=list)

    def browser(self) -> Browser:
        made = Browser(self.port)
        assert made.pair(self.code).status == 303
        return made

    def end(self, number: int = signal.SIGTERM, patience_s: float = 30) -> int:
        self.process.send_signal(number)
        return self.process.wait(patience_s)

    def processes(self) -> list[int]:
        """Everything that this server began and that still runs."""
        return descendants(self.process.pid)


def descendants(pid: int) -> list[int]:
    """Those that a process began, and theirs, by what Linux tells of each in /proc."""
    parents = {own: int(rest[1]) for own in numbers() if (rest := state_of(own)) and rest[0] != "Z"}
    found, last = [], [pid]
    while last:
        last = [own for own, parent in parents.items() if parent in last]
        found += last
    return found


def numbers() -> list[int]:
    return [int(path.name) for path in Path("/proc").iterdir() if path.name.isdigit()]


def state_of(pid: int) -> list[str]:
    """The words of its state behind its name, proc(5); none where it is gone."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return []


def processor_s(pids: Sequence[int]) -> float:
    """Processor time that they took so far."""
    ticks = [sum(int(one) for one in state[11:13]) for pid in pids if (state := state_of(pid))]
    return sum(ticks) / os.sysconf("SC_CLK_TCK")


def alive(pid: int) -> bool:
    state = state_of(pid)
    return bool(state) and state[0] != "Z"


@contextmanager
def served(folder: Path, *options: str, port: int | None = None) -> Iterator[Served]:
    """Begin `acoustic serve` on the book in a folder; it is ended at the end, if it was not before."""
    at = port or free_port()
    command = [sys.executable, "-m", "acoustic", "serve", "--no-browser", "--port", str(at)]
    process = subprocess.Popen(
        [*command, "--book", str(folder / "book.db"), *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    said: list[str] = []
    reader = threading.Thread(target=_keep, args=[process, said])
    reader.start()
    try:
        yield Served(process, at, folder, _code_in(process, said), said)
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        reader.join(30)
        assert process.stdout is not None
        process.stdout.close()


def _keep(process: subprocess.Popen[str], said: list[str]) -> None:
    assert process.stdout is not None
    for line in process.stdout:
        said.append(line)


def _code_in(process: subprocess.Popen[str], said: list[str]) -> str:
    """The first code that it prints."""
    until = time.monotonic() + 60
    while time.monotonic() < until:
        ended = process.poll() is not None
        if found := re.search(r"/pair#(\w+)", "".join(said)):
            return found[1]
        if ended:
            time.sleep(0.5)
            break
        time.sleep(0.02)
    raise AssertionError(f"it did not begin: {''.join(said)}")


def wait_until_gone(pids: Sequence[int], patience_s: float = 15) -> list[int]:
    """Those that are still there after some time."""
    import time

    until = time.monotonic() + patience_s
    while time.monotonic() < until and any(alive(pid) for pid in pids):
        time.sleep(0.1)
    return [pid for pid in pids if alive(pid)]


def another(wav: bytes, number: int) -> bytes:
    """The same recording but for its last two samples, since a book takes none twice."""
    return wav[:-4] + number.to_bytes(4, "little")
