"""Checks in worker processes: begun in turn, bounded, cancelled, taken up again after a kill.

Only as many are handed to the processes as there are; the rest wait here, where stopping one costs nothing and
'running' means what it says.
"""

from __future__ import annotations

import logging
import os
import shutil
import threading
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Future, TimeoutError
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
from pebble import ProcessExpired

from acoustic.errors import InputError
from acoustic.serve.changes import Changes
from acoustic.serve.judging import (
    DETAILS,
    PROGRESS,
    QUESTION,
    RECORDING,
    Outcome,
    begin,
    begin_painting,
    detail,
    judge,
    listen,
    whole_write,
)
from acoustic.serve.question import Question
from acoustic.serve.settings import LONGEST_CHECK_S, MOST_OF_ONE_DEVICE, MOST_WAITING, Settings
from acoustic.serve.store import Check, Store, now
from acoustic.serve.workers import Workers

if TYPE_CHECKING:
    from acoustic.triage.evidence import Heard

# A recording that ends the program or the computer itself is not tried for ever. A kill that came by chance
# counts too, so it is more than once (judgement).
MOST_TRIES = 5
DIED = "The check stopped before it came to an end: the file is damaged, or asks for more than the program allows."
SLOW = f"The check took longer than {LONGEST_CHECK_S:.0f} seconds and was stopped."
AGAIN = " Record it again, or send the phone's own file."
LOOK_S = 0.25  # judgement: how often is looked whether a check tells of something new; people read no faster


class Queue:
    """Everything that was sent, and the processes that judge it.

    Parameters
    ----------
    settings : Settings
    store : Store
    changes : Changes
        Told whenever a check changes.
    """

    def __init__(self, settings: Settings, store: Store, changes: Changes) -> None:
        self._settings, self._store, self._changes = settings, store, changes
        self._folder = settings.folder / "checks"
        self._folder.mkdir(parents=True, exist_ok=True)
        self._judges = Workers(settings.workers, begin)
        # Pictures wait for nobody, and nobody who was promised a grade waits for pictures.
        self._painters = Workers(1, begin_painting)
        self._waiting: deque[Check] = deque()
        self._running: dict[str, tuple[Check, Future[Outcome]]] = {}
        self._drawing: set[str] = set()
        self._not_drawn: set[str] = set()
        self._lock = threading.Lock()
        self._ends = threading.Event()

    def start(self) -> None:
        """Warm the processes up, and take up what a kill left open."""
        self._judges.start()
        for folder in self._folder.iterdir():
            if self._store.check(folder.name) is None:
                shutil.rmtree(folder, ignore_errors=True)  # an upload that was never acknowledged
        for pattern in (".*.upload", "import-*.zip"):
            for left in self._settings.folder.glob(pattern):
                left.unlink(missing_ok=True)
        for halfway in self._settings.folder.glob("tmp*"):  # an archive of the book that was being sent
            shutil.rmtree(halfway, ignore_errors=True)
        # What was begun before waits behind what was not: it may be what ended the program.
        for check in sorted(self._store.open_checks(), key=lambda one: one.tries):
            if check.tries >= MOST_TRIES:
                self._store.change_check(check.uid, state="failed", said=DIED + AGAIN)
                continue
            self._store.change_check(check.uid, state="waiting")
            with self._lock:
                self._waiting.append(check)
        threading.Thread(target=self._look, name="progress", daemon=True).start()
        self._begin_next()

    def stop(self) -> None:
        """End the processes; what is open is taken up at the next start."""
        self._ends.set()
        with self._lock:
            self._waiting.clear()
            running = [check for check, _ in self._running.values()]
        self._judges.stop()
        self._painters.stop()
        for check in running:  # not its own fault
            self._store.change_check(check.uid, state="waiting", tries=check.tries)

    def folder_of(self, uid: str) -> Path:
        """Where a check's files lie; `uid` must be one of the store's."""
        return self._folder / uid

    def require_room(self, device: str = "") -> None:
        """Refuse more than can be judged.

        Parameters
        ----------
        device : str
            The name of the one that asks; one alone may not fill the queue.

        Raises
        ------
        InputError
            Too many wait already.
        """
        for most, count in (
            (MOST_WAITING, self._store.count_open()),
            (MOST_OF_ONE_DEVICE, self._store.count_open(device) if device else 0),
        ):
            if count >= most:
                raise InputError(
                    f"{count} recordings wait to be judged already", hint="Send it again in some minutes."
                )

    def accept(
        self,
        uid: str,
        arrived: Path,
        question: Question,
        *,
        name: str,
        device: str,
        beside: Callable[[Path], None],
    ) -> Check:
        """Take an upload in; on return it is safe.

        Parameters
        ----------
        uid : str
            32 hexadecimal digits, new.
        arrived : Path
            The upload, whole; it is moved.
        question : Question
        name : str
            The file's own, for people.
        device : str
        beside : callable
            Writes what came with it, marks or a gyro's table, into the folder that it is given.

        Returns
        -------
        Check

        Raises
        ------
        OSError
            It could not be written; nothing of it is left.
        """
        folder = self.folder_of(uid)
        check = Check(
            uid=uid,
            received=now(),
            device=device,
            bike=question.bike,
            file=name,
            question=msgspec.to_builtins(question),
            state="waiting",
        )
        try:
            folder.mkdir()
            beside(folder)
            whole_write(folder / QUESTION, msgspec.json.encode(question))
            arrived.replace(folder / f"{RECORDING}{_ending(name)}")
            _to_disk([*folder.iterdir(), folder, self._folder])
            self._store.add_check(check)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        with self._lock:
            self._waiting.append(check)
        self._begin_next()
        self._changes.tell()
        return check

    def cancel(self, uid: str) -> bool:
        """Stop a check that is open; tell whether there was anything to stop."""
        with self._lock:
            stopped = self._store.change_check(uid, state="cancelled", said="Stopped by hand.")
            self._waiting = deque(check for check in self._waiting if check.uid != uid)
            _, future = self._running.get(uid, (None, None))
        if future is not None:
            future.cancel()
        self._changes.tell()
        return stopped

    def heard(self, recorded: Sequence[tuple[str, Check]]) -> list[Heard]:
        """Read off recordings what they say of a creak; waits for it.

        Parameters
        ----------
        recorded : sequence of (str, Check)
            The situation's code, and its recording.

        Raises
        ------
        InputError
            One could not be judged again.
        """
        book = self._settings.book
        futures = [
            self._painters.call(listen, str(self.folder_of(check.uid)), label, book, timeout_s=LONGEST_CHECK_S)
            for label, check in recorded
        ]
        try:
            return [future.result() for future in futures]
        except (ProcessExpired, BrokenProcessPool, TimeoutError, MemoryError):
            raise InputError(DIED, hint=AGAIN.strip()) from None

    def draw(self, uid: str) -> bool:
        """See to a check's pictures and sounds; tell whether they are there.

        Raises
        ------
        InputError
            They could not be drawn.
        """
        folder = self.folder_of(uid)
        if (folder / DETAILS).is_file():
            return True
        with self._lock:
            if uid in self._not_drawn:
                raise InputError(
                    "the pictures and sounds of this check could not be made",
                    hint="Its grade holds all the same.",
                )
            wanted = uid not in self._drawing
            self._drawing.add(uid)
        if wanted:
            call = (detail, str(folder), self._settings.book)
            self._painters.call(*call, timeout_s=2 * LONGEST_CHECK_S).add_done_callback(partial(self._drawn, uid))
        return False

    def _drawn(self, uid: str, future: Future[None]) -> None:
        with self._lock:
            self._drawing.discard(uid)
            if not (self.folder_of(uid) / DETAILS).is_file() and not future.cancelled():
                self._not_drawn.add(uid)
        self._changes.tell()

    def _begin_next(self) -> None:
        """Hand on as many as there are processes that have nothing to do."""
        begun = []
        with self._lock:
            while self._waiting and len(self._running) < self._settings.workers and not self._ends.is_set():
                check = self._waiting.popleft()
                if not self._store.change_check(check.uid, state="running", tries=check.tries + 1):
                    continue  # stopped by hand a moment ago
                call = (judge, str(self.folder_of(check.uid)), check.uid, self._settings.book)
                future = self._judges.call(*call, timeout_s=LONGEST_CHECK_S)
                self._running[check.uid] = check, future
                begun.append((check, future))
        for check, future in begun:
            future.add_done_callback(partial(self._ended, check))

    def _ended(self, check: Check, future: Future[Outcome]) -> None:
        """Write down how a check ended, and begin the next; called in the pool's own thread."""
        outcome, broken = _outcome_of(future), isinstance(_error_of(future), BrokenProcessPool)
        again = broken and not self._ends.is_set() and check.tries + 1 < MOST_TRIES
        if broken and not again and not self._ends.is_set():
            outcome = Outcome("failed", said=DIED + AGAIN)
        try:
            if outcome is not None:
                self._store.change_check(check.uid, **asdict(outcome))
        except Exception:  # such as a full disk: it stays open, and is judged again at the next start
            logging.getLogger("acoustic.serve").exception("the end of check %s was not written down", check.uid)
        finally:
            with self._lock:
                self._running.pop(check.uid, None)
                if again:
                    self._waiting.appendleft(replace(check, tries=check.tries + 1))
            self._begin_next()
            self._changes.tell()

    def _look(self) -> None:
        """Tell the pages when a check that runs says what it does now."""
        said: dict[str, int] = {}
        while not self._ends.wait(LOOK_S):
            with self._lock:
                running = list(self._running)
            now_said = {uid: _changed_at(self.folder_of(uid) / PROGRESS) for uid in running}
            if now_said != said:
                said = now_said
                self._changes.tell()


def _error_of(future: Future[Any]) -> BaseException | None:
    return None if future.cancelled() else future.exception()


def _outcome_of(future: Future[Outcome]) -> Outcome | None:
    """How a check ended; None where that is not its own doing."""
    try:
        return future.result()
    except (CancelledError, BrokenProcessPool):
        return None  # by hand, which was written down; by the end of the program; by a killed neighbour
    except TimeoutError:
        return Outcome("failed", said=SLOW + AGAIN)
    except (ProcessExpired, MemoryError):
        return Outcome("failed", said=DIED + AGAIN)
    except BaseException as error:
        fault = f"A fault of the program, not of the recording ({type(error).__name__})."
        return Outcome("failed", said=fault)


def _changed_at(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


def _ending(name: str) -> str:
    """The ending of a name, where it is one that a path can bear."""
    ending = Path(name).suffix.lower()
    return ending if ending[1:].isascii() and ending[1:].isalnum() and len(ending) <= 6 else ""


def _to_disk(paths: list[Path]) -> None:
    """Wait until files and folders are on the disk."""
    for path in paths:
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
