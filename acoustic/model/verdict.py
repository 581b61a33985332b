"""What detectors and checks find, and what follows from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from acoustic.conditions import Level, table
from acoustic.dsp.levels.filterbank import BandBank
from acoustic.dsp.orders.evidence import PartEvidence
from acoustic.model.plain import number, truth, whole, words

CONDITIONS = tuple(table().conditions)


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

    def __post_init__(self) -> None:
        for name in ("code", "detail", "advice"):
            words(getattr(self, name), name)
        if self.voids not in ("nothing", "clean", "any"):
            raise ValueError(f"voids must be 'nothing', 'clean' or 'any', got {self.voids!r}")


@dataclass(frozen=True, slots=True)
class Quality:
    """All problems found, and whether they leave more than a guess."""

    problems: tuple[Problem, ...] = ()
    usable: bool = True


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
        Frequency band it was found in.
    balls : int or None
        Ball count the expected order was computed with.
    may_be : tuple of str
        The conditions between which it cannot decide; empty where it names one.
    """

    order: float | None = None
    expected_order: float | None = None
    harmonics: int | None = None
    band_hz: tuple[float, float] | None = None
    balls: int | None = None
    may_be: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        settled: dict[str, object] = {"may_be": tuple(words(code, "may_be") for code in self.may_be)}
        for name, kind in (("order", number), ("expected_order", number), ("harmonics", whole), ("balls", whole)):
            value = getattr(self, name)
            settled[name] = None if value is None else kind(value, name)
        if self.band_hz is not None:
            low_hz, high_hz = self.band_hz
            settled["band_hz"] = (number(low_hz, "band_hz"), number(high_hz, "band_hz"))
        for name, value in settled.items():
            object.__setattr__(self, name, value)

    @classmethod
    def of_lines(cls, part: PartEvidence, bank: BandBank) -> Evidence:
        """Take over what a part's lines rest on, with the bands in which its events stand highest."""
        return cls(
            order=part.order,
            expected_order=part.expected_order,
            harmonics=part.harmonics,
            band_hz=bank.edges_hz(*part.loudest_group),
            balls=part.balls or None,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One condition, judged.

    Attributes
    ----------
    condition : str
        One of `CONDITIONS`, or a plugin's own with a dot in it.
    detected : bool
        Significant and stronger than healthy bearings show.
    false_alarm_probability : float
        Chance that a healthy bearing in this recording scores as high.
    severity_db : float or None
        The defect's part against the bearing's own running noise [dB].
    detail : str
        One plain sentence.
    evidence : Evidence
    judged : bool
        False where the recording does not allow a judgement; `detail` says why.
    by : str
        Plugin name and version; filled in by the chain.
    posterior : float or None
        Probability of this condition among all that were weighed against each other; None where none were.
    """

    condition: str
    detected: bool
    false_alarm_probability: float
    severity_db: float | None
    detail: str
    evidence: Evidence = Evidence()
    judged: bool = True
    by: str = ""
    posterior: float | None = None

    @classmethod
    def unjudged(cls, condition: str, detail: str) -> Finding:
        """Make the finding of a condition that the recording does not allow to judge."""
        return cls(
            condition=condition,
            detected=False,
            false_alarm_probability=1.0,
            severity_db=None,
            detail=detail,
            judged=False,
        )

    def __post_init__(self) -> None:
        for name in ("detected", "judged"):
            object.__setattr__(self, name, truth(getattr(self, name), name))
        for name in ("false_alarm_probability", "severity_db", "posterior"):
            value = getattr(self, name)
            if value is not None or name == "false_alarm_probability":
                object.__setattr__(self, name, number(value, name))
        words(self.detail, "detail")
        if self.condition not in CONDITIONS and "." not in self.condition:
            raise ValueError(
                f"condition must be one of {', '.join(CONDITIONS)}, or a code of the plugin's own with a dot in "
                f"it; got {self.condition!r}"
            )
        if not 0 <= self.false_alarm_probability <= 1:
            raise ValueError(f"a probability is needed from 0 to 1, got {self.false_alarm_probability}")
        if self.posterior is not None and not 0 <= self.posterior <= 1:
            raise ValueError(f"a posterior is needed from 0 to 1, got {self.posterior}")
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
    """The grade, why, and what to do.

    Attributes
    ----------
    level : str
    because, advice : tuple of str
    confidence : float or None
        Posterior of the condition that the grade rests on, 0 to 1; None where none was computed.
    would_have_found_db : float or None
        Severity of the weakest test defect that this recording would have shown, for outer and inner
        ring alike [dB]; None where none was tried or none of those tried was found.
    """

    level: Level
    because: tuple[str, ...]
    advice: tuple[str, ...]
    confidence: float | None = None
    would_have_found_db: float | None = None
