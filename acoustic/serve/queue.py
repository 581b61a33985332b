"""Checks in worker processes: begun in turn, bounded, cancelled, taken up again after a kill."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Future, TimeoutError
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
from pebble import ProcessExpired, ProcessPool

from acoustic.errors import InputError
from acoustic.serve.changes import Changes
from acoustic.serve.judging import DETAILS, QUESTION, RECORDING, Outcome, begin, detail, judge, listen, whole_write
from acoustic.serve.question import Question
from acoustic.serve.settings import LONGEST_CHECK_S, MOST_WAITING, Settings
from acoustic.serve.store import Check, Store, now

if TYPE_CHECKING:
    from acoustic.triage.evidence import Heard

# A recording that ended the program itself is not tried for ever.
MOST_TRIES = 2
DIED = "The check stopped before it came to an end: the file is damaged, or asks for more than the program allows."
SLOW = f"The check took longer than {LONGEST_CHECK_S:.0f} seconds and was stopped."
AGAIN = " Record it again, or send the phone's own file."


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
        context = get_context("spawn")
        self._judges = ProcessPool(max_workers=settings.workers, initializer=begin, context=context)
        # Pictures wait for nobody, and nobody who was promised a grade waits for pictures.
        self._painters = ProcessPool(max_workers=1, initializer=begin, context=context)
        self._futures: dict[str, Future[Any]] = {}
        self._lock = threading.Lock()

    def start(self) -> None:
        """Warm the processes up, and take up what a kill left open."""
        for _ in range(self._settings.workers):
            self._judges.schedule(os.getpid)
        named = {check.uid for check in self._store.open_checks()}
        for folder in self._folder.iterdir():
            if self._store.check(folder.name) is None:
                shutil.rmtree(folder, ignore_errors=True)  # an upload that was never acknowledged
        for check in self._store.open_checks():
            if check.uid in named:
                self._schedule(check)

    def stop(self) -> None:
        """End the processes; what is open is taken up at the next start."""
        for pool in (self._judges, self._painters):
            pool.stop()  # type: ignore[no-untyped-call] # the library leaves it unsaid
            pool.join()

    def folder_of(self, uid: str) -> Path:
        """Where a check's files lie; `uid` must be one of the store's."""
        return self._folder / uid

    def require_room(self) -> None:
        """Refuse more than can be judged.

        Raises
        ------
        InputError
            Too many wait already.
        """
        if len(self._store.open_checks()) >= MOST_WAITING:
            raise InputError(
                f"{MOST_WAITING} recordings wait to be judged already", hint="Send it again in some minutes."
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
        """
        folder = self.folder_of(uid)
        folder.mkdir()
        beside(folder)
        whole_write(folder / QUESTION, msgspec.json.encode(question))
        arrived.replace(folder / f"{RECORDING}{_ending(name)}")
        _to_disk(folder)
        check = Check(
            uid=uid,
            received=now(),
            device=device,
            bike=question.bike,
            file=name,
            question=msgspec.to_builtins(question),
            state="waiting",
        )
        self._store.add_check(check)
        self._schedule(check)
        self._changes.tell()
        return check

    def cancel(self, uid: str) -> bool:
        """Stop a check that is open; tell whether there was anything to stop."""
        stopped = self._store.change_check(uid, state="cancelled", said="Stopped by hand.")
        with self._lock:
            future = self._futures.pop(uid, None)
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
        futures = [
            self._painters.schedule(
                listen, args=[str(self.folder_of(check.uid)), label, self._settings.book], timeout=LONGEST_CHECK_S
            )
            for label, check in recorded
        ]
        try:
            return [future.result() for future in futures]
        except (ProcessExpired, TimeoutError, MemoryError):
            raise InputError(DIED, hint=AGAIN.strip()) from None

    def draw(self, uid: str) -> bool:
        """See to a check's pictures and sounds; tell whether they are there."""
        folder = self.folder_of(uid)
        if (folder / DETAILS).is_file():
            return True
        with self._lock:
            if f"{uid} pictures" not in self._futures:
                future = self._painters.schedule(
                    detail, args=[str(folder), self._settings.book], timeout=2 * LONGEST_CHECK_S
                )
                self._futures[f"{uid} pictures"] = future
                future.add_done_callback(lambda _: self._drawn(uid))
        return False

    def _drawn(self, uid: str) -> None:
        with self._lock:
            self._futures.pop(f"{uid} pictures", None)
        self._changes.tell()

    def _schedule(self, check: Check) -> None:
        if check.tries >= MOST_TRIES:
            self._store.change_check(check.uid, state="failed", said=DIED + AGAIN)
            return
        self._store.change_check(check.uid, state="running", tries=check.tries + 1)
        future = self._judges.schedule(
            judge, args=[str(self.folder_of(check.uid)), check.uid, self._settings.book], timeout=LONGEST_CHECK_S
        )
        with self._lock:
            self._futures[check.uid] = future
        future.add_done_callback(partial(self._ended, check.uid))

    def _ended(self, uid: str, future: Future[Outcome]) -> None:
        with self._lock:
            self._futures.pop(uid, None)
        try:
            outcome = future.result()
        except CancelledError:
            return  # by hand, which was written down, or by the end of the program
        except TimeoutError:
            outcome = Outcome("failed", said=SLOW + AGAIN)
        except (ProcessExpired, MemoryError):
            outcome = Outcome("failed", said=DIED + AGAIN)
        except Exception as error:
            outcome = Outcome(
                "failed", said=f"A fault of the program, not of the recording ({type(error).__name__})."
            )
        self._store.change_check(
            uid, state=outcome.state, grade=outcome.grade, said=outcome.said, visit=outcome.visit
        )
        self._changes.tell()


def _ending(name: str) -> str:
    """The ending of a name, where it is one that a path can bear."""
    ending = Path(name).suffix.lower()
    return ending if ending[1:].isascii() and ending[1:].isalnum() and len(ending) <= 6 else ""


def _to_disk(folder: Path) -> None:
    """Wait until a folder's files are on the disk."""
    for path in [*folder.iterdir(), folder]:
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
