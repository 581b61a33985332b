"""The frozen objects that travel down the chain, from recording to analysis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.core.angle import AngleLevels
from acoustic.core.clicks import Clicks
from acoustic.core.envelope import BandBank
from acoustic.core.geometry import BearingGeometry
from acoustic.core.rings import PartEvidence
from acoustic.core.spectra import OrderSpectra
from acoustic.core.still import OverRoom
from acoustic.core.stray import StrayBeat

Spin = Literal["hand", "pedal", "steady"]
SpeedSourceCode = Literal["stated", "turns", "marks", "ticks", "channel", "gyro", "film", "sound"]
Level = Literal["clean", "watch", "service", "replace", "undecided"]
CONDITIONS = (
    "outer_raceway",
    "inner_raceway",
    "ball",
    "cage",
    "raceway",
    "rumble",
    "contamination",
    "creak",
    "tight",
    "drivetrain",
)


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that was done to the data: what, by whom, with which settings."""

    name: str
    by: str
    params: Mapping[str, float | int | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """What a reader gives back.

    Attributes
    ----------
    samples : ndarray, shape (n, channels)
        Full scale is 1.0; float files may exceed it and are left so.
    sample_rate_hz : float
        The file's own rate [Hz].
    format : str
        Container and coding in words, "WAV, signed 16 bit PCM".
    """

    samples: NDArray[np.float64]
    sample_rate_hz: float
    format: str


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A decoded recording and what was done to it.

    Attributes
    ----------
    path : Path
    sha256 : str
        Of the file's bytes.
    samples : ndarray, shape (n, channels)
        Full scale is 1.0; read-only.
    sample_rate_hz : float
    format : str
    channel : int
        The channel that is judged, counted from 0.
    steps : tuple of Step
    """

    path: Path
    sha256: str
    samples: NDArray[np.float64]
    sample_rate_hz: float
    format: str
    channel: int = 0
    steps: tuple[Step, ...] = ()

    def __post_init__(self) -> None:
        self.samples.flags.writeable = False

    @property
    def duration_s(self) -> float:
        """Length of the recording [s]."""
        return len(self.samples) / self.sample_rate_hz

    @property
    def heard(self) -> NDArray[np.float64]:
        """The judged channel, shape (n,)."""
        heard: NDArray[np.float64] = self.samples[:, self.channel]
        return heard

    def then(self, step: Step, *, channel: int | None = None) -> Recording:
        """Return the recording with one more step in its record."""
        chosen = self.channel if channel is None else channel
        return replace(self, channel=chosen, steps=(*self.steps, step))


@dataclass(frozen=True, slots=True)
class Bearing:
    """The bearing to judge against, with every ball count it may have.

    Attributes
    ----------
    designation : str
        As catalogued, or 'as given'.
    candidates : tuple of BearingGeometry
        Likeliest first; they differ in ball count (and ball size where makers do).
    balls_source : {'catalogue', 'given', 'inferred'}
    source : str
        Where the numbers come from.
    rows : int
        1 or 2. Both rows share their orders.
    """

    designation: str
    candidates: tuple[BearingGeometry, ...]
    balls_source: Literal["catalogue", "given", "inferred"]
    source: str
    rows: int = 1

    @property
    def geometry(self) -> BearingGeometry:
        """The likeliest geometry."""
        return self.candidates[0]


@dataclass(frozen=True, slots=True)
class SpeedRequest:
    """What the user said about the crank's speed."""

    speed_rpm: float | None = None
    marks: Path | None = None
    ticks: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Crank angle against time, over the part that turns.

    Attributes
    ----------
    times_s : ndarray, shape (k,)
        Strictly increasing, from the start to the end of the turning part.
    turns : ndarray, shape (k,)
        Crank angle [turns] at those times, strictly increasing.
    source : str
        How it was found: 'stated', 'marks', 'ticks', ...
    spin : {'hand', 'pedal', 'steady'}
    relative_uncertainty : float
        Of the speed, one standard deviation over the value.
    scale_known : bool
        False where only the shape of the run-down is known, not its scale.
    still : tuple of (float, float)
        Parts without motion [s, s], for the room's own noise.
    own_clicks_s : ndarray, shape (j,)
        Times of sounds made by the speed marker itself [s]; no evidence.
    """

    times_s: NDArray[np.float64]
    turns: NDArray[np.float64]
    source: SpeedSourceCode
    spin: Spin
    relative_uncertainty: float
    scale_known: bool
    still: tuple[tuple[float, float], ...] = ()
    own_clicks_s: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        for array in (self.times_s, self.turns, self.own_clicks_s):
            array.flags.writeable = False

    @property
    def start_s(self) -> float:
        """Start of the turning part [s]."""
        return float(self.times_s[0])

    @property
    def stop_s(self) -> float:
        """End of the turning part [s]."""
        return float(self.times_s[-1])

    @property
    def total_turns(self) -> float:
        """Turns made in the turning part."""
        return float(self.turns[-1] - self.turns[0])

    @property
    def speed_hz(self) -> NDArray[np.float64]:
        """Crank speed [turns/s] at `times_s`."""
        speed: NDArray[np.float64] = np.gradient(self.turns, self.times_s)
        return speed


@dataclass(frozen=True, slots=True)
class Problem:
    """Something about the recording that limits what can be said.

    Attributes
    ----------
    code : str
        Lower case with underscores.
    detail : str
        What was found and what was needed.
    advice : str
        How to record again.
    voids : {'nothing', 'clean', 'any'}
        Which verdicts would be a guess: none, 'clean' alone, or any.
    """

    code: str
    detail: str
    advice: str
    voids: Literal["nothing", "clean", "any"] = "nothing"


@dataclass(frozen=True, slots=True)
class Quality:
    """All problems found, and whether they leave more than a guess."""

    problems: tuple[Problem, ...] = ()
    usable: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Hearing:
    """Everything a detector may look at.

    Attributes
    ----------
    recording : Recording
    motion : Motion
    bearing : Bearing
    bank : BandBank
        Short-time levels of every band over the whole recording.
    over : OverRoom or None
        The turning part's level over the room's; None without still parts.
    levels : AngleLevels
        The same over the running level, in cells of crank angle, over the turning part.
    spectra : OrderSpectra
        Whitened order spectra of those levels.
    parts : tuple of PartEvidence
        How strongly the lines of each part of the bearing stand in the spectra.
    stray : StrayBeat
        The clearest beat that no part of the bearing makes.
    clicks : Clicks
        Short clicks in the whole recording, without the speed marker's own.
    """

    recording: Recording
    motion: Motion
    bearing: Bearing
    bank: BandBank
    over: OverRoom | None
    levels: AngleLevels
    spectra: OrderSpectra
    parts: tuple[PartEvidence, ...]
    stray: StrayBeat
    clicks: Clicks


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What a finding rests on; None where it does not apply.

    Attributes
    ----------
    order, expected_order : float or None
        Order found and order computed from the geometry.
    harmonics : int or None
        How many harmonics carried the evidence.
    band_hz : (float, float) or None
        Frequency band it was heard in.
    balls : int or None
        Ball count the expected order was computed with.
    """

    order: float | None = None
    expected_order: float | None = None
    harmonics: int | None = None
    band_hz: tuple[float, float] | None = None
    balls: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One condition, judged.

    Attributes
    ----------
    condition : str
        One of `CONDITIONS`.
    detected : bool
        Significant and stronger than sound bearings show.
    false_alarm_probability : float
        Chance that a sound bearing in this recording scores as high.
    severity_db : float or None
        The defect's part against the bearing's own running noise [dB].
    detail : str
        One plain sentence.
    evidence : Evidence
    judged : bool
        False where the recording does not allow a judgement; `detail` says why.
    by : str
        Plugin name and version; filled in by the chain.
    """

    condition: str
    detected: bool
    false_alarm_probability: float
    severity_db: float | None
    detail: str
    evidence: Evidence = Evidence()
    judged: bool = True
    by: str = ""

    def __post_init__(self) -> None:
        if self.condition not in CONDITIONS:
            raise ValueError(f"condition must be one of {', '.join(CONDITIONS)}; got {self.condition!r}")
        if not 0 <= self.false_alarm_probability <= 1:
            raise ValueError(f"a probability is needed from 0 to 1, got {self.false_alarm_probability}")
        if self.severity_db is not None and not np.isfinite(self.severity_db):
            raise ValueError(f"severity_db must be a finite number or None, got {self.severity_db}")


@dataclass(frozen=True, slots=True)
class Failure:
    """A plugin that failed: at which stage, which, and how."""

    stage: str
    plugin: str
    error: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """The grade, why, and what to do."""

    level: Level
    because: tuple[str, ...]
    advice: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Analysis:
    """The whole result of one check: the one source for every kind of output."""

    recording: Recording
    bearing: Bearing
    quality: Quality
    motion: Motion | None
    hearing: Hearing | None
    findings: tuple[Finding, ...]
    verdict: Verdict
    failures: tuple[Failure, ...]
    plugin_versions: Mapping[str, str]
