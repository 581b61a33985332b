"""The page as a whole: what comes first, text that stays text, nothing loaded, and read aloud."""

from __future__ import annotations

import re
import sys
import xml.etree.ElementTree
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from acoustic.check.grade import CAUTIONS
from acoustic.conditions import table
from acoustic.model import CONDITIONS, Failure, Finding, Verdict
from acoustic.report import words
from acoustic.report.page import Lead, Section, page, page_of_check
from acoustic.report.terminal import to_text

Analyse = Callable[[str], Any]
Pages = Callable[[str], Any]
Read = Callable[[str], Any]

CASES = ["sound", "outer", "grit", "rumble", "short", "far_away"]
EVIL = "<script>alert(1)</script>\"'&.wav"
LARGEST_BYTES = 3_000_000


@pytest.mark.parametrize("case", CASES)
def test_the_grade_is_the_text_report_s(case: str, page_of: Pages, analysis_of: Analyse) -> None:
    grade = to_text(analysis_of(case)).split()[0]
    found = page_of(case)
    assert found.headings[0][1].upper().startswith(f"{grade}: ")
    marked = [attrs for tag, attrs in found.tags if tag == "li" and "aria-current" in attrs]
    assert len(marked) == 1
    assert re.search(r'<li aria-current="true"><b>(\w+)</b>', found.source).group(1).upper() == grade
    assert f"Grade: {grade.lower()}" in [attrs.get("aria-label") for attrs in found.named("ol")]


@pytest.mark.parametrize("case", CASES)
def test_plain_words_come_first_and_all_that_the_text_report_says(
    case: str, page_of: Pages, analysis_of: Analyse
) -> None:
    result, found = analysis_of(case), page_of(case)
    titles = [title for _, title in found.headings]
    assert titles.index("In plain words") < titles.index("What to do") < titles.index("For the bench")
    assert titles.index("For the bench") < titles.index("Next step") < titles.index("Pictures")
    said = found.text.lower()
    for sentence in (*result.verdict.because, *result.verdict.advice, *CAUTIONS):
        assert sentence.lower() in said
    for label in ("crank", "bearing", "recording"):
        (line,) = re.findall(rf"^{label} +(.*(?:\n  +.*)*)", to_text(result), flags=re.MULTILINE)
        assert " ".join(line.split()).lower() in said
    assert result.recording.sha256 in found.text
    assert all(f"{name} {version}" in found.text for name, version in result.plugin_versions.items())


def test_the_rider_s_half_has_no_words_of_the_trade(page_of: Pages) -> None:
    for case in CASES:
        plain = page_of(case).text.partition("In plain words")[2].partition("For the bench")[0]
        assert not re.search(r"raceway|preload|\border|harmonic|severity|\bdB\b|\bHz\b|spectr", plain), plain


def test_evidence_is_words_and_marks(page_of: Pages, analysis_of: Analyse) -> None:
    """The outer ring's row by hand: heard, its order found and computed, its band."""
    (finding,) = [f for f in analysis_of("outer").findings if f.condition == "outer_raceway"]
    text = page_of("outer").text.partition("Evidence")[2]
    order, expected = finding.evidence.order, finding.evidence.expected_order
    band = "{:.0f} to {:.0f} Hz".format(*finding.evidence.band_hz)
    chance = words.chance(finding.false_alarm_probability)
    severity = f"{finding.severity_db:+.0f} dB"
    assert f"outer ring ● heard {severity} {order:.2f} {expected:.2f} {band} {chance}" in text
    # 16 balls of 3.5 mm on 31 mm: 16 (1 - 3.5/31) / 2 = 7.097 times a turn.
    assert f"{expected:.2f}" == "7.10"
    assert re.search(r"cage ○ not heard \S+ dB – 0\.44 – ", text)
    assert "creak – left open – – – – – " in text
    assert "a crank spun by hand carries no load" in text


def test_every_condition_has_a_row(analysis_of: Analyse, read: Read) -> None:
    findings = tuple(
        Finding(condition=c, detected=True, false_alarm_probability=1e-4, severity_db=-3.0, detail=f"about {c}")
        for c in CONDITIONS
    )
    found = read(page_of_check(replace(analysis_of("sound"), findings=findings)))
    for condition in CONDITIONS:
        assert f"{table().conditions[condition].name} ● heard −3 dB" in found.text
        assert f"{table().conditions[condition].name} : About {condition}." in found.text


def test_text_is_text(analysis_of: Analyse, read: Read) -> None:
    """Whatever holds a name or a sentence from outside: file, plugin, finding, bearing, section."""
    result = analysis_of("outer")
    hostile = replace(
        result,
        recording=replace(result.recording, path=Path("folder") / EVIL.replace("/", "\u2215"), format=EVIL),
        bearing=replace(result.bearing, designation=EVIL),
        verdict=Verdict("undecided", (EVIL,), (EVIL,)),
        findings=tuple(replace(finding, detail=EVIL) for finding in result.findings),
        failures=(Failure("detect", EVIL, EVIL),),
        plugin_versions={EVIL: EVIL},
    )
    svg = '<svg xmlns="http://www.w3.org/2000/svg"><script>alert(2)</script></svg>'
    sections = [Section(EVIL, (EVIL,), svg, half) for half in ("customer", "bench")]
    found = read(page(EVIL, EVIL, (hostile, hostile), sections))
    assert {tag for tag, _ in found.tags} & {"script", "iframe", "object", "svg"} == set()
    assert "alert(2)" not in found.source, "a picture is data"
    assert found.text.count(EVIL) >= 20
    assert EVIL.replace("/", "\u2215") in found.text
    assert not [name for _, attrs in found.tags for name in attrs if name.startswith("on")]


@pytest.mark.parametrize("case", CASES)
def test_nothing_is_loaded_from_outside(case: str, page_of: Pages) -> None:
    found = page_of(case)
    assert len(found.addresses) >= 3, "icon, pictures, sounds"
    assert [address[:40] for address in found.addresses if not address.startswith("data:")] == []
    assert not {tag for tag, _ in found.tags} & {"script", "iframe", "object", "embed", "form", "base"}
    (policy,) = [attrs["content"] for attrs in found.named("meta") if "http-equiv" in attrs]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules == {
        "default-src": "'none'",
        "style-src": "'unsafe-inline'",
        "img-src": "data:",
        "media-src": "data:",
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    for svg in found.pictures:
        # References within the picture, shades of grey as data and names of namespaces are no loads.
        for element in xml.etree.ElementTree.fromstring(svg).iter():
            for name, value in element.attrib.items():
                if name.endswith(("href", "src")):
                    assert value.startswith(("#", "data:image/png;base64,")), f"{name}={value[:60]}"
        assert all(at.startswith("#") for at in re.findall(r"url\(([^)]*)\)", svg))
        assert "@import" not in svg


@pytest.mark.parametrize("case", CASES)
def test_small_enough_to_send(case: str, page_of: Pages) -> None:
    assert len(page_of(case).source.encode("utf-8")) < LARGEST_BYTES


def in_order(found: Any) -> bool:
    levels = [level for level, _ in found.headings]
    return (
        levels[0] == 1 and levels.count(1) == 1 and all(after <= before + 1 for before, after in pairwise(levels))
    )


def test_it_can_be_read_aloud(page_of: Pages) -> None:
    for case in CASES:
        found = page_of(case)
        assert found.named("html") == [{"lang": "en"}]
        assert in_order(found)
        assert all(title.strip() for _, title in found.headings)
        assert all(len(attrs["alt"].split()) >= 5 for attrs in found.named("img"))
        assert all(attrs["aria-label"] and "controls" in attrs for attrs in found.named("audio"))


def test_what_the_pictures_show_is_said(page_of: Pages, analysis_of: Analyse) -> None:
    recording, orders, pitches = [attrs["alt"] for attrs in page_of("outer").named("img")]
    motion = analysis_of("outer").motion
    assert f"turns from {motion.start_s:.1f} to {motion.stop_s:.1f} s; still from 0.0 to" in recording
    assert re.search(
        r"Crank speed .* 9\.0 turns from .* rpm falling to \d+; speed from the marks given", recording
    )
    assert re.search(r"Heard: outer ring at 7\.\d\d events a crank turn, 7\.10 computed", orders)
    assert f"the crank turns from {motion.start_s:.1f} to {motion.stop_s:.1f} s, 9 whole turns marked" in pitches
    assert re.search(
        r"Spectrogram of 1\.0 to 10\.8 s: .* on a logarithmic scale; .* loudest about \d+ Hz", pitches
    )
    assert page_of("sound").named("img")[1]["alt"].endswith("No part was heard.")
    drawn = [" ".join(re.findall(r"<text[^>]*>([^<]*)</text>", svg)) for svg in page_of("outer").pictures]
    assert "turning, judged" in drawn[0] and "still: the room" in drawn[0]
    assert "turns a minute" in drawn[0]
    assert re.search(r"outer ring 7\.\d\d heard", drawn[1])
    assert "0 1 2 3 4 5 6 7 8 9 whole crank turns (thick: it turns)" in drawn[2]
    assert "The spin, pitch by pitch" in drawn[2]


def test_what_takes_long_is_told(analysis_of: Analyse, unusable: Any) -> None:
    told: list[str] = []
    page_of_check(analysis_of("outer"), told.append)
    loading, *work = told
    assert "loading librosa" in loading and "up to a minute" in loading
    assert work == ["drawing the spectrogram", "making the sounds"]
    told.clear()
    page_of_check(unusable, told.append)
    assert told == ["making the sounds"], "nothing is loaded for what cannot be used"


def test_without_librosa_the_rest_is_there(
    analysis_of: Analyse, read: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    """numba refuses to be loaded where it may write nowhere, a read-only machine without a home."""
    monkeypatch.setitem(sys.modules, "librosa", None)
    found = read(page_of_check(analysis_of("outer")))
    assert len(found.named("img")) == 2
    assert len(found.sounds) == 3
    assert "Left out Spectrogram, clicks alone, slow at its pitch: librosa cannot be loaded" in found.text


def test_an_unusable_recording_says_how_to_record(unusable: Any, read: Read) -> None:
    found = read(page_of_check(unusable))
    titles = [title for _, title in found.headings]
    assert titles[0] == f"Undecided: {unusable.recording.path.name}"
    assert titles.index("Record it again, like so") < titles.index("For the bench")
    for said in ("The recording holds no sound.", "Switch the microphone on.", "hand's width", "two seconds"):
        assert said in found.text.partition("For the bench")[0]
    assert "Keep hands, hair and sleeves clear" in found.text.partition("For the bench")[0]
    # Silence is neither drawn nor played, and nothing was judged.
    assert found.named("img") == found.named("audio") == []
    assert "Evidence" not in titles and "Pictures" not in titles and "Listen" not in titles
    assert in_order(found)


def test_what_can_be_heard_of_an_unusable_recording(page_of: Pages) -> None:
    """Drawn and played by itself; marks of parts would be a guess."""
    found = page_of("far_away")
    assert len(found.named("img")) == len(found.named("audio")) == 1
    assert "turning, judged" not in found.pictures[0]
    assert "Evidence" not in [title for _, title in found.headings]


def test_several_checks_and_sections(analysis_of: Analyse, unusable: Any, read: Read) -> None:
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10"/>'
    extra = (
        Section("How it grew", ("It grew.", "A little."), svg, half="customer"),
        Section("Before and after", ("Six dB less.",)),
    )
    found = read(page("Red bike", "Two visits", (analysis_of("outer"), unusable), extra))
    titles = [title for _, title in found.headings]
    assert titles[:2] == ["Red bike", "In plain words"]
    assert in_order(found)
    plain, _, bench = found.text.partition("For the bench")
    for part in (plain, bench):
        assert part.index(analysis_of("outer").recording.path.name) < part.index("The recording holds no sound.")
    assert "How it grew It grew. A little." in plain and "How it grew" not in bench
    assert "Before and after Six dB less." in bench and "Before and after" not in plain
    assert [picture for picture in found.pictures if picture == svg] == [svg]
    assert found.source.count("<li aria-current") == 2


def test_cautions_stand_once_a_page(page_of: Pages, analysis_of: Analyse, read: Read) -> None:
    """In two lines, with the rider's half, however many checks there are."""
    for found in (page_of("outer"), read(page("Two", "Two", (analysis_of("outer"), analysis_of("sound"))))):
        for caution in CAUTIONS:
            assert found.text.count(caution) == 1
        assert [title for _, title in found.headings].count("Take care") == 1
        assert found.text.index("Take care") < found.text.index("For the bench")


def test_what_counts_more_than_the_grade_comes_first(analysis_of: Analyse, read: Read) -> None:
    """Pressed in rougher: nothing on the page asks for a new bearing, and what was heard stays."""
    graded = read(page("Red bike", "A visit", (analysis_of("outer"),)))
    new = "Have a new bearing fitted"
    assert new in graded.text and "Replace the bearing" in graded.text
    lead = Lead(
        "Rougher.", ("It runs rougher.",), ("It is pulled.",), ("Rougher.",), ("Pull it.",), before_grade=True
    )
    found = read(page("Red bike", "A visit", (analysis_of("outer"),), lead=lead, names=("In its seat",)))
    assert new not in found.text and "Replace the bearing" not in found.text and "new bearing" not in found.text
    assert found.text.index("Where it stands Rougher. It runs rougher.") < found.text.index("It is pulled.")
    assert found.text.index("What to do It is pulled.") < found.text.index("A steady rhythm")
    assert "Next step Pull it." in found.text.partition("For the bench")[2]
    assert 'class="ladder"' not in found.source
    assert in_order(found)
    beside = read(page("Red bike", "A visit", (analysis_of("outer"),), lead=replace(lead, before_grade=False)))
    assert new in beside.text and "Where it stands Rougher." in beside.text


def test_sections_alone(read: Read) -> None:
    found = read(page("Red bike", "No visits yet", (), [Section("Lifetime", ("No bearing has failed yet.",))]))
    assert "No bearing has failed yet." in found.text
    assert "The sound is split" not in found.text, "no method where nothing was heard"
    assert in_order(found)
