"""The bundled detectors on simulated spins: each finds its own condition, and others' sounds leave it cold."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from acoustic_plugins.detectors.contamination import Contamination
from acoustic_plugins.detectors.creak import Creak
from acoustic_plugins.detectors.defect_lines import DefectLines
from acoustic_plugins.detectors.rumble import Rumble
from acoustic_plugins.detectors.tight import Tight

from acoustic.api import Finding, find_clicks
from acoustic.check.features import extract_features
from acoustic.dsp.geometry import BearingGeometry

HearingOf = Callable[..., Any]
RINGS = ("outer_raceway", "inner_raceway", "ball")
# Sounds of a workshop, none of them of the bearing; louder than in most.
BYSTANDERS: dict[str, dict[str, Any]] = {
    "nothing": {},
    "talk": {"talk_db": 6.0},
    "hum": {"hum_db": 10.0},
    "dropped tools": {"knocks": 3},
    "automatic gain": {"gain_strength": 0.5},
    "wavy rings": {"waviness": 0.1},
    "rings wavy twice over": {"waviness": 0.12, "waviness_lines": 2},
}


def lines(features: Any) -> dict[str, Finding]:
    return {finding.condition: finding for finding in DefectLines().detect(features)}


def one(detector: Any, features: Any) -> Finding:
    (finding,) = detector.detect(features)
    return finding


@pytest.mark.parametrize("bystander", BYSTANDERS)
@pytest.mark.parametrize("seed", [1, 2])
def test_the_workshop_s_sounds_are_no_damage(bystander: str, seed: int, features_of: HearingOf) -> None:
    """A healthy bearing beside each of them: no strikes, no dirt, no rumble."""
    features = features_of("sound", seed=seed, **BYSTANDERS[bystander])
    findings = [f for detector in (DefectLines(), Contamination(), Rumble()) for f in detector.detect(features)]
    assert len(findings) >= 6
    assert [finding.condition for finding in findings if finding.detected] == []


@pytest.mark.parametrize("case", ["outer", "inner", "ball"])
def test_regular_strikes_are_neither_dirt_nor_rumble(case: str, features_of: HearingOf) -> None:
    features = features_of(case)
    assert not one(Contamination(), features).detected
    assert not one(Rumble(), features).detected


@pytest.mark.parametrize("case", ["grit", "ticking"])
def test_single_clicks_do_not_rumble(case: str, features_of: HearingOf) -> None:
    assert not one(Rumble(), features_of(case)).detected


# The lines of rings, balls and cage.


@pytest.mark.parametrize(("case", "part"), [("outer", RINGS[0]), ("inner", RINGS[1]), ("ball", RINGS[2])])
def test_a_defect_is_named(case: str, part: str, features_of: HearingOf) -> None:
    """Found where the geometry says: a slip of 0.4 % was simulated, and one of 2 % is never exceeded."""
    found = lines(features_of(case))
    assert [condition for condition, finding in found.items() if finding.detected] == [part]
    evidence = found[part].evidence
    assert evidence.order == pytest.approx(evidence.expected_order, rel=0.02)
    assert evidence.balls == 16
    assert evidence.harmonics is not None and evidence.harmonics >= 2
    assert evidence.band_hz is not None and 50 < evidence.band_hz[0] < evidence.band_hz[1] < 24_000
    assert f"{evidence.order:.2f} times a turn" in found[part].detail


@pytest.mark.parametrize("part", RINGS)
def test_a_louder_defect_is_more_severe_and_surer(part: str, features_of: HearingOf) -> None:
    """6 dB more of it at the same running noise. The share of its events that stand in the lines changes too,
    and the background level beneath them rises, so only 2 dB of the 6 are asked for."""
    faint, loud = (lines(features_of("sound", defects=((part, level_db),)))[part] for level_db in (-2.0, 4.0))
    assert faint.severity_db is not None and loud.severity_db is not None
    assert loud.severity_db > faint.severity_db + 2
    assert loud.false_alarm_probability <= faint.false_alarm_probability


@pytest.mark.parametrize("part", RINGS)
def test_the_room_matters_little_to_severity(part: str, features_of: HearingOf) -> None:
    """A microphone twice as far away: bearing and defect 6 dB down, the room's noise the same. The severity
    compares the defect with the bearing's own noise; the room's part in that is taken out to a few dB."""
    near = lines(features_of("sound", defects=((part, 6.0),), running_db=8.0))[part]
    far = lines(features_of("sound", defects=((part, 0.0),), running_db=2.0))[part]
    assert near.detected and far.detected
    assert far.severity_db == pytest.approx(near.severity_db, abs=4.0)


def test_a_wrong_bearing_is_not_blamed(features_of: HearingOf) -> None:
    """Strikes at another bearing's pace, 5.2 a turn: neither the outer ring's 7.1 nor the inner's 8.9."""
    other = BearingGeometry(balls=12, ball_diameter_mm=4.0, pitch_diameter_mm=30.0)
    found = lines(features_of("outer", geometry=other))
    assert not found["outer_raceway"].detected
    assert not found["inner_raceway"].detected


def test_the_open_ring_says_that_the_ring_is_open(features_of: HearingOf) -> None:
    """Where a ring was named, 'raceway' adds nothing; where nothing was heard, neither."""
    named, nothing = lines(features_of("outer"))["raceway"], lines(features_of("sound"))["raceway"]
    assert not named.detected and "named above" in named.detail
    assert not nothing.detected and "no raceway damage" in nothing.detail


@pytest.mark.parametrize(
    ("impact_db", "with_cage", "detected"), [(-10.0, False, True), (-10.0, True, False), (-6.0, True, True)]
)
def test_a_ball_in_the_cage_s_time_is_held_to_the_cage_s_limit(
    impact_db: float, with_cage: bool, detected: bool, features_of: HearingOf
) -> None:
    """Healthy bearings show a cage up to -8 dB, a ball's own strikes up to -17.5 dB."""
    features = features_of("sound")
    sure: dict[str, Any] = {"chance": 1e-9, "posterior": 1.0, "rivals": (), "impact_ratio": 10 ** (impact_db / 10)}
    parts = tuple(
        replace(part, **sure, order=0.44, with_cage=with_cage) if part.part == "ball" else part
        for part in features.parts
    )
    found = lines(replace(features, parts=parts, over=None))
    assert found["ball"].detected == detected
    assert not found["cage"].detected
    if detected and with_cage:
        assert "come round with the cage, 0.44 times a turn" in found["ball"].detail


# Contamination.


def test_grit_is_dirt(features_of: HearingOf) -> None:
    found = one(Contamination(), features_of("grit"))
    assert found.detected
    assert "irregular clicks a turn" in found.detail


def test_more_grit_is_more_severe(features_of: HearingOf) -> None:
    faint, loud = (one(Contamination(), features_of("sound", defects=(("grit", db),))) for db in (0.0, 8.0))
    assert faint.severity_db is not None and loud.severity_db is not None
    assert loud.severity_db > faint.severity_db + 2


def test_the_marker_s_own_ticks_are_no_dirt(spin_of: Any, features_of: HearingOf) -> None:
    """Known as ticks, the loudest clicks of the recording add nothing to the dirt; grit beside them is heard."""
    own = spin_of("ticking").marks_s
    known, unknown = one(Contamination(), features_of("ticking", own_clicks_s=own)), features_of("ticking")
    assert not known.detected
    assert known.severity_db is not None
    assert find_clicks(unknown.bank).times_s.size >= own.size, "there was something to leave out"
    assert known.severity_db < 10 * np.log10(find_clicks(unknown.bank).power.sum() / 12) - 10
    plan: dict[str, Any] = {"defects": (("grit", 5.0),)}
    own = spin_of("ticking", **plan).marks_s
    assert one(Contamination(), features_of("ticking", own_clicks_s=own, **plan)).detected


@pytest.mark.parametrize(("case", "still"), [("steady", True), ("sound", True), ("sound", False)])
def test_crackles_while_it_stands_are_the_room_s(
    case: str, still: bool, features_of: HearingOf, recording_of: Any
) -> None:
    """A tap drips all through the recording. At a steady speed only the still parts can tell it from grit; on a
    run-down without them, that it keeps its pace while the crank slows."""
    plan: dict[str, Any] = {"still_s": (5.0, 2.0), "duration_s": 18.0}
    quiet = features_of(case, **plan)
    recording = recording_of(case, **plan)
    rng = np.random.default_rng(12)
    samples = recording.samples.copy()
    for at_s in rng.uniform(0, 17.9, 100):
        start = int(at_s * 48_000)
        samples[start : start + 480, 0] += 0.2 * rng.standard_normal(480) * np.exp(-np.arange(480) / 80)
    dripping = type(recording)(recording.path, "", samples, recording.sample_rate_hz, recording.format)
    motion = quiet.motion if still else replace(quiet.motion, still=())
    heard = extract_features(dripping, motion, quiet.bearing)
    assert find_clicks(heard.bank).times_s.size > 50, "the drops are heard as clicks"
    assert not one(Contamination(), heard).detected


# Rumble.


def test_pitted_rings_rumble(features_of: HearingOf) -> None:
    found = one(Rumble(), features_of("rumble"))
    assert found.detected
    assert found.evidence.band_hz is not None


def test_rougher_is_more_severe(features_of: HearingOf) -> None:
    smooth, rough = (one(Rumble(), features_of("sound", defects=(("pitted", db),))) for db in (6.0, 17.0))
    assert rough.severity_db is not None and smooth.severity_db is not None
    assert rough.severity_db > smooth.severity_db
    assert rough.false_alarm_probability < smooth.false_alarm_probability


class TestCreak:
    @pytest.mark.parametrize("times", [1, 2])
    def test_a_creak_of_the_pedalled_crank(self, times: int, features_of: HearingOf) -> None:
        features = features_of("pedalled", defects=(("creak", 3.0),), creaks_per_turn=times)
        found = one(Creak(), features)
        assert found.detected
        assert found.evidence.order == times
        assert not any(finding.detected for finding in lines(features).values())

    @pytest.mark.parametrize("other", [{"talk_db": 6.0}, {"squeal_db": 9.0}, {"knocks": 3}, {}], ids=str)
    def test_talk_brakes_and_tools_are_none(self, other: dict[str, Any], features_of: HearingOf) -> None:
        found = one(Creak(), features_of("pedalled", **other))
        assert (found.judged, found.detected) == (True, False)

    @pytest.mark.parametrize("other", ["inner_raceway", "chain"])
    def test_what_strikes_at_every_angle_is_none(self, other: str, features_of: HearingOf) -> None:
        """The inner ring strikes harder under the load, the chain where its ring is out of true: once a turn."""
        for seed in (4, 5, 6):
            plan: dict[str, Any] = {"defects": ((other, 6.0),), "runout": 0.5, "load_zone": 0.8}
            assert not one(Creak(), features_of("pedalled", seed=seed, **plan)).detected

    def test_a_coasting_crank_is_not_asked(self, features_of: HearingOf) -> None:
        assert not one(Creak(), features_of("sound")).judged

    def test_a_rough_angle_is_none(self, features_of: HearingOf) -> None:
        """Turns counted by eye where only the level tells the course: 15 per cent off, two turns of fourteen."""
        features = features_of("pedalled", defects=(("creak", 3.0),))
        rough = replace(features, motion=replace(features.motion, relative_uncertainty=0.15))
        assert not one(Creak(), rough).judged
        assert not one(Tight(), replace(rough, motion=replace(rough.motion, spin="hand"))).judged

    def test_gain_changes_nothing(self, features_of: HearingOf) -> None:
        plan: dict[str, Any] = {"defects": (("creak", 3.0),)}
        plain, louder = (one(Creak(), features_of("pedalled", gain=gain, **plan)) for gain in (1.0, 10.0))
        assert louder.severity_db == pytest.approx(plain.severity_db, abs=0.01)


class TestTight:
    @pytest.mark.parametrize("order", [2.0, 0.887])
    def test_a_swell_twice_a_turn_of_crank_or_cage(self, order: float, features_of: HearingOf) -> None:
        """Twice a 6805's cage, by hand: 1 - 3.5/31 = 0.887."""
        found = one(Tight(), features_of("sound", notch=(order, 0.5), running_db=3.0))
        assert found.detected
        assert found.severity_db is not None
        assert 1.0 < found.severity_db < 6.0

    @pytest.mark.parametrize("turns", [6.5, 11.0, 18.0])
    @pytest.mark.parametrize("depth", [0.12, 0.25, 0.4])
    def test_what_swells_once_a_turn_is_not(self, turns: float, depth: float, features_of: HearingOf) -> None:
        """1 to 3 dB, as an arm that passes the phone makes."""
        features = features_of("sound", notch=(1.0, depth), running_db=3.0, turns=turns, duration_s=turns + 4.0)
        assert not one(Tight(), features).detected

    @pytest.mark.parametrize("bystander", BYSTANDERS)
    def test_nothing_else_is(self, bystander: str, features_of: HearingOf) -> None:
        assert not one(Tight(), features_of("sound", **BYSTANDERS[bystander])).detected

    def test_a_pedalled_crank_is_not_asked(self, features_of: HearingOf) -> None:
        assert not one(Tight(), features_of("pedalled")).judged
