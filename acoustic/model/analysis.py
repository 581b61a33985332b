"""Everything a detector may look at, and the whole result of one check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from acoustic.conditions import Condition, table
from acoustic.dsp.levels.background import OverRoom
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.orders.evidence import BallCount, PartEvidence, Unexplained
from acoustic.dsp.orders.spectrum import OrderSpectra
from acoustic.dsp.orders.tracking import AngleLevels
from acoustic.dsp.transients import Clicks
from acoustic.model.bearing import Bearing
from acoustic.model.drivetrain import HeardDrivetrain
from acoustic.model.motion import Motion
from acoustic.model.recording import Recording
from acoustic.model.verdict import Failure, Finding, Quality, Verdict


@dataclass(frozen=True, slots=True, eq=False)
class Features:
    """Everything a detector may look at.

    Attributes
    ----------
    recording : Recording
    motion : Motion
    bearing : Bearing
    bank : BandBank
        Short-time levels of every band over the whole recording.
    room : BandBank or None
        The same of the room alone, where it was recorded apart.
    over : OverRoom or None
        The turning part's level over the room's; None without still parts or room.
    levels : AngleLevels
        The same over the background level, in bins of crank angle, over the turning part.
    spectra : OrderSpectra
        Whitened order spectra of those levels.
    parts : tuple of PartEvidence
        How strongly the lines of each part of the bearing stand in the spectra.
    drivetrain : HeardDrivetrain
        The same of chain, jockey wheel and hub, which are no part of the bearing.
    counts : tuple of BallCount
        How likely each ball count tried is, likeliest first.
    unexplained : Unexplained
        The clearest impact train that no part of the bearing or the drivetrain makes.
    clicks : Clicks
        Short clicks in the whole recording, without the speed marker's own.
    """

    recording: Recording
    motion: Motion
    bearing: Bearing
    bank: BandBank
    room: BandBank | None
    over: OverRoom | None
    levels: AngleLevels
    spectra: OrderSpectra
    parts: tuple[PartEvidence, ...]
    drivetrain: HeardDrivetrain
    counts: tuple[BallCount, ...]
    unexplained: Unexplained
    clicks: Clicks


@dataclass(frozen=True, slots=True, eq=False)
class Analysis:
    """The whole result of one check: the one source for every kind of output."""

    recording: Recording
    bearing: Bearing
    quality: Quality
    motion: Motion | None
    features: Features | None
    findings: tuple[Finding, ...]
    verdict: Verdict
    failures: tuple[Failure, ...]
    plugin_versions: Mapping[str, str]
    conditions: Mapping[str, Condition] = field(default_factory=lambda: table().conditions)

    def condition(self, finding: Finding) -> Condition:
        """What a finding is called and said of."""
        return self.conditions[finding.condition]
