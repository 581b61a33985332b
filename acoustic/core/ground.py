"""What is left to explain, as each kind of comb sees it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acoustic.core.lines import SMEAR, Comb, Match, erlang_surprise, lines_of, without_lines
from acoustic.core.spectra import OrderSpectra


@dataclass(frozen=True, slots=True)
class Ground:
    """What is left to explain, as each kind of comb sees it.

    Teeth do not slip, so a drivetrain's comb is narrow and is denied only the lines that
    a part of the bearing surely raises; those it may raise would take half of it along. A
    chain's mesh lies among the whole-turn lines, and is told from them by standing out.

    Attributes
    ----------
    slipping : OrderSpectra
        For the bearing's parts: without whole-turn lines, if those are certain.
    locked : OrderSpectra
        For wheels that the chain turns: the same, with the lines that a part only may raise.
    whole : OrderSpectra
        For the chain's mesh: with the whole-turn lines too.
    geared : bool
        Whether any comb looks at the last two.
    """

    slipping: OrderSpectra
    locked: OrderSpectra
    whole: OrderSpectra
    geared: bool

    @classmethod
    def of(cls, spectra: OrderSpectra, combs: Sequence[Comb]) -> Ground:
        """Before anything is explained, for these combs."""
        # A part near a whole number must not take itself out, and a drivetrain's higher harmonics lie low too.
        slow = [comb for comb in combs if comb.name != "cage" and not comb.whole]
        clear_of = [comb.order * k for comb in slow for k in range(1, 7 if comb.locked else 2)]
        quiet = _without_turn_lines(spectra, clear_of)
        return cls(quiet, quiet, spectra, any(comb.locked for comb in combs))

    def under(self, comb: Comb) -> OrderSpectra:
        """The spectra in which a comb is looked for."""
        return self.whole if comb.whole else self.locked if comb.locked else self.slipping

    def without(self, match: Match, *, cage: float) -> Ground:
        """What is left when a match's lines are taken out."""
        highest = float(self.slipping.orders[-1])
        every = lines_of(match, highest=highest, cage=cage)
        slipping = without_lines(self.slipping, every, smear=SMEAR)
        if not self.geared:
            return replace(self, slipping=slipping)
        sure = every if match.comb.locked else lines_of(match, highest=highest)
        return replace(
            self,
            slipping=slipping,
            locked=without_lines(self.locked, sure, smear=SMEAR),
            whole=without_lines(self.whole, sure, smear=SMEAR),
        )


def _without_turn_lines(spectra: OrderSpectra, orders: Sequence[float]) -> OrderSpectra:
    """Take out whole-turn lines where they are certain: a loose arm or a rubbing guard is no ball pass.

    Only the first six turn lines decide, and of those only what lies clear of
    `orders`: a ball pass near a whole number must not take itself out.
    """
    lines = [k for k in range(1, 7) if all(abs(k - order) > 0.35 for order in orders)]
    index = np.rint(np.array(lines) / spectra.orders[1]).astype(np.intp)
    surprise = float(erlang_surprise(index.size, spectra.weight[:, index].sum(axis=1)).max()) if lines else 0.0
    if surprise < math.log(len(spectra.runs)) + 12:
        return spectra
    whole = np.arange(1.0, float(spectra.orders[-1]))
    return without_lines(spectra, whole, smear=0.0, half=0.7 / spectra.turns)
