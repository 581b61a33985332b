"""The triage's rule table: sources, situations, questions, how likely each answer is, and who says so."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec

from acoustic.structures import AboveZero, Text, checked, read_toml

COMMON, MEMORY, SITUATION = "common practice", "from memory", "the situation itself"
ANYWHERE = "anywhere"  # in place of a situation's code: of the creak, wherever it is heard
_FILE = Path(__file__).with_name("rules.toml")
_HINT = "See the tables beside it for what each needs"
_WHOLE = 1e-9  # rounding of a row of chances that add up to 1


Texts = Annotated[tuple[Text, ...], msgspec.Meta(min_length=1)]


class Circumstance(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A situation in which the bike can be heard.

    Attributes
    ----------
    code, words, how : str
    questions : tuple of str
        Those that a recording of it can answer.
    again : str
        What to do after a recording that cannot be used.
    by_ear : bool
        A recording of it cannot be judged.
    """

    code: Text
    words: Text
    how: Text
    questions: Texts
    again: Text
    by_ear: bool = False


class Question(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What is asked, with its answers.

    Attributes
    ----------
    code : str
    values : mapping of str to str
        Every answer, and what it says.
    ask : str
        As the rider is asked; empty for what is asked of each situation.
    loud_from_db : float or None
        Severity from which a bearing to be replaced counts as loud [dB].
    """

    code: Text
    values: Annotated[dict[str, Text], msgspec.Meta(min_length=2)]
    ask: str = ""
    loud_from_db: float | None = None


class Source(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A place that a creak may come from, and its check by hand.

    Attributes
    ----------
    code, words : str
    prior : float
        What speaks for it before anything is heard, against 1 for the others.
    minutes : float
        Time the check takes [min].
    check, caution : str
    basis : str
        Where this comes from.
    """

    code: Text
    words: Text
    prior: AboveZero
    minutes: AboveZero
    check: Text
    caution: Text
    basis: Text


@dataclass(frozen=True, slots=True)
class Row:
    """How likely each answer to one question is, if one source is to blame.

    Attributes
    ----------
    chances : mapping of str to float
        Of every answer, before any weight; they add up to 1.
    why : str
    basis : str
        A citation, 'common practice', 'from memory' or 'the situation itself'.
    weight : float
        The power that they are raised to.
    """

    chances: Mapping[str, float]
    why: str
    basis: str
    weight: float

    def chance(self, value: str, *, weight: float = 1.0) -> float:
        """Chance of an answer: all of them to the power of both weights, scaled to add up to 1."""
        softened = {one: math.pow(share, self.weight * weight) for one, share in self.chances.items()}
        return softened[value] / math.fsum(softened.values())


@dataclass(frozen=True, slots=True)
class Rules:
    """The whole table.

    Attributes
    ----------
    labels : mapping of str to Circumstance
    questions : mapping of str to Question
    sources : mapping of str to Source
    rows : mapping of (question, label, source) to Row
        One for every question of every label and every source; of the creak itself, the label is `ANYWHERE`.
    weights : mapping of str to float
        'told', 'measured', 'measured_silent': how far an answer is believed.
    advised_anywhere : frozenset of str
        Codes of the problems whose own advice can be followed in every situation.
    cautions : tuple of str
    """

    labels: Mapping[str, Circumstance]
    questions: Mapping[str, Question]
    sources: Mapping[str, Source]
    rows: Mapping[tuple[str, str, str], Row]
    weights: Mapping[str, float]
    advised_anywhere: frozenset[str]
    cautions: tuple[str, ...]

    @property
    def asked(self) -> dict[str, Question]:
        """Questions that the rider can answer, besides where the creak is heard."""
        return {code: question for code, question in self.questions.items() if question.ask}

    def place(self, question: str, label: str) -> str:
        """Where a question's rows stand: in its situation, or anywhere."""
        return ANYWHERE if self.questions[question].ask else label


class _Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    question: Text
    sources: Texts
    why: Text
    basis: Text
    labels: tuple[Text, ...] = (ANYWHERE,)
    yes: Text | None = None
    chances: dict[str, float] | None = None


class _Caution(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    text: Text
    basis: Text


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    words: dict[str, float]
    weights: dict[str, float]
    advice: dict[Literal["anywhere"], frozenset[str]]
    label: tuple[Circumstance, ...]
    question: tuple[Question, ...]
    source: tuple[Source, ...]
    row: tuple[_Entry, ...]
    caution: tuple[_Caution, ...]

    def __post_init__(self) -> None:
        if not all(0 < share < 1 for share in self.words.values()):
            raise ValueError("every word needs a share between 0 and 1: nothing is certain")
        if not all(0 < weight <= 1 for weight in self.weights.values()):
            raise ValueError("every weight must be above 0 and at most 1")
        known = {question.code for question in self.question}
        for label in self.label:
            for code in label.questions:
                if code not in known:
                    raise ValueError(
                        f"[[label]] {label.code} asks {code!r}; use one of {', '.join(sorted(known))}"
                    )
        self.rows()

    def rows(self) -> dict[tuple[str, str, str], Row]:
        """Spread the entries over their labels and sources; each cell must be filled once."""
        wanted = {(*place, source.code) for place in self._places() for source in self.source}
        rows: dict[tuple[str, str, str], Row] = {}
        for number, entry in enumerate(self.row, 1):
            weight = self.weights[kind_of_basis(entry.basis)]
            for cell in ((entry.question, label, source) for label in entry.labels for source in entry.sources):
                if cell not in wanted:
                    raise ValueError(f"row {number} of [[row]] is for {' / '.join(cell)}, which is never asked")
                if cell in rows:
                    raise ValueError(f"two rows of [[row]] are for {' / '.join(cell)}")
                rows[cell] = Row(self._chances(entry, number), entry.why, entry.basis, weight)
        missing = sorted(wanted - set(rows))
        if missing:
            raise ValueError(f"no row of [[row]] is for {' / '.join(missing[0])}")
        return rows

    def _places(self) -> Iterator[tuple[str, str]]:
        asked = {question.code for question in self.question if question.ask}
        yield from ((code, ANYWHERE) for code in asked)
        yield from ((code, label.code) for label in self.label for code in label.questions if code not in asked)

    def _chances(self, entry: _Entry, number: int) -> dict[str, float]:
        where = f"row {number} of [[row]]"
        values = next(question.values for question in self.question if question.code == entry.question)
        if entry.yes is not None:
            if entry.yes not in self.words:
                raise ValueError(f"{where} says {entry.yes!r}; use one of {', '.join(self.words)}")
            chances = {"yes": self.words[entry.yes], "no": 1 - self.words[entry.yes]}
        else:
            chances = entry.chances or {}
        if set(chances) != set(values):
            raise ValueError(f"{where} says {', '.join(chances) or 'nothing'}; it needs {', '.join(values)}")
        if not all(0 < chance < 1 for chance in chances.values()):
            raise ValueError(f"{where} needs chances between 0 and 1: nothing is certain")
        if abs(math.fsum(chances.values()) - 1) > _WHOLE:
            raise ValueError(f"{where} has chances that add up to {math.fsum(chances.values()):g}; 1 is needed")
        return chances


@cache
def load_rules() -> Rules:
    """Read the program's own table.

    Raises
    ------
    InputError
        The table is broken: a field missing or of the wrong type, an unknown
        name, a row missing or given twice, chances that do not add up.
    """
    return read_rules(read_toml(_FILE, hint=_HINT))


def read_rules(content: Mapping[str, Any]) -> Rules:
    """Check a table as TOML gives it, and build the rules.

    Parameters
    ----------
    content : mapping

    Raises
    ------
    InputError
        As `load_rules`.
    """
    file = checked(content, _File, _FILE.name, hint=_HINT)
    return Rules(
        labels={label.code: label for label in file.label},
        questions={question.code: question for question in file.question},
        sources={source.code: source for source in file.source},
        rows=file.rows(),
        weights=file.weights,
        advised_anywhere=file.advice["anywhere"],
        cautions=tuple(caution.text for caution in file.caution),
    )


def kind_of_basis(basis: str) -> str:
    """Sort a basis: 'common practice', 'from memory', 'the situation itself', or 'published' for a citation."""
    return basis if basis in (COMMON, MEMORY, SITUATION) else "published"
