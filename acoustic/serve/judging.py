"""What a worker process does: judge one recording that was sent, and write its visit into the book.

The check's folder is all that it is told of. The visit bears the check's own uid, so that judging it again
after a kill writes nothing twice.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from acoustic.errors import AcousticError, InputError
from acoustic.serve.question import Question
from acoustic.serve.settings import MOST_MEMORY_BYTES

if TYPE_CHECKING:
    from acoustic.book.opening import Book
    from acoustic.book.records import Fitted, Visit
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


def begin() -> None:
    """Prepare a worker process: bound its memory, and load what the first check would wait for."""
    with suppress(ImportError, ValueError, OSError):  # not every system lets it be bounded
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    os.nice(5)
    _registry()
    import acoustic.book.judging
    import acoustic.check.document  # noqa: F401


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
    here = Path(folder)
    question = msgspec.json.decode((here / QUESTION).read_bytes(), type=Question)
    book = _book(where)
    try:
        return _judged(here, uid, question, book)
    except AcousticError as error:
        return Outcome("failed", said=f"{error.found}. {error.hint}")


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
    except InputError as error:
        return Outcome("judged", analysis.verdict.level, f"{error.found}. {error.hint}")
    return Outcome("judged", analysis.verdict.level, _first(analysis), number)


def _first(analysis: Analysis) -> str:
    return analysis.verdict.advice[0] if analysis.verdict.advice else ""


def _sitting(book: Book, question: Question) -> Fitted | None:
    from acoustic.book.bikes import bearings_of, sitting

    with book.reading() as connection:
        return sitting(bearings_of(connection, question.bike), date.today(), question.side or "")


def _visit(uid: str, question: Question, fitted: Fitted | None, judged: object) -> Visit:
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
        verdicts=(judged,),  # type: ignore[arg-type]
    )


def _write(book: Book, made: Visit) -> int:
    """Write the visit once, however often it is judged."""
    import sqlalchemy as sa

    from acoustic.book.bikes import known_bike
    from acoustic.book.distance import refuse_falling
    from acoustic.book.tables import visits
    from acoustic.book.visits import add_visit, refuse_known

    with book.writing() as connection:
        there: int | None = connection.scalar(sa.select(visits.c.number).where(visits.c.uid == made.uid))
        if there is not None:
            return there
        known_bike(connection, made.bike)
        try:
            refuse_falling(connection, made.bike, made.on_date, made.distance_km)
            refuse_known(connection, [(judged.name, judged.sha256) for judged in made.verdicts])
        except InputError as error:
            raise InputError(error.found, hint="It was judged, and not entered into the book.") from None
        return add_visit(connection, made).number


def detail(folder: str, where: str | None) -> None:
    """Draw the pictures and make the sounds of a check that was judged; they are asked for less often."""
    from acoustic.book.judging import listen_to
    from acoustic.report.page.bench import bench_of

    here = Path(folder)
    question = msgspec.json.decode((here / QUESTION).read_bytes(), type=Question)
    asked = question.asked(here, _sitting(_book(where), question))
    analysis = listen_to(recording_in(here), asked, _registry(), partial(_tell, here))
    bench = bench_of(analysis, partial(_tell, here))
    whole_write(here / DETAILS, msgspec.json.encode(bench))


def listen(folder: str, label: str, where: str | None) -> Heard:
    """Read off a recording what it says of a creak, in one situation."""
    from acoustic.book.judging import listen_to
    from acoustic.triage.evidence import read_evidence
    from acoustic.triage.rules import load_rules

    here = Path(folder)
    question = msgspec.json.decode((here / QUESTION).read_bytes(), type=Question)
    asked = question.asked(here, _sitting(_book(where), question))
    analysis = listen_to(recording_in(here), asked, _registry(), partial(_tell, here))
    # What a page shows of it needs no arrays, and they would be sent from process to process.
    return replace(read_evidence(analysis, label, load_rules(), question.side), analysis=_light(analysis))


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
