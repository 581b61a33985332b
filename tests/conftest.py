"""Simulated recordings on disk and in memory, the command line called in-process, plugins made on the spot."""

from __future__ import annotations

import hashlib
import io
import json
import math
import os
import pickle
import sys
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import hypothesis
import numpy as np
import pytest
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent))
from films import FilmPlan, write_film

from acoustic.dsp.geometry import BearingGeometry
from acoustic.simulator import Spin, SpinPlan, simulate

# A busy machine is no fault of the code.
hypothesis.settings.register_profile("calm", max_examples=50, deadline=None, derandomize=True)
hypothesis.settings.load_profile("calm")

# What every spin shares: the bearing is a 6805 with 16 balls, clearly louder than the room.
COMMON: dict[str, Any] = {
    "geometry": BearingGeometry(balls=16, ball_diameter_mm=3.5, pitch_diameter_mm=31.0),
    "duration_s": 12.0,
    "turns": 11.5,
    "start_hz": 1.8,
    "running_db": 4.0,
    "level": 0.005,
    "seed": 7,
}
PEDALLED: dict[str, Any] = {"spin": "pedal", "start_hz": 1.25, "duration_s": 14.0}
# Plain cases, far from any limit, so that a shifted threshold does not turn them over.
CASES: dict[str, dict[str, Any]] = {
    "sound": {},
    "outer": {"defects": (("outer_raceway", 5.0),)},
    "inner": {"defects": (("inner_raceway", 6.0),), "load_zone": 0.8},
    "ball": {"defects": (("ball", 6.0),), "load_zone": 0.7},
    "rumble": {"defects": (("pitted", 17.0),)},
    "grit": {"defects": (("grit", 5.0),)},
    "ticking": {"ticks_db": 34.0},
    # Before a deeper pit the card would have to be louder.
    "ticking_outer": {"ticks_db": 34.0, "defects": (("outer_raceway", -4.0),)},
    "marked": {},  # with a switch on a second channel
    "steady": {"spin": "steady", "start_hz": 1.25},
    "steady_outer": {"spin": "steady", "start_hz": 1.25, "defects": (("outer_raceway", 5.0),)},
    "short": {"duration_s": 7.0, "turns": 6.5},
    "short_outer": {"duration_s": 7.0, "turns": 6.5, "defects": (("outer_raceway", 5.0),)},
    # Strikes of the drivetrain as strong as a defect's; chain of 50 links a turn, jockey wheels of 11 teeth.
    "pedalled": PEDALLED,
    "chain": {**PEDALLED, "defects": (("chain", 5.0),)},
    "jockey": {**PEDALLED, "defects": (("jockey", 5.0),)},
    "far_away": {"running_db": -25.0, "high_hz": 9000.0},
}
KEPT_HEARINGS = 6  # each takes some ten megabytes


class Taken(NamedTuple):
    """A recording on disk, its file of marks, and the truth about it."""

    path: Path
    marks: Path
    spin: Spin

    @property
    def gyro(self) -> Path:
        """A gyro's file, 100 samples a second, whose clock began 0.4 s before the recording's."""
        path = self.path.with_suffix(".gyro.csv")
        if not path.exists():
            times_s = np.arange(0.0, self.spin.times_s[-1] + 0.8, 0.01)
            speed_hz = np.gradient(self.spin.turns, self.spin.times_s)
            rates_deg = 360 * np.interp(times_s - 0.4, self.spin.times_s, speed_hz)
            rates_deg += 1.5 + 0.7 * np.random.default_rng(8).standard_normal(times_s.size)
            lines = [f"{time:.3f},{rate:.3f}" for time, rate in zip(times_s, rates_deg, strict=True)]
            path.write_text("\n".join(["time (s),gyro z (deg/s)", *lines, ""]), encoding="utf-8")
        return path


class Outcome(NamedTuple):
    """What a command did."""

    code: int
    stdout: str
    stderr: str

    @property
    def document(self) -> Any:
        """The one JSON document on stdout; anything else there is an error."""
        return json.loads(self.stdout, parse_constant=_refuse_constant)


def _refuse_constant(text: str) -> Any:
    raise AssertionError(f"{text} is no JSON")


@pytest.fixture(scope="session", autouse=True)
def _plain_environment() -> Iterator[None]:
    """Keep a developer's own settings out, and a busy machine: no command says what it does for taking long."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("acoustic.cli.progress.PATIENCE_S", math.inf)
        patch.delenv("ACOUSTIC_STRICT_PLUGINS", raising=False)
        patch.delenv("ACOUSTIC_CATALOGUE", raising=False)
        yield


@pytest.fixture(scope="session")
def commonest() -> BearingGeometry:
    """The 25 x 37 x 7 crank bearing with 16 balls.

    By hand: ratio 3.5/31 = 0.112903; cage 0.44355, outer 7.09677, inner 8.90323,
    ball 31/3.5 x (1 - 0.112903^2) = 8.74424. Inner and ball lie 1.8 per cent apart.
    """
    geometry: BearingGeometry = COMMON["geometry"]
    return geometry


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, Callable[[Path], object]], Path]:
    """A file that all processes of a run share: (name, function that writes it) -> its path.

    Two that make it at the same time both do, and the later one takes the other's place, whole.
    """
    own = tmp_path_factory.getbasetemp()
    folder = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "shared"
    folder.mkdir(exist_ok=True)

    def path_of(name: str, write: Callable[[Path], object]) -> Path:
        path = folder / name
        if not path.exists():
            begun = path.with_stem(f"{path.stem}-{os.getpid()}")
            write(begun)
            begun.replace(path)
        return path

    return path_of


@pytest.fixture(scope="session")
def simulated(shared: Callable[..., Path]) -> Callable[[SpinPlan], Spin]:
    """Simulated spins, each made once a run and read once a process."""

    @cache
    def spin(plan: SpinPlan) -> Spin:
        name = f"spin-{hashlib.sha256(repr(plan).encode()).hexdigest()[:16]}.pickle"
        made: Spin = pickle.loads(
            shared(name, lambda path: path.write_bytes(pickle.dumps(simulate(plan), protocol=5))).read_bytes()
        )
        return made

    return spin


@pytest.fixture(scope="session")
def spin_of(simulated: Callable[[SpinPlan], Spin]) -> Callable[..., Spin]:
    """Simulate a case, once a run: (case, **changes of the plan) -> Spin."""

    def spin(case: str = "sound", **changes: Any) -> Spin:
        return simulated(SpinPlan(**{**COMMON, **CASES[case], **changes}))

    return spin


@pytest.fixture(scope="session")
def taken(
    spin_of: Callable[..., Spin], shared: Callable[..., Path], tmp_path_factory: pytest.TempPathFactory
) -> Callable[..., Taken]:
    """Write a case and its marks, once a session: (case, ending=".wav", **changes of the plan) -> Taken.

    Every process has its own files, since tests write beside them; films, which take long, are copied.
    """
    folder = tmp_path_factory.mktemp("recordings")
    written: dict[str, Taken] = {}

    def take(case: str = "sound", ending: str = ".wav", **changes: Any) -> Taken:
        key = repr((case, ending, changes))
        if key not in written:
            spin = spin_of(case, **changes)
            path = folder / f"{case}-{hashlib.sha256(key.encode()).hexdigest()[:8]}{ending}"
            if ending == ".mp4":
                film = FilmPlan(width=160, height=96)
                path.write_bytes(shared(path.name, lambda made: write_film(made, film, spin)).read_bytes())
            else:
                _write_sound(path, spin.samples, spin.sample_rate_hz)
            marks = path.with_suffix(".marks.csv")
            lines = [f"{mark:.3f}" for mark in spin.marks_s]
            marks.write_text("\n".join(["time_s", *lines, ""]), encoding="utf-8")
            written[key] = Taken(path, marks, spin)
        return written[key]

    return take


def _write_sound(path: Path, samples: NDArray[np.float64], rate_hz: int) -> None:
    if path.suffix == ".m4a":
        _write_m4a(path, samples, rate_hz)
        return
    import soundfile

    soundfile.write(path, samples, rate_hz, subtype=None if path.suffix == ".ogg" else "PCM_16")


def _write_m4a(path: Path, samples: NDArray[np.float64], rate_hz: int) -> None:
    """AAC at 128 kbit/s, what a phone's recorder usually writes."""
    import av

    with av.open(str(path), "w", format="ipod") as container:
        stream = container.add_stream("aac", rate=rate_hz)
        stream.bit_rate = 128_000
        stream.layout = "mono"
        block = np.ascontiguousarray(samples[np.newaxis, :], dtype=np.float32)
        frame = av.AudioFrame.from_ndarray(block, format="fltp", layout="mono")
        frame.sample_rate = rate_hz
        frame.time_base = Fraction(1, rate_hz)
        frame.pts = 0
        container.mux([*stream.encode(frame), *stream.encode(None)])


@pytest.fixture(scope="session")
def recording_of(spin_of: Callable[..., Spin]) -> Callable[..., Any]:
    """Make a recording in memory: (case, gain=1.0, **changes of the plan) -> Recording."""
    from acoustic.model import Recording

    def recording(case: str = "sound", *, gain: float = 1.0, **changes: Any) -> Recording:
        spin = spin_of(case, **changes)
        samples = spin.samples[:, np.newaxis] * gain
        if case == "marked":
            samples = np.hstack([samples, _switched(spin)[:, np.newaxis] * gain])
        return Recording(Path(f"{case}.wav"), "", samples, float(spin.sample_rate_hz), "in memory")

    return recording


def _switched(spin: Spin) -> NDArray[np.float64]:
    """A channel on which a switch closes for 8 ms at every mark, off zero and in a little noise."""
    channel = 0.05 + 0.001 * np.random.default_rng(9).standard_normal(spin.samples.size)
    for mark_s in spin.marks_s:
        at = round(float(mark_s) * spin.sample_rate_hz)
        channel[at : at + round(0.008 * spin.sample_rate_hz)] -= 0.2
    return channel


@pytest.fixture(scope="session")
def features_of(spin_of: Callable[..., Spin], recording_of: Callable[..., Any]) -> Callable[..., Any]:
    """The features of a case by its true marks: (case, gain=1.0, own_clicks_s, drivetrain, **changes) -> Features.

    The last few are kept, since one test after another asks for the same.
    """
    from acoustic.bearings.search import resolve_bearing
    from acoustic.check.features import extract_features
    from acoustic.speed.from_marks import motion_from_marks

    kept: dict[str, Any] = {}

    def features(
        case: str = "sound", *, gain: float = 1.0, own_clicks_s: Any = None, drivetrain: Any = None, **changes: Any
    ) -> Any:
        key = repr((case, gain, own_clicks_s, drivetrain, changes))
        if key not in kept:
            kept[key] = heard(case, gain, own_clicks_s, drivetrain, **changes)
        while len(kept) > KEPT_HEARINGS:
            del kept[next(iter(kept))]
        return kept[key]

    def heard(case: str, gain: float, own_clicks_s: Any, drivetrain: Any, **changes: Any) -> Any:
        recording = recording_of(case, gain=gain, **changes)
        motion = motion_from_marks(
            spin_of(case, **changes).marks_s,
            duration_s=recording.duration_s,
            source="marks",
            timing_s=0.001,
        )
        if own_clicks_s is not None:
            motion = replace(motion, own_clicks_s=own_clicks_s)
        return extract_features(recording, motion, resolve_bearing(name="6805"), drivetrain)

    return features


@pytest.fixture(scope="session")
def acoustic() -> Callable[..., Outcome]:
    """Run the command in this process: (*arguments) -> Outcome. What main() lets through is raised here."""
    from acoustic.cli import main

    def run(*arguments: object) -> Outcome:
        # As a pipe on a machine without UTF-8 would be.
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="ascii") for _ in range(2))
        code: object = 0
        with redirect_stdout(out), redirect_stderr(err):
            try:
                main([str(argument) for argument in arguments])
            except SystemExit as end:
                code = end.code
        assert isinstance(code, int), f"an exit code is a number, got {code!r}"
        return Outcome(code, _written(out), _written(err))

    return run


def _written(stream: io.TextIOWrapper) -> str:
    stream.flush()
    buffer = stream.buffer
    assert isinstance(buffer, io.BytesIO)
    return buffer.getvalue().decode("utf-8").replace("\r\n", "\n")


@pytest.fixture(scope="session")
def plugin() -> Callable[..., ModuleType]:
    """Make a plugin module that was never a file: (module name, api=(1, 0), hook=function or objects, ...)."""
    from acoustic.api import hookimpl

    def make(name: str, *, api: object = (1, 0), **hooks: Any) -> ModuleType:
        module = ModuleType(name)
        if api is not None:
            vars(module)["ACOUSTIC_API"] = api
        for hook, offered in hooks.items():
            function = offered if callable(offered) else _offering(offered)
            setattr(module, hook, hookimpl(function))
        return module

    return make


def _offering(items: Any) -> Callable[[], Any]:
    return lambda: items


@pytest.fixture(scope="session")
def registry() -> Any:
    """What the bundled plugins offer; none of them may be broken."""
    from acoustic.plugin.registry import load_plugins

    return load_plugins()


@pytest.fixture(scope="session")
def analysis_of(taken: Callable[..., Taken], registry: Any) -> Callable[..., Any]:
    """Check a case by its marks, once a session: (case) -> Analysis."""
    from acoustic.bearings.search import resolve_bearing
    from acoustic.check.pipeline import check_recording
    from acoustic.model import SpeedRequest

    made: dict[str, Any] = {}

    def analysis(case: str) -> Any:
        if case not in made:
            file = taken(case)
            made[case] = check_recording(
                file.path,
                bearing=resolve_bearing(name="6805"),
                request=SpeedRequest(marks=file.marks),
                registry=registry,
            )
        return made[case]

    return analysis


@pytest.fixture
def check_with(
    acoustic: Callable[..., Outcome], taken: Callable[..., Taken], monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Outcome]:
    """Check a case with more plugins installed: ((name, module), ..., case="short_outer", json=True) -> Outcome.

    The plugins stay until the test ends. The short case is the quickest with damage to be found.
    """
    from acoustic.plugin.registry import load_plugins

    def call(*extra: tuple[str, ModuleType], case: str = "short_outer", json: bool = True) -> Outcome:
        monkeypatch.setattr("acoustic.plugin.registry.load_plugins", lambda: load_plugins(extra=extra))
        made = taken(case)
        arguments = ["check", made.path, "--bearing", "6805", "--marks", made.marks]
        return acoustic(*arguments, *(["--json"] if json else []))

    return call
