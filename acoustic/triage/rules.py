"""The triage's rule table: sources, circumstances, how likely each answer is, and who says so."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

COMMON, MEMORY = "common practice", "from memory"
QUESTIONS = ("noise", "locked", "once", "bearing", "chain")
_FILE = Path(__file__).with_name("rules.toml")
_FORM: dict[str, dict[str, type]] = {
    "label": {"code": str, "words": str, "how": str, "questions": list},
    "source": {
        "code": str,
        "words": str,
        "prior": float,
        "minutes": float,
        "check": str,
        "caution": str,
        "basis": str,
    },
    "row": {"question": str, "labels": list, "sources": list, "yes": str, "why": str, "basis": str},
    "caution": {"text": str, "basis": str},
}


@dataclass(frozen=True, slots=True)
class Circumstance:
    """A way to record the bike, with the questions that such a recording can answer."""

    code: str
    words: str
    how: str
    questions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Source:
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

    code: str
    words: str
    prior: float
    minutes: float
    check: str
    caution: str
    basis: str


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


@cache
def load_rules() -> Rules:
    """Read the program's own table.

    Raises
    ------
    ValueError
        The table is broken: a field missing or of the wrong type, an unknown
        name, a row missing or given twice.
    """
    return read_rules(tomllib.loads(_FILE.read_text(encoding="utf-8")))


def read_rules(content: Mapping[str, Any]) -> Rules:
    """Check a table as TOML gives it, and build the rules.

    Parameters
    ----------
    content : mapping

    Raises
    ------
    ValueError
        As `load_rules`.
    """
    known = {"words", "weights", *_FORM}
    if set(content) != known:
        raise ValueError(f"the rules need {', '.join(sorted(known))}; got {', '.join(sorted(content))}")
    for kind, form in _FORM.items():
        for number, entry in enumerate(content[kind], start=1):
            _check_entry(f"{kind} {number}", entry, form)
    words, weights = content["words"], content["weights"]
    if not all(0 < share < 1 for share in words.values()):
        raise ValueError("every word needs a share between 0 and 1: nothing is certain")
    if not all(0 < weight <= 1 for weight in weights.values()):
        raise ValueError("every weight must be above 0 and at most 1")
    labels = {entry["code"]: _circumstance(entry) for entry in content["label"]}
    sources = {entry["code"]: Source(**entry) for entry in content["source"]}
    return Rules(
        labels=labels,
        sources=sources,
        rows=_rows(content["row"], labels, sources, words, weights),
        weights=weights,
        cautions=tuple(entry["text"] for entry in content["caution"]),
    )


def kind_of_basis(basis: str) -> str:
    """Sort a basis: 'common practice', 'from memory', or 'published' for a citation."""
    return basis if basis in (COMMON, MEMORY) else "published"


def _check_entry(where: str, entry: Mapping[str, Any], form: Mapping[str, type]) -> None:
    if set(entry) != set(form):
        raise ValueError(f"{where} of the rules needs {', '.join(form)}; got {', '.join(entry)}")
    for field, kind in form.items():
        value = entry[field]
        if not isinstance(value, kind) or value in ("", []):
            raise ValueError(f"{where} of the rules, {field}: {kind.__name__} needed, got {value!r}")
        if isinstance(value, float) and not value > 0:
            raise ValueError(f"{where} of the rules, {field}: a number above 0 is needed, got {value}")


def _circumstance(entry: Mapping[str, Any]) -> Circumstance:
    unknown = set(entry["questions"]) - set(QUESTIONS)
    if unknown:
        raise ValueError(f"label {entry['code']} of the rules asks {', '.join(unknown)}, which nothing answers")
    return Circumstance(entry["code"], entry["words"], entry["how"], tuple(entry["questions"]))


def _rows(
    entries: Iterable[Mapping[str, Any]],
    labels: Mapping[str, Circumstance],
    sources: Mapping[str, Source],
    words: Mapping[str, float],
    weights: Mapping[str, float],
) -> dict[tuple[str, str, str], Row]:
    """Spread the entries over their labels and sources; each cell must be filled once."""
    wanted = {(q, label.code, source) for label in labels.values() for q in label.questions for source in sources}
    rows: dict[tuple[str, str, str], Row] = {}
    for entry in entries:
        if entry["yes"] not in words:
            raise ValueError(f"a row of the rules says {entry['yes']!r}; use one of {', '.join(words)}")
        row = Row(words[entry["yes"]], entry["why"], entry["basis"], weights[kind_of_basis(entry["basis"])])
        for cell in (
            (entry["question"], label, source) for label in entry["labels"] for source in entry["sources"]
        ):
            if cell not in wanted:
                raise ValueError(f"a row of the rules is for {' / '.join(cell)}, which is never asked")
            if cell in rows:
                raise ValueError(f"two rows of the rules are for {' / '.join(cell)}")
            rows[cell] = row
    missing = sorted(wanted - set(rows))
    if missing:
        raise ValueError(f"no row of the rules is for {' / '.join(missing[0])}")
    return rows
