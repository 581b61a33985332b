"""The report in words: grade, why, next, then the evidence, within a terminal's width."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from acoustic.conditions import table
from acoustic.model import CONDITIONS, Evidence, Failure, Finding, Problem, Quality, Verdict
from acoustic.report import words
from acoustic.report.layout import WIDTH
from acoustic.report.terminal import TAKE_CARE, grade_line, quiet_line, to_text

Analyse = Callable[[str], Any]


def finding(condition: str, *, detected: bool = False, chance: float = 0.4, **rest: Any) -> Finding:
    return Finding(
        condition=condition,
        detected=detected,
        false_alarm_probability=chance,
        severity_db=rest.pop("severity_db", -7.4),
        detail=rest.pop("detail", f"nothing much about {condition}"),
        **rest,
    )


@pytest.mark.parametrize("case", ["sound", "outer", "inner", "grit", "rumble", "short", "far_away"])
def test_grade_first_then_why_then_next(case: str, analysis_of: Analyse) -> None:
    result = analysis_of(case)
    text = to_text(result)
    lines = text.splitlines()
    assert lines[0] == f"{result.verdict.level.upper()}  {result.recording.path.name}  (6805)"
    assert lines[0] == grade_line(result)
    assert lines[1] == ""
    labels = [line.split()[0] for line in lines[1:] if line and not line.startswith(" ")]
    assert labels[:2] == ["why", "next"]
    assert labels[-1] == "take"
    assert max(map(len, lines)) <= WIDTH
    assert text == "\n".join(line.rstrip() for line in lines)
    flat = " ".join(text.split())
    for sentence in result.verdict.advice:
        assert sentence in flat
    assert lines[-2:] == [f"take care {TAKE_CARE[0]}", f"          {TAKE_CARE[1]}"], "two lines, no more"


def test_detected_stands_first(analysis_of: Analyse) -> None:
    result = replace(
        analysis_of("sound"),
        findings=(
            finding("cage", chance=0.02),
            finding("ball", detected=True, chance=1e-4),
            finding("creak", detected=True, chance=1e-7),
        ),
    )
    evidence = to_text(result).partition("\nnext")[2]
    places = [evidence.index(f"about {condition}") for condition in ("creak", "ball")]
    assert places == sorted(places)
    assert places[-1] < evidence.index("cage")


def test_what_a_finding_says(analysis_of: Analyse) -> None:
    """Its words, its sentence, its strength, its chance and where in the sound it was."""
    told = finding(
        "tight",
        detected=True,
        chance=1e-5,
        severity_db=3.6,
        detail="it drags twice a turn",
        evidence=Evidence(band_hz=(707.1, 1414.2)),
    )
    flat = " ".join(to_text(replace(analysis_of("sound"), findings=(told,))).split())
    for said in ("tight", "it drags twice a turn", "+4 dB", words.chance(1e-5), "from 707 to 1414 Hz"):
        assert said in flat


def test_orders_and_tightness_are_explained(analysis_of: Analyse) -> None:
    """Where a number is computed it is said what it is; a list of parts does not end with a bare adjective."""
    damaged, healthy = to_text(analysis_of("outer")), to_text(analysis_of("sound"))
    assert "computed)" in " ".join(damaged.split()) and words.ORDERS in " ".join(damaged.split())
    assert words.ORDERS not in " ".join(healthy.split())
    assert "tight (noise swelling twice a turn" in " ".join(healthy.split())


def test_the_quiet_line_names_the_part(analysis_of: Analyse) -> None:
    sound, outer = analysis_of("sound"), analysis_of("outer")
    assert quiet_line(sound) == grade_line(sound)
    assert quiet_line(outer) == f"{grade_line(outer)}: outer ring"
    by_ear = replace(outer, motion=replace(outer.motion, scale_known=False))
    assert quiet_line(by_ear) == f"{grade_line(outer)}: outer ring, by ear"
    both = (finding("rumble", detected=True, chance=1e-4), finding("outer_raceway", detected=True, chance=1e-6))
    assert quiet_line(replace(outer, findings=both)) == f"{grade_line(outer)}: outer ring; rumble"
    unusable = replace(outer, quality=Quality((), usable=False))
    assert quiet_line(unusable) == grade_line(outer), "what is heard in a useless recording says nothing"


def test_without_severity_there_is_no_number(analysis_of: Analyse) -> None:
    result = replace(analysis_of("sound"), findings=(finding("rumble", detected=True, severity_db=None),))
    evidence = to_text(result).partition("\nnext")[2]
    assert "nothing much about rumble" in evidence
    assert " dB" not in evidence and "None" not in evidence


def test_an_unusable_recording(analysis_of: Analyse) -> None:
    """Nothing was judged: no findings, no motion, and the reason stands where the grade's does."""
    problem = Problem("silent", "the recording holds no sound", "Switch the microphone on.", voids="any")
    result = replace(
        analysis_of("sound"),
        motion=None,
        features=None,
        findings=(),
        quality=Quality((problem,), usable=False),
        verdict=Verdict("undecided", (problem.detail,), (problem.advice,)),
    )
    text = to_text(result)
    assert text.startswith("UNDECIDED")
    assert "\nheard" not in text and "\nnot heard" not in text
    assert "why       The recording holds no sound." in text
    assert "crank     its motion is not known" in text


def test_a_failed_plugin_is_named(analysis_of: Analyse) -> None:
    failed = replace(analysis_of("sound"), failures=(Failure("detect", "grumpy", "ValueError: 3 is odd"),))
    assert "failed    plugin grumpy (detect): ValueError: 3 is odd" in to_text(failed)


def test_every_level_and_condition_has_words(analysis_of: Analyse) -> None:
    result = replace(analysis_of("sound"), findings=tuple(finding(c, detected=True) for c in CONDITIONS))
    text = to_text(result)
    for condition in CONDITIONS:
        assert table().conditions[condition].name in text


def test_the_crank_s_motion(analysis_of: Analyse) -> None:
    result = analysis_of("sound")
    assert re.search(
        r"crank     9\.0 turns from \d\.\d to \d+\.\d s, spun by hand, \d+ rpm falling to \d+; speed from the",
        to_text(result),
    )
    steady = replace(result, motion=replace(result.motion, spin="steady"))
    pedalled = replace(result, motion=replace(result.motion, spin="pedal"))
    assert re.search(r"turned steadily, \d+ rpm;", to_text(steady))
    assert re.search(r"pedalled, \d+ to \d+ rpm;", to_text(pedalled))


def test_the_bearing_says_where_its_count_is_from(analysis_of: Analyse) -> None:
    result = analysis_of("sound")
    assert "6805: 16 balls of 3.5 mm on 31 mm, count from the catalogue" in to_text(result)
    inferred = replace(result, bearing=replace(result.bearing, balls_source="inferred"))
    assert "count inferred by ear" in to_text(inferred)
