"""The table of conditions: what each is called, from which severity it is graded how, and what is said of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, Literal

import msgspec

from acoustic.structures import checked, read_toml

Level = Literal["clean", "watch", "service", "replace", "undecided"]
Role = Literal[
    "strikes",  # it strikes in time with the crank
    "ring",  # beside roughness it means rust
    "needed_for_clean",  # unless it was judged, nothing is clean
    "by_the_seat",  # a tight or crooked seat can bring it about
    "needed_at_the_seat",  # unless it was judged, a seat stays open
    "eased_by_preload",
    "blamed_by_hand",  # triage: with the chain off it speaks against the bearing
    "blamed_pedalled",  # triage: with the chain on as well
]
ORDER: tuple[Level, ...] = ("clean", "watch", "service", "replace")
_TABLE = Path(__file__).with_suffix(".toml")
_HINT = "See the rows beside it for what each needs, or install the program again."


class Rule(msgspec.Struct, frozen=True, kw_only=True):
    """From a severity on, a grade: for this reason, with this next step.

    Attributes
    ----------
    level : Level
    because : str
        The reason, as the end of a sentence.
    advice : str
        The workshop's next step.
    means : str
        What it means for the ride, to the rider.
    to_do : tuple of str
        What the rider is to do.
    from_db : float
        Severity from which it counts [dB over the running noise]; minus infinity where all that is detected does.
    """

    level: Level
    because: str
    advice: str
    means: str = ""
    to_do: tuple[str, ...] = ()
    from_db: float = -math.inf


class Condition(msgspec.Struct, frozen=True, kw_only=True):
    """What may be found, and how it is graded and told.

    Attributes
    ----------
    code : str
        Lower case; a plugin's own has a dot in it.
    name : str
        As reports print it.
    rules : tuple of Rule
        The most severe first; the last takes whatever is left.
    noise : str
        What is heard, as a noun: 'strikes of the outer ring'.
    rider : str
        A sentence to a rider, who need not know how a bearing is made.
    roles : frozenset of str
        What it counts for besides its own grade, see `Role`.
    may_be : tuple of str
        Conditions between which it does not decide.
    worn_over_visits_db : float or None
        Severity from which it asks for a new bearing against the same bearing's own earlier visits [dB].
    """

    code: str
    name: str
    rules: tuple[Rule, ...]
    noise: str = ""
    rider: str = ""
    roles: frozenset[Role] = frozenset()
    may_be: tuple[str, ...] = ()
    worn_over_visits_db: float | None = None

    @property
    def heard(self) -> str:
        """The sentence to a rider; of a condition that brings none along, its name."""
        return self.rider or f"What a plugin calls {self.name}."

    def rule_at(self, severity_db: float | None) -> Rule:
        """The line of the table that a detected finding falls under."""
        at_db = -math.inf if severity_db is None else severity_db
        return next((rule for rule in self.rules if at_db >= rule.from_db), self.rules[-1])


class Clean(msgspec.Struct, frozen=True, kw_only=True):
    """What a clean bearing needs, and what is said of it; `would_have_found_db` is over the running noise [dB]."""

    would_have_found_db: float
    because: str
    rider: str
    means: str
    advice: str


class Table(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that a verdict is read off.

    Attributes
    ----------
    conditions : mapping of str to Condition
        By code, in the order of reports.
    grades : mapping of str to str
        Each grade as the rider reads it.
    clean : Clean
    corroded, strikes_by_ear, faint_by_ear : Rule
        What several findings mean together, and strikes of which nothing but the sound tells the speed.
    film_it, chain_off, turn_by_hand : str
        Advice that is given for other reasons as well.
    drags_more : float
        Times the drag of the fresh install from which a crank drags more.
    """

    conditions: dict[str, Condition]
    grades: dict[Level, str]
    clean: Clean
    corroded: Rule
    strikes_by_ear: Rule
    faint_by_ear: Rule
    film_it: str
    chain_off: str
    turn_by_hand: str
    drags_more: float

    def having(self, role: Role) -> tuple[str, ...]:
        """Codes of the conditions that play a role, in order."""
        return tuple(code for code, condition in self.conditions.items() if role in condition.roles)


class _Limit(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    level: Level
    because: str
    advice: tuple[str, ...]
    means: str
    to_do: tuple[str, ...]
    from_db: float = -math.inf
    source: str = ""

    def __post_init__(self) -> None:
        if math.isfinite(self.from_db) and not self.source:
            raise ValueError("a limit in dB needs its source, or the word judgement")


class _Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    code: str
    name: str
    noise: str
    rider: str
    limit: tuple[_Limit, ...]
    roles: frozenset[Role] = frozenset()
    may_be: tuple[str, ...] = ()
    worn_over_visits_db: float | None = None


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    clean: Clean
    drag: dict[str, float]
    grades: dict[Level, str]
    advice: dict[str, str]
    means: dict[str, str]
    condition: tuple[_Row, ...]
    corroded: _Limit
    strikes_by_ear: _Limit
    faint_by_ear: _Limit

    def __post_init__(self) -> None:
        limits = [limit for row in self.condition for limit in row.limit]
        for limit in (*limits, self.corroded, self.strikes_by_ear, self.faint_by_ear):
            for texts, names in ((self.advice, (*limit.advice, *limit.to_do)), (self.means, (limit.means,))):
                unknown = [name for name in names if name not in texts]
                if unknown:
                    raise ValueError(f"a limit names {unknown[0]!r}; use one of {', '.join(texts)}")

    def rule(self, limit: _Limit) -> Rule:
        """A limit with its texts in place of their names."""
        return Rule(
            from_db=limit.from_db,
            level=limit.level,
            because=limit.because,
            advice=" ".join(self.advice[name] for name in limit.advice),
            means=self.means[limit.means],
            to_do=tuple(self.advice[name] for name in limit.to_do),
        )


@cache
def table() -> Table:
    """Read the table of conditions that comes with the program.

    Returns
    -------
    Table

    Raises
    ------
    InputError
        As `read_table`.
    """
    return read_table(read_toml(_TABLE, hint=_HINT))


def read_table(content: Mapping[str, Any]) -> Table:
    """Check a table as TOML gives it, and put its texts in place of their names.

    Parameters
    ----------
    content : mapping

    Returns
    -------
    Table

    Raises
    ------
    InputError
        The table is broken: which row and field, what was found and what is needed.
    """
    file = checked(content, _File, _TABLE.name, hint=_HINT)
    conditions = {
        row.code: Condition(
            code=row.code,
            name=row.name,
            rules=tuple(map(file.rule, row.limit)),
            noise=row.noise,
            rider=row.rider,
            roles=row.roles,
            may_be=row.may_be,
            worn_over_visits_db=row.worn_over_visits_db,
        )
        for row in file.condition
    }
    return Table(
        conditions=conditions,
        grades=file.grades,
        clean=msgspec.structs.replace(file.clean, advice=file.advice[file.clean.advice]),
        corroded=file.rule(file.corroded),
        strikes_by_ear=file.rule(file.strikes_by_ear),
        faint_by_ear=file.rule(file.faint_by_ear),
        film_it=file.advice["film_it"],
        chain_off=file.advice["chain_off"],
        turn_by_hand=file.advice["turn_by_hand"],
        drags_more=file.drag["more_than_fresh"],
    )
