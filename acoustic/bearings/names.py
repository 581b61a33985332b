"""A bearing's name settled: whatever marks of seal and clearance stand behind it, one bearing has one designation.

A name is matched from its front, against the names that the catalogue has, the longest first; what is left over
must be marks that makers put behind a designation. Marks taken off the end would leave 690 of 6902ZZ.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

from acoustic.bearings.catalogue import plain
from acoustic.errors import InputError

if TYPE_CHECKING:
    from acoustic.bearings.catalogue import CatalogueRow

# Makers' catalogues, from memory: marks for seals that touch, for those that barely or do not, and for shields.
_CONTACT = r"2?RS(?:1|H|R|D|J)?|LLU|LU|DDU?|2?RU"
_LOW = r"2?RSL|2?RZ|LLB|LB|LLH|LH|LLF|VV|V"
_SHIELD = r"2?ZZ?E?|2?ZR"
# Then clearance, precision and heat treatment. VRS does not tell how its seal touches.
_MARKS = re.compile(
    rf"/?(?:(?P<contact>{_CONTACT})|(?P<low>{_LOW})|(?P<shield>{_SHIELD})|VRS)?"
    r"(?:/?(?:C[2-5]|CN|CM|P[4-6]|ABEC[1-9]|S[0-2]))*"
)
# A seal's mark that stands between the number and AC for angular contact, or the word for a full complement.
_BETWEEN = re.compile(rf"(?:{_CONTACT}|{_LOW}|{_SHIELD}|VRS)(?=(AC|MAX|FULL)$)")
_STAINLESS = re.compile(r"SS?(?=\d)")  # makers' mark in front of a designation, from memory
_NUMBER = r"(\d+(?:\.\d+)?)\s*(?:mm\s*)?"
_SIZE = re.compile(rf"{_NUMBER}x\s*{_NUMBER}x\s*{_NUMBER}")
_NAMED = 4  # nearest names in a refusal: as many as fit a line


@dataclass(frozen=True, slots=True)
class Settled:
    """Which bearing a name means.

    Attributes
    ----------
    designation : str
        As the catalogue has it.
    seal : str
        What the marks say: 'contact', 'low-friction', 'shield'; empty where they say nothing.
    """

    designation: str
    seal: str = ""


def row_named(catalogue: Sequence[CatalogueRow], name: str) -> tuple[CatalogueRow, str] | None:
    """Find the row whose name a text begins with, and what the marks behind it say of the seal.

    Parameters
    ----------
    catalogue : sequence of CatalogueRow
    name : str
        For example '6805', '6805-2rs', '61805 2RS/C3', 'S6902ZZ'.

    Returns
    -------
    tuple of CatalogueRow and str, or None
        The seal as `Settled` has it; None where no row's name stands in front, or something else behind it.
    """
    typed = plain(name)
    spellings = sorted(
        ((plain(known), row) for row in catalogue for known in row.names), key=lambda one: -len(one[0])
    )
    cuts = [one for start in range(len(typed), 0, -1) if (one := _BETWEEN.match(typed, start)) is not None]
    moved = [f"{typed[: one.start()]}{one[1]}{one[0]}" for one in cuts]
    for text in dict.fromkeys((typed, *moved, _STAINLESS.sub("", typed, count=1))):
        for spelling, row in spellings:
            marks = _MARKS.fullmatch(text.removeprefix(spelling)) if text.startswith(spelling) else None
            if marks is not None:
                kinds = {"contact": "contact", "low": "low-friction", "shield": "shield"}
                return row, kinds.get(marks.lastgroup or "", "")
    return None


def rows_of_size(catalogue: Sequence[CatalogueRow], text: str) -> tuple[CatalogueRow, ...] | None:
    """The rows of a size, as '25x37x7'; None where the text is no size."""
    match = _SIZE.fullmatch(text.lower().replace("×", "x").strip())
    if match is None:
        return None
    size_mm = tuple(float(number) for number in match.groups())
    return tuple(row for row in catalogue if (row.bore_mm, row.outside_mm, row.width_mm) == size_mm)


def plain_of(rows: Sequence[CatalogueRow]) -> Sequence[CatalogueRow]:
    """By size alone the plain kind is meant; an angular-contact one is asked for by name."""
    return [row for row in rows if row.kind == "deep groove"] or rows


def settle(catalogue: Sequence[CatalogueRow], name: str) -> Settled:
    """Settle a bearing's name.

    Parameters
    ----------
    catalogue : sequence of CatalogueRow
    name : str
        A designation or alias with or without marks, or a size ('24x37x7').

    Returns
    -------
    Settled

    Raises
    ------
    InputError
        No bearing of the catalogue has this name; the nearest are listed. Or several answer to it.
    """
    named = row_named(catalogue, name)
    if named is not None:
        return Settled(named[0].designation, named[1])
    meant = plain_of(rows_of_size(catalogue, name) or ())
    if len(meant) == 1:
        return Settled(meant[0].designation)
    if meant:
        raise InputError(
            f"{name!r} names no single bearing; it may mean {', '.join(row.designation for row in meant)}",
            hint="Give its designation in full.",
        )
    spellings = {plain(known): row.designation for row in catalogue for known in row.names}
    near = dict.fromkeys(spellings[one] for one in get_close_matches(plain(name), spellings, n=_NAMED, cutoff=0.0))
    raise InputError(
        f"no bearing in the catalogue is called {name!r}; the nearest names are {', '.join(near)}",
        hint="See `acoustic bearings`. A bearing that it lacks can be added with --catalogue.",
    )
