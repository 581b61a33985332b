"""What the ranking of parts tells of each of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

NAMED = 0.97  # posterior past which a part is named; judgement: one name in thirty may be wrong
SIGNIFICANT = 0.01  # a chance: rarer than one healthy bearing in a hundred (judgement)
FAINT = 0.01  # -20 dB: weaker lines are a healthy bearing's, or the skirts of some other train


@dataclass(frozen=True, slots=True, kw_only=True)
class PartEvidence:
    """How strongly one part's lines stand in the recording.

    Attributes
    ----------
    part : str
        One of `PARTS`, or 'chain', 'jockey' or 'hub'.
    chance : float
        Chance of harmonics as clear where there are none, all searching counted in.
    posterior : float
        Probability of the part among all hypotheses for the lines it was chosen for; 0 where it was not.
    rivals : tuple of str
        Parts that explain the same lines nearly as well.
    order, expected_order : float
        Base order found, and computed.
    harmonics : int
        Main lines that stand.
    balls : int
        Ball count of the geometry that it was found with; 0 where it plays no part.
    with_cage : bool
        It comes round with the cage, whose order `order` is.
    group : int
        Row of the spectra in which it is clearest.
    impact_ratio : float
        Mean power of the events over the level beneath, in the group they stand highest in
        of those that speak for them.
    loudest_group : (int, int)
        First and last band of that group.
    wide_ratio : float
        The same power over all bands that strikes ring, so that a narrow resonance alone is not severe.
    wide_group : (int, int)
        First and last of those bands.
    """

    part: str
    chance: float
    posterior: float
    rivals: tuple[str, ...]
    order: float
    expected_order: float
    harmonics: int
    balls: int
    with_cage: bool
    group: int
    impact_ratio: float
    loudest_group: tuple[int, int]
    wide_ratio: float
    wide_group: tuple[int, int]

    @property
    def paced_by(self) -> str:
        """The part whose pace its strikes keep: its own, or the cage's."""
        return "cage" if self.with_cage else self.part

    @property
    def impact_db(self) -> float:
        """The events' power over the level beneath [dB]."""
        return 10 * math.log10(max(self.impact_ratio, 1e-9))

    @property
    def named(self) -> bool:
        """Whether its lines are this part's and no other's."""
        return self.posterior >= NAMED and not self.rivals

    @property
    def certain(self) -> bool:
        """Whether its lines are there beyond doubt, and more than the skirts of others."""
        return self.chance < SIGNIFICANT and self.impact_ratio > FAINT


@dataclass(frozen=True, slots=True)
class BallCount:
    """How likely a count of balls is, by the clearest part's lines, among all counts tried."""

    balls: int
    probability: float


@dataclass(frozen=True, slots=True)
class Unexplained:
    """The clearest impact train among the orders that no part explains.

    Attributes
    ----------
    order : float
        Strikes a turn.
    chance : float
        Chance of one as clear under none, all orders searched counted in.
    impact_ratio : float
        Mean power of the strikes over the level beneath; 0 where the chance is above 0.05.
    """

    order: float
    chance: float
    impact_ratio: float


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """The parts of a bearing and of the drivetrain, ranked.

    Attributes
    ----------
    parts : tuple of PartEvidence
        One for each of `PARTS`, in the order they were settled.
    drive : tuple of PartEvidence
        One for each set of the drivetrain.
    counts : tuple of BallCount
        The counts tried, likeliest first.
    unexplained : Unexplained
        The clearest train in what is left when the parts found are taken out.
    """

    parts: tuple[PartEvidence, ...]
    drive: tuple[PartEvidence, ...]
    counts: tuple[BallCount, ...]
    unexplained: Unexplained
