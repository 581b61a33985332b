"""The chain, one function an arrow: file, recording, motion, features, findings, verdict."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from acoustic import __version__
from acoustic.check.features import TACHOLESS, extract_features
from acoustic.check.grade import grade
from acoustic.check.sensitivity import would_have_found
from acoustic.conditions import table
from acoustic.dsp.quality import running_rms
from acoustic.errors import InputError, MotionError, PluginError
from acoustic.model import (
    Analysis,
    Bearing,
    Failure,
    Features,
    Finding,
    Motion,
    Problem,
    Quality,
    Recording,
    Scene,
    SpeedRequest,
    Step,
)
from acoustic.plugin import answers
from acoustic.plugin.hookspecs import Detector, QualityCheck, Reader, SpeedSource
from acoustic.plugin.registry import LoadedPlugin, Registry
from acoustic.plugin.run import telling
from acoustic.plugin.safe_call import safe_call
from acoustic.speed.select import find_motion, is_of_this_recording

Progress = Callable[[str], None]
NOTHING_SAID = Scene()
NO_MARKS: Mapping[str, int] = {}

BY = f"acoustic {__version__}"
# Every kind of file shows itself in less; a page of memory.
HEAD_BYTES = 4096
# Judgement: from fewer turns no line stands apart from its neighbours; quality grades what is just above.
FEWEST_TURNS = 3.0
# Judgement: three turns at 360 a minute, faster than any crank.
SHORTEST_S = 0.5


def check_recording(
    path: Path,
    *,
    bearing: Bearing,
    request: SpeedRequest,
    registry: Registry,
    scene: Scene = NOTHING_SAID,
    progress: Progress | None = None,
) -> Analysis:
    """Run the whole chain on one file.

    Parameters
    ----------
    path : Path
        The recording.
    bearing : Bearing
        The bearing to judge against.
    request : SpeedRequest
        What the user said of the motion.
    registry : Registry
        The loaded plugins.
    scene : Scene
        What is said of the recording beside bearing and speed.
    progress : callable or None
        Told in a few words what is being done, and which plugin is waited for; None where nobody is.

    Returns
    -------
    Analysis

    Raises
    ------
    InputError
        The file, or the speed, cannot be used.
    PluginError
        A plugin failed where no other could serve.
    """
    if progress is None:
        return _checked(path, bearing, request, registry, scene, lambda line: None)
    with telling(progress):
        return _checked(path, bearing, request, registry, scene, progress)


def _checked(
    path: Path, bearing: Bearing, request: SpeedRequest, registry: Registry, scene: Scene, progress: Progress
) -> Analysis:
    """The chain itself; what takes a plugin long is told by `progress`."""
    failures = list(registry.failures)
    request = replace(request, bearing=bearing)
    progress("reading")
    recording, room = _taken(path, request, registry, scene, failures)
    problems = _quality(registry.quality_checks, recording, None, failures)
    motion: Motion | None = None
    features: Features | None = None
    findings: tuple[Finding, ...] = ()
    if not any(problem.voids == "any" for problem in problems):
        progress("finding the crank's speed")
        motion, doubts = _moved(recording, request, registry, failures)
        problems += doubts
    if motion is not None and not any(problem.voids == "any" for problem in problems):
        progress("listening")
        features = extract_features(recording, motion, bearing, scene.drivetrain, room=room)
        recording = features.recording
        problems += is_of_this_recording(motion, features.bank)
        problems += _quality(registry.quality_checks, recording, features, failures)
        if not any(problem.voids == "any" for problem in problems):
            progress("judging")
            findings = confirmed_by_motion(detect(features, registry.detectors, failures), motion)
    quality = settle_quality(problems, findings)
    would_have_found_db = None
    if features is not None and quality.usable and not failures and not any(f.detected for f in findings):
        progress("trying what it would have shown")
        would_have_found_db = would_have_found(features)
        quality = settle_quality([*problems, *_insensitive(would_have_found_db)], findings)
    return Analysis(
        recording=recording,
        bearing=_with_heard_balls(bearing, features, findings),
        quality=quality,
        motion=motion,
        features=features,
        findings=findings,
        verdict=grade(
            findings,
            quality,
            failures,
            conditions=registry.conditions,
            scale_known=motion is None or motion.scale_known,
            would_have_found_db=would_have_found_db,
            rows=bearing.rows,
        ),
        failures=tuple(failures),
        plugin_versions=registry.versions,
        conditions=registry.conditions,
    )


def _taken(
    path: Path, request: SpeedRequest, registry: Registry, scene: Scene, failures: list[Failure]
) -> tuple[Recording, Recording | None]:
    """The recording with the channel that is judged, and that of the still room where there is one."""
    recording = read_recording(path, registry.readers, failures)
    marks = _mark_channels(registry.speed_sources, request)
    recording = replace(choose_channel(recording, marks, wanted=scene.channel), side=scene.side)
    if scene.room is None:
        return recording, None
    room = choose_channel(read_recording(scene.room, registry.readers, failures))
    _require_sound(room, registry.quality_checks, failures)
    return recording, room


def _moved(
    recording: Recording, request: SpeedRequest, registry: Registry, failures: list[Failure]
) -> tuple[Motion | None, list[Problem]]:
    """The motion, or None where the recording holds none, and what is to be said of it."""
    try:
        motion, doubts = find_motion(recording, request, registry.speed_sources, failures)
    except MotionError as error:
        return None, [Problem("no_motion", error.found, error.hint, voids="any")]
    motion = replace(motion, spin=request.spin) if request.spin else motion
    return motion, [*doubts, *_too_few_turns(motion)]


def read_recording(path: Path, readers: Sequence[LoadedPlugin[Reader]], failures: list[Failure]) -> Recording:
    """Read a file with the first reader that knows its content."""
    head, digest = _head_and_digest(path)
    refusals: list[InputError] = []
    broken: list[Failure] = []
    for part in readers:
        if not safe_call("read", part, partial(answers.claims, part.item, head), broken, refusals_pass=False):
            continue
        try:
            sound = safe_call("read", part, partial(answers.sound, part.item, path), broken)
        except InputError as refusal:
            refusals.append(refusal)
            continue
        if sound is None:
            continue
        failures.extend(broken)
        step = Step("read", part.record.label, {"sample_rate_hz": sound.sample_rate_hz})
        return Recording(path, digest, sound.samples, sound.sample_rate_hz, sound.format, steps=(step,))
    if refusals:
        raise refusals[0]
    if broken:
        raise PluginError(
            f"{path.name} could not be read: plugin {broken[0].plugin} failed ({broken[0].error})",
            hint="Run `acoustic plugins --check`, and remove or update that plugin.",
        )
    raise InputError(
        f"{path.name} is not a sound file that any reader knows",
        hint="Give a WAV, FLAC, OGG, MP3, AIFF, M4A, MP4, MOV, 3GP or WebM file; share the recording from the "
        "phone as a file, not as a link.",
    )


def _require_sound(room: Recording, checks: Sequence[LoadedPlugin[QualityCheck]], failures: list[Failure]) -> None:
    """Refuse a recording of the still room from which nothing can be learnt."""
    for problem in _quality(checks, room, None, failures):
        # How long a room must last is asked where its bands are made; it is no spin.
        if problem.voids == "any" and problem.code != "too_short":
            raise InputError(f"--room {room.path.name}: {problem.detail}", hint=problem.advice)


def _head_and_digest(path: Path) -> tuple[bytes, str]:
    """First bytes and SHA-256 of a file, or a clear refusal."""
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder, not a recording", hint="Give the sound file itself.")
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
            file.seek(0)
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except FileNotFoundError:
        raise InputError(f"there is no file {path}", hint="Check the path and the file's name.") from None
    except OSError as error:
        raise InputError(
            f"{path} cannot be opened ({error.strerror})",
            hint="Check that you may read it and that it is whole.",
        ) from None
    if not head:
        raise InputError(f"{path.name} is empty (0 bytes)", hint="Copy the recording from the phone again.")
    return head, digest


def _mark_channels(sources: Sequence[LoadedPlugin[SpeedSource]], request: SpeedRequest) -> dict[str, int]:
    """The channels that hold marks of the turns by what the user said, by the option that names each."""
    options = {option.key: option for part in sources for option in part.item.options if option.kind == "channel"}
    return {o.flag: request.value(key) for key, o in options.items() if request.value(key) is not None}


def choose_channel(
    recording: Recording, marks: Mapping[str, int] = NO_MARKS, *, wanted: int | None = None
) -> Recording:
    """Judge the channel with the loudest running sound: phones leave one silent, or farther from the bearing.

    The level of the quieter half of the time decides, so that a channel of marks,
    silence with a pulse a turn, is not taken for the sound. `marks` holds channels that
    are none, counted from 1, by the option that names them.
    """
    count = recording.samples.shape[1]
    for flag, channel in marks.items():
        if not (1 <= channel <= count and count > 1):
            raise InputError(
                f"{flag} {channel}: the recording has {count} channel{'s' if count > 1 else ''}",
                hint="Record sound and mark on two channels of one file, and count channels from 1.",
            )
    if wanted is not None:
        if not 1 <= wanted <= count:
            raise InputError(
                f"channel {wanted} of {recording.path.name} is asked for; it has {count}",
                hint="Record in stereo, one microphone at either side, or give a file for each side.",
            )
        return recording.then(Step("choose channel", BY, {"channel": wanted}), channel=wanted - 1)
    if count == 1:
        return recording
    loudness = running_rms(recording.samples, recording.sample_rate_hz)
    loudness[[channel - 1 for channel in marks.values()]] = -1.0
    channel = int(np.argmax(loudness))
    return recording.then(Step("choose channel", BY, {"channel": channel + 1}), channel=channel)


def _too_few_turns(motion: Motion) -> list[Problem]:
    """An order spectrum needs a few turns to part one order from the next."""
    lasting_s = motion.stop_s - motion.start_s
    if motion.total_turns >= FEWEST_TURNS and lasting_s >= SHORTEST_S:
        return []
    return [
        Problem(
            "too_short",
            f"the crank makes {motion.total_turns:.1f} turns in {lasting_s:.2f} s; {FEWEST_TURNS:.0f} turns and "
            f"{SHORTEST_S:g} s are the least, 8 turns are wanted",
            "Record one whole spin, from two still seconds before the push until two seconds after it stands.",
            voids="any",
        )
    ]


def _insensitive(would_have_found_db: float | None) -> list[Problem]:
    """Silence says something only where a defect would have been found."""
    needed_db = table().clean.would_have_found_db
    if would_have_found_db is not None and would_have_found_db <= needed_db:
        return []
    return [
        Problem(
            "insensitive",
            f"a test defect put into it, {-needed_db:.0f} dB under the noise, is not found either, so that "
            "silence says little of the bearing",
            "Record again with the phone nearer to the bearing, in a quieter room, over ten turns or more.",
            voids="clean",
        )
    ]


def detect(
    features: Features, detectors: Sequence[LoadedPlugin[Detector]], failures: list[Failure]
) -> tuple[Finding, ...]:
    """Let every detector judge, each in its own guard."""
    findings: list[Finding] = []
    for part in detectors:
        found = safe_call(
            "detect", part, partial(answers.findings, part.item, features), failures, refusals_pass=False
        )
        findings.extend(replace(finding, by=part.record.label) for finding in found or ())
    return tuple(findings)


def confirmed_by_motion(findings: Sequence[Finding], motion: Motion) -> tuple[Finding, ...]:
    """Leave open what was found where nothing shows that a crank makes it.

    Parameters
    ----------
    findings : sequence of Finding
    motion : Motion

    Returns
    -------
    tuple of Finding
        A motion read off the level alone, or off clicks, follows whatever sounds: a saw and a voice rise, fall
        and are rough. Its angle is too rough to tell what swells or bursts with the crank, and crackling counts
        only where it stops with the crank.
    """
    if motion.source not in TACHOLESS or motion.impact_train is not None:
        return tuple(findings)
    doubtful = ("rumble", "tight", "creak") if motion.still else ("rumble", "tight", "creak", "contamination")
    return tuple(
        replace(Finding.unjudged(f.condition, f"{f.detail}, but nothing shows that a crank makes it"), by=f.by)
        if f.detected and f.condition in doubtful
        else f
        for f in findings
    )


def settle_quality(problems: Sequence[Problem], findings: Sequence[Finding]) -> Quality:
    """Decide whether what was found, or that nothing was found, is more than a guess."""
    anything = any(finding.detected for finding in findings)
    voiding = {"any"} if anything else {"any", "clean"}
    all_judged = {f.condition for f in findings if f.judged} >= set(table().having("needed_for_clean"))
    spoiled = any(problem.voids in voiding for problem in problems)
    return Quality(tuple(problems), usable=not spoiled and (anything or all_judged))


def _quality(
    checks: Sequence[LoadedPlugin[QualityCheck]],
    recording: Recording,
    features: Features | None,
    failures: list[Failure],
) -> list[Problem]:
    problems: list[Problem] = []
    for part in checks:
        look = partial(answers.problems, part.item, recording, features)
        problems += safe_call("quality", part, look, failures, refusals_pass=False) or []
    return problems


def _with_heard_balls(bearing: Bearing, features: Features | None, findings: Sequence[Finding]) -> Bearing:
    """Take over the ball count that a detected defect's rhythm asks for, with the next likeliest beside it."""
    # What a ball or the cage strikes tells nothing of how many balls there are.
    told = [f.evidence.balls for f in findings if f.detected and f.condition.endswith("raceway")]
    heard = next((balls for balls in told if balls), None)
    chosen = next((g for g in bearing.candidates if g.balls == heard), None)
    # A speed read off the impact train itself takes the count for granted.
    if features is None or chosen is None or len(features.counts) < 2:
        return bearing
    rest = tuple(geometry for geometry in bearing.candidates if geometry is not chosen)
    runner_up = next(count for count in features.counts if count.balls != heard)
    return replace(bearing, candidates=(chosen, *rest), balls_source="inferred", runner_up=runner_up)
