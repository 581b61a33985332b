"""The triage's rule table: sources, circumstances, how likely each answer is, and who says so."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

import msgspec

from acoustic.structures import AboveZero, Text, checked, read_toml

COMMON, MEMORY = "common practice", "from memory"
Question = Literal["noise", "locked", "once", "bearing", "chain"]
QUESTIONS: tuple[Question, ...] = get_args(Question)
_FILE = Path(__file__).with_name("rules.toml")
_HINT = "See the tables beside it for what each needs"


Texts = Annotated[tuple[Text, ...], msgspec.Meta(min_length=1)]


class Circumstance(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A way to record the bike, with the questions that such a recording can answer."""

    code: Text
    words: Text
    how: Text
    questions: Annotated[tuple[Question, ...], msgspec.Meta(min_length=1)]


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
    """How likely one question is answered yes if one source is to blame.

    Attributes
    ----------
    probability : float
        As the word says, before any weight.
    why : str
    basis : str
        A citation, 'common practice' or 'from memory'.
    weight : float
        What its log odds are multiplied with.
    """

    probability: float
    why: str
    basis: str
    weight: float

    def chance(self, *, yes: bool, weight: float = 1.0) -> float:
        """Chance of an answer, its log odds shrunk by the row's weight and another one."""
        log_odds = math.log(self.probability / (1 - self.probability)) * self.weight * weight
        return 1 / (1 + math.exp(-log_odds if yes else log_odds))


@dataclass(frozen=True, slots=True)
class Rules:
    """The whole table.

    Attributes
    ----------
    labels : mapping of str to Circumstance
    sources : mapping of str to Source
    rows : mapping of (question, label, source) to Row
        One for every question of every label and every source.
    weights : mapping of str to float
        'told', 'measured', 'measured_silent': how far an answer is believed.
    cautions : tuple of str
    """

    labels: Mapping[str, Circumstance]
    sources: Mapping[str, Source]
    rows: Mapping[tuple[str, str, str], Row]
    weights: Mapping[str, float]
    cautions: tuple[str, ...]


class _Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    question: Question
    labels: Texts
    sources: Texts
    yes: Text
    why: Text
    basis: Text


class _Caution(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    text: Text
    basis: Text


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    words: dict[str, float]
    weights: dict[str, float]
    label: tuple[Circumstance, ...]
    source: tuple[Source, ...]
    row: tuple[_Entry, ...]
    caution: tuple[_Caution, ...]

    def __post_init__(self) -> None:
        if not all(0 < share < 1 for share in self.words.values()):
            raise ValueError("every word needs a share between 0 and 1: nothing is certain")
        if not all(0 < weight <= 1 for weight in self.weights.values()):
            raise ValueError("every weight must be above 0 and at most 1")
        self.rows()

    def rows(self) -> dict[tuple[str, str, str], Row]:
        """Spread the entries over their labels and sources; each cell must be filled once."""
        sources = [source.code for source in self.source]
        wanted = {(q, label.code, source) for label in self.label for q in label.questions for source in sources}
        rows: dict[tuple[str, str, str], Row] = {}
        for number, entry in enumerate(self.row, 1):
            if entry.yes not in self.words:
                raise ValueError(f"row {number} of [[row]] says {entry.yes!r}; use one of {', '.join(self.words)}")
            weight = self.weights[kind_of_basis(entry.basis)]
            row = Row(self.words[entry.yes], entry.why, entry.basis, weight)
            for cell in ((entry.question, label, source) for label in entry.labels for source in entry.sources):
                if cell not in wanted:
                    raise ValueError(f"row {number} of [[row]] is for {' / '.join(cell)}, which is never asked")
                if cell in rows:
                    raise ValueError(f"two rows of [[row]] are for {' / '.join(cell)}")
                rows[cell] = row
        missing = sorted(wanted - set(rows))
        if missing:
            raise ValueError(f"no row of [[row]] is for {' / '.join(missing[0])}")
        return rows


@cache
def load_rules() -> Rules:
    """Read the program's own table.

    Raises
    ------
    InputError
        The table is broken: a field missing or of the wrong type, an unknown
        name, a row missing or given twice.
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
        sources={source.code: source for source in file.source},
        rows=file.rows(),
        weights=file.weights,
        cautions=tuple(caution.text for caution in file.caution),
    )


def kind_of_basis(basis: str) -> str:
    """Sort a basis: 'common practice', 'from memory', or 'published' for a citation."""
    return basis if basis in (COMMON, MEMORY) else "published"
