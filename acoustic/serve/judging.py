"""What a worker process does: judge one recording that was sent, and write its visit into the book.

The check's folder is all that it is told of. The visit bears the check's own uid, so that judging it again
after a kill writes nothing twice.
"""

from __future__ import annotations

import json
import os
import tempfile
import threading
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from functools import cache, partial
from multiprocessing import parent_process
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from acoustic.errors import AcousticError, InputError
from acoustic.serve.question import MARKS, Question
from acoustic.serve.settings import (
    FULL,
    LONGEST_CHECK_S,
    MOST_FILE_BYTES,
    MOST_MEMORY_BYTES,
    NO_ROOM,
    ROOM_HINT,
)

if TYPE_CHECKING:
    from acoustic.book.opening import Book
    from acoustic.book.records import Fitted, Judged, Visit
    from acoustic.model import Analysis
    from acoustic.plugin.registry import Registry
    from acoustic.triage.evidence import Heard

QUESTION, PROGRESS, DOCUMENT, DETAILS = "question.json", "progress.txt", "check.json", "details.json"
RECORDING = "recording"  # with the ending of the name it came with


@dataclass(frozen=True, slots=True)
class Outcome:
    """How judging a recording ended.

    Attributes
    ----------
    state : {'judged', 'unusable', 'failed'}
    grade : str
        Empty where there is none.
    said : str
        Why, or what to do, in one sentence.
    visit : int or None
        Its number in the book.
    """

    state: str
    grade: str = ""
    said: str = ""
    visit: int | None = None


class _NotEnteredError(InputError):
    """What was said contradicts the book; a book that cannot be written now is another matter."""


def begin() -> None:
    """Prepare a process that judges: bound it, and judge something, so that the first spin need not wait."""
    begin_painting()
    with suppress(OSError), tempfile.TemporaryDirectory(prefix="acoustic-warm-") as name:
        _warm_up(Path(name))


def begin_painting() -> None:
    """Prepare a process that draws: bound what a hostile file may make it do."""
    _end_with_parent()
    with suppress(ImportError, ValueError, OSError):  # not every system lets them be bounded
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_FSIZE, (MOST_FILE_BYTES, MOST_FILE_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if hasattr(os, "nice"):
        os.nice(5)  # pages are answered first
    _registry()


def _end_with_parent() -> None:
    """See to it that nothing goes on working once the server was killed."""
    parent = parent_process()
    if parent is None:
        return

    def wait() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=wait, name="parent", daemon=True).start()


def _bound_processor_time() -> None:
    """From now on as much as one check may take on all processors: what hangs in compiled code ends even alone."""
    with suppress(ImportError, ValueError, OSError):
        import resource

        used = resource.getrusage(resource.RUSAGE_SELF)
        most_s = int(used.ru_utime + used.ru_stime + 2 * LONGEST_CHECK_S * (os.cpu_count() or 1)) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (most_s, resource.getrlimit(resource.RLIMIT_CPU)[1]))


def _warm_up(folder: Path) -> None:
    """Judge some noise as if a crank had turned in it: it loads what a real spin needs."""
    import numpy as np
    import soundfile

    from acoustic.book.judging import listen_to
    from acoustic.check.document import document_of

    rate_hz, marks_s = 48_000, 1.0 + np.cumsum(np.linspace(0.5, 0.8, 8))
    times_s = np.arange(7 * rate_hz) / rate_hz
    turns = (times_s > marks_s[0]) & (times_s < marks_s[-1])
    noise = np.random.default_rng(1).standard_normal(times_s.size) * np.where(turns, 0.03, 0.003)
    soundfile.write(folder / "recording.wav", noise, rate_hz, subtype="PCM_16")
    (folder / MARKS).write_text("\n".join(f"{mark:.4f}" for mark in marks_s), encoding="utf-8")
    question = Question(bike="warm", bearing="6805", way="taps")
    document_of(listen_to(folder / "recording.wav", question.asked(folder, None), _registry(), lambda _: None))


@cache
def _registry() -> Registry:
    from acoustic.plugin.registry import load_plugins

    return load_plugins()


@cache
def _book(where: str | None) -> Book:
    from acoustic.book.opening import open_book

    return open_book(where)


def recording_in(folder: Path) -> Path:
    """The recording in a check's folder."""
    return next(folder.glob(f"{RECORDING}*"))


def judge(folder: str, uid: str, where: str | None) -> Outcome:
    """Judge the recording in a folder, and write its visit.

    Parameters
    ----------
    folder, uid : str
        Of the check.
    where : str or None
        The book.

    Returns
    -------
    Outcome
        What the recording or the question lacks is an outcome; a fault of the program is raised.
    """
    _bound_processor_time()
    here = Path(folder)
    question = msgspec.json.decode((here / QUESTION).read_bytes(), type=Question)
    try:
        return _judged(here, uid, question, _book(where))
    except AcousticError as error:
        return Outcome("failed", said=f"{error.found[:1].upper()}{error.found[1:]}. {error.hint}")
    except OSError as error:
        if error.errno not in FULL:
            raise
        return Outcome("failed", said=f"{NO_ROOM} {ROOM_HINT}")


def _judged(here: Path, uid: str, question: Question, book: Book) -> Outcome:
    from acoustic.book.judging import listen_to, take_in
    from acoustic.check.document import document_of
    from acoustic.structures import encode

    path = recording_in(here)
    fitted = _sitting(book, question)
    asked = question.asked(here, fitted)
    analysis = listen_to(path, asked, _registry(), partial(_tell, here))
    whole_write(here / DOCUMENT, encode(document_of(analysis)).encode())
    if not analysis.quality.usable:
        problem = analysis.quality.problems[0]
        return Outcome("unusable", analysis.verdict.level, f"{problem.detail}. {problem.advice}")
    judged = take_in(path, asked, analysis, book.files)
    try:
        number = _write(book, _visit(uid, question, fitted, judged))
    except _NotEnteredError as error:
        return Outcome("judged", analysis.verdict.level, f"{error.found}. {error.hint}")
    return Outcome("judged", analysis.verdict.level, _first(analysis), number)


def _first(analysis: Analysis) -> str:
    return analysis.verdict.advice[0] if analysis.verdict.advice else ""


def _sitting(book: Book, question: Question) -> Fitted | None:
    from acoustic.book.bikes import bearings_of, sitting

    with book.reading() as connection:
        return sitting(bearings_of(connection, question.bike), date.today(), question.side or "")


def _visit(uid: str, question: Question, fitted: Fitted | None, judged: Judged) -> Visit:
    from acoustic.book.records import Visit

    return Visit(
        uid=uid,
        bike=question.bike,
        bearing=fitted.uid if fitted else "",
        on_date=date.today(),
        kind=question.kind,
        distance_km=question.distance_km,
        recorder=question.recorder,
        notes=question.notes,
        verdicts=(judged,),
    )


def _write(book: Book, made: Visit) -> int:
    """Write the visit once, however often it is judged."""
    import sqlalchemy as sa

    from acoustic.book.bikes import known_bike
    from acoustic.book.distance import refuse_count
    from acoustic.book.tables import visits
    from acoustic.book.visits import add_visit, refuse_known

    with book.writing() as connection:
        there: int | None = connection.scalar(sa.select(visits.c.number).where(visits.c.uid == made.uid))
        if there is not None:
            return there
        known_bike(connection, made.bike)
        try:
            refuse_count(connection, made.bike, made.on_date, made.distance_km)
            refuse_known(connection, [(judged.name, judged.sha256) for judged in made.verdicts])
        except InputError as error:
            raise _NotEnteredError(error.found, hint="It was judged, and not entered into the book.") from None
        return add_visit(connection, made).number


def detail(folder: str, where: str | None) -> None:
    """Draw the pictures and make the sounds of a check that was judged; they are asked for less often."""
    from acoustic.report.page.bench import bench_of

    here = Path(folder)
    _, analysis = _heard_again(here, where)
    bench = bench_of(analysis, partial(_tell, here))
    whole_write(here / DETAILS, msgspec.json.encode(bench))


def listen(folder: str, label: str, where: str | None) -> Heard:
    """Read off a recording what it says of a creak, in one situation."""
    from acoustic.triage.evidence import read_evidence
    from acoustic.triage.rules import load_rules

    question, analysis = _heard_again(Path(folder), where)
    # What a page shows of it needs no arrays, and they would be sent from process to process.
    return replace(read_evidence(analysis, label, load_rules(), question.side), analysis=_light(analysis))


def _heard_again(here: Path, where: str | None) -> tuple[Question, Analysis]:
    """Judge a recording once more for its arrays, which are kept nowhere; nothing is written into the book."""
    from acoustic.book.judging import listen_to

    _bound_processor_time()
    question = msgspec.json.decode((here / QUESTION).read_bytes(), type=Question)
    asked = question.asked(here, _sitting(_book(where), question))
    return question, listen_to(recording_in(here), asked, _registry(), partial(_tell, here))


def _light(analysis: Analysis) -> Analysis:
    import numpy as np

    return replace(
        analysis, features=None, recording=replace(analysis.recording, samples=np.zeros((0, 1)), channel=0)
    )


def _tell(here: Path, doing: str) -> None:
    whole_write(here / PROGRESS, doing.encode())


def whole_write(target: Path, content: bytes) -> None:
    """Write a file so that nobody sees half of it."""
    half = target.with_name(f".{target.name}.{os.getpid()}")
    half.write_bytes(content)
    half.replace(target)


def read_progress(here: Path) -> str:
    """What is being done, as far as it was told."""
    try:
        return (here / PROGRESS).read_text(encoding="utf-8")
    except OSError:
        return ""


def read_document(here: Path) -> Any:
    """The check's document as plain data; None where there is none."""
    try:
        return json.loads((here / DOCUMENT).read_bytes())
    except OSError:
        return None
