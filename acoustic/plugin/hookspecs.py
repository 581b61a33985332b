"""The hooks a plugin may implement. Each only offers objects; none touches a signal.

Every object offered has `name` and `summary`, save conditions. Object protocols are
below; a plugin module declares ``ACOUSTIC_API = (1, 0)``.

What a plugin raises, SystemExit and a KeyboardInterrupt of its own included, becomes
a failure with its name; what it prints or writes to file descriptor 1 goes to stderr;
what takes it longer than two seconds is told on stderr. One process cannot meet more
than that: a plugin that calls `os._exit`, crashes in compiled code, loops there
without end, or takes all memory takes the whole command with it. Nothing is printed
on stdout then, which scripts must read as no answer, never as a pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import pluggy

if TYPE_CHECKING:
    from acoustic.conditions import Condition
    from acoustic.model import Features, Finding, Motion, Problem, Recording, Sound, SpeedRequest
    from acoustic.plugin.options import Option

API_VERSION = (1, 0)  # the first number changes when a name in acoustic.api changes its meaning
PROJECT = "acoustic"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


class Offered(Protocol):
    """What every offered object tells of itself."""

    @property
    def name(self) -> str: ...
    @property
    def summary(self) -> str: ...


class Reader(Offered, Protocol):
    """Turns a file into samples."""

    def claims(self, head: bytes) -> bool:
        """Tell from the first 4096 bytes whether this reader may know the file."""

    def read(self, path: Path) -> Sound:
        """Decode the file at its own rate, every channel. `InputError` where it can't."""


class QualityCheck(Offered, Protocol):
    """Looks for what limits the verdict."""

    def check(self, recording: Recording, features: Features | None) -> Sequence[Problem]:
        """Find problems: of the samples while `features` is None, of the turning part once it is known."""


class SpeedSource(Offered, Protocol):
    """Finds the crank's angle against time."""

    @property
    def code(self) -> str:
        """Stands for the source in documents, and in `Motion.source`; one that is not bundled has a dot in it."""

    @property
    def label(self) -> str:
        """The source in words that fit after 'from' and 'by': 'the gyro'."""

    @property
    def rank(self) -> int:
        """Place in the order of trust; the lowest rank of several is used."""

    @property
    def options(self) -> tuple[Option, ...]:
        """What asks for it on the command line, declared in the entry-point group ``acoustic.options`` too."""

    def present(self, recording: Recording) -> bool:
        """Tell, at little cost, whether the recording may hold this source though nobody asked for it."""

    def estimate(self, recording: Recording, request: SpeedRequest) -> Motion:
        """Find the motion. `MotionError` where the recording holds none, `InputError` for wrong input."""


class Detector(Offered, Protocol):
    """Judges one condition or more."""

    @property
    def conditions(self) -> tuple[str, ...]:
        """Codes of the conditions that this detector judges, and no other detector does."""

    def detect(self, features: Features) -> Sequence[Finding]:
        """Judge the features; a finding for every condition in `conditions`."""


@hookspec
def acoustic_readers() -> Sequence[Reader]:
    """Readers this plugin offers, for files of sound."""


@hookspec
def acoustic_quality_checks() -> Sequence[QualityCheck]:
    """Checks of the recording this plugin offers."""


@hookspec
def acoustic_speed_sources() -> Sequence[SpeedSource]:
    """Ways to find the crank's angle this plugin offers."""


@hookspec
def acoustic_conditions() -> Sequence[Condition]:
    """Conditions of this plugin's own, each code with a dot in it, that its detectors judge."""


@hookspec
def acoustic_detectors() -> Sequence[Detector]:
    """Detectors of bearing conditions this plugin offers."""
