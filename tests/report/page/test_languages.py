"""The rider's half in other languages, and alone on a slip."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import msgspec
import pytest
from checked import check

from acoustic.check.document import CheckDocument, GradeBlock, QualityBlock, document_of
from acoustic.check.grade import grade
from acoustic.conditions import table
from acoustic.languages import translator
from acoustic.model import Failure, Finding, Quality
from acoustic.report.page import Lead, Section, page, page_of_check, page_of_slip
from acoustic.report.page.plain import card_of

Analyse = Callable[[str], Any]
Read = Callable[[str], Any]
OTHERS = ("de", "fr", "es")
TABLE = table()
DAY = date(2026, 11, 26)


def even(text: str) -> str:
    """Blanks made even, as those of a page that was read."""
    return " ".join(text.split())


def undecided(side: str | None = None) -> CheckDocument:
    """A recording that cannot be used, for reasons that are among the longest."""
    because = (
        "no still part was found to tell the room's noise from the bearing's, "
        "and nothing heard keeps the crank's time",
        "a test defect put into it, 14 dB under the noise, is not found either, "
        "so that silence says little of the bearing",
    )
    advice = ("Use the phone's own recorder at its best quality, no call or messenger recording.",)
    return msgspec.structs.replace(
        check(side=side),
        quality=QualityBlock(usable=False, problems=()),
        grade=GradeBlock(level="undecided", because=because, advice=advice),
    )


def worst(side: str | None = None) -> CheckDocument:
    """A bearing with next to everything that can be wrong."""
    return check(level="replace", side=side, cage=5.0, rumble=4.0, contamination=3.0, tight=4.0, outer_raceway=2.0)


def judged(result: Any, *found: tuple[str, float], failures: tuple[Failure, ...] = ()) -> Any:
    findings = [
        Finding(
            condition=code, detected=True, false_alarm_probability=1e-6 * at, severity_db=severity_db, detail="."
        )
        for at, (code, severity_db) in enumerate(found, start=1)
    ]
    rest = [f for f in result.findings if f.condition not in {code for code, _ in found}]
    every = (*findings, *rest)
    verdict = grade(every, Quality(), failures, conditions=TABLE.conditions)
    return replace(result, findings=every, failures=failures, verdict=verdict)


def test_a_document_says_what_its_analysis_said(analysis_of: Analyse) -> None:
    sound = analysis_of("sound")
    for result in (
        sound,
        analysis_of("outer"),
        analysis_of("far_away"),
        judged(sound, ("contamination", 5.0), ("cage", 5.0)),
        judged(sound, ("rumble", 4.0), ("inner_raceway", -12.0)),
        judged(sound, ("cage", 5.0), failures=(Failure("detect", "grumpy", "3 is odd"),)),
        judged(replace(sound, motion=replace(sound.motion, scale_known=False)), ("ball", 5.0)),
    ):
        assert card_of(document_of(result)) == card_of(result)


@pytest.mark.parametrize("code", TABLE.conditions)
def test_every_line_of_the_table_is_said_alike(code: str, analysis_of: Analyse) -> None:
    for rule in TABLE.conditions[code].rules:
        result = judged(analysis_of("sound"), (code, max(rule.from_db, -900.0)))
        assert card_of(document_of(result)) == card_of(result)


def test_a_grade_outlives_the_limit_that_it_was_given_by() -> None:
    """An earlier version graded a faint strike 'replace': so it stays, and so does what that asks for."""
    card = card_of(check(level="replace", outer_raceway=-9.9))
    moved = msgspec.structs.replace(
        document := check(level="replace", outer_raceway=-9.9),
        findings=tuple(msgspec.structs.replace(one, severity_db=-30.0) for one in document.findings),
    )
    assert card_of(moved) == card
    assert card.to_do == TABLE.conditions["outer_raceway"].rules[0].to_do


def test_a_plugins_own_condition_keeps_its_name_reason_and_advice() -> None:
    document = check(level="service", **{"squeal.band": 5.0})
    graded = GradeBlock(level="service", because=("a narrow tone is heard",), advice=("Lift the seals.",))
    card = card_of(
        msgspec.structs.replace(document, conditions={"squeal.band": "squealing seal"}, grade=graded),
        translator("es"),
    )
    assert card.heard == ("Se oye: squealing seal.",)
    assert (card.ride, card.to_do) == (("A narrow tone is heard.",), ("Lift the seals.",))


@pytest.mark.parametrize("language", OTHERS)
def test_the_riders_half_alone_changes(language: str, analysis_of: Analyse, read: Read) -> None:
    result = analysis_of("far_away")
    english, other = (read(page_of_check(result, language=code)) for code in ("en", language))
    half, _, bench = other.text.partition("For the bench")
    assert bench == english.text.partition("For the bench")[2]
    assert other.named("html") == [{"lang": "en"}]
    assert [attrs.get("lang") for attrs in other.named("section")] == [language, None]
    say = translator(language)
    for text in ("In plain words", "What was heard", "What to do", "Take care", "undecided", "check again"):
        assert even(say(text)) in half and text not in half
    for one in (*card_of(result, say).heard, *card_of(result, say).record_again):
        assert even(one) in half


@pytest.mark.parametrize("language", OTHERS)
def test_what_stands_beside_the_checks_is_said_too(language: str, analysis_of: Analyse, read: Read) -> None:
    lead = Lead(
        "Just pressed in.", ("The new bearing was rough before it went in.",), (), ("why",), ("how",), True
    )
    more = Section("How it goes on", ("Ball: service is due already.",), half="customer")
    say = translator(language)
    made = page("red", "a visit", [analysis_of("sound")], (more,), lead=lead, language=language)
    half = read(made).text.partition("For the bench")[0]
    for text in (lead.heading, *lead.paragraphs, more.heading, *more.paragraphs, "Where it stands"):
        assert even(say(text)) in half and text not in half


@pytest.mark.parametrize("language", ("en", *OTHERS))
def test_a_slip_says_what_the_rider_needs(language: str, read: Read) -> None:
    found, say = read(page_of_slip([worst()], language, bike="ticket 102", on=DAY)), translator(language)
    assert found.tags[0] == ("html", {"lang": language})
    assert "ticket 102" in found.text
    assert say("Checked by its sound on 2026-11-26") in found.text
    for one in (
        *card_of(worst(), say).heard,
        *card_of(worst(), say).to_do,
        say("Take care"),
        say(TABLE.turn_by_hand),
    ):
        assert even(one) in found.text
    (grade_now,) = [attrs for attrs in found.named("li") if attrs.get("aria-current")]
    assert grade_now == {"aria-current": "true"}
    assert [address for address in found.addresses if not address.startswith("data:")] == []


def test_a_slip_has_a_card_a_side_with_the_worst_grade(read: Read) -> None:
    checks = [check(side="drive"), worst("drive"), check(side="non-drive"), undecided("non-drive")]
    found = read(page_of_slip(checks, "fr"))
    assert [text for level, text in found.headings if level == 3][:2] == [
        "Côté transmission",
        "Côté opposé à la transmission",
    ]
    ladders = [attrs["aria-label"] for attrs in found.named("ol")]
    assert ladders == ["Verdict: à remplacer", "Verdict: sain"]


def test_a_slip_of_no_verdict_asks_for_another_recording_and_names_no_option(read: Read) -> None:
    text = read(page_of_slip([undecided()], "es")).text
    assert "Haga que el taller lo grabe otra vez." in text
    assert "--" not in text and "sin decidir" in text


def test_an_install_comes_before_its_grade(read: Read) -> None:
    lead = Lead("Just pressed in.", ("The new bearing is not fitted yet.",), (), (), (), True)
    text = read(page_of_slip([worst()], "de", lead=lead)).text
    assert "Frisch eingepresst." in text and "Das neue Lager ist noch nicht eingebaut." in text
    assert "ersetzen" not in text


@pytest.mark.parametrize("language", ("en", *OTHERS))
@pytest.mark.parametrize("case", ["one", "both sides", "undecided"])
def test_a_slip_prints_on_one_sheet(case: str, language: str, tmp_path: Path) -> None:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("there is no chromium on PATH")
        pytest.skip("there is no chromium on PATH, so no slip was printed")
    checks = {
        "one": [worst()],
        "both sides": [worst("drive"), worst("non-drive")],
        "undecided": [undecided("drive"), undecided("non-drive")],
    }
    slip, printed = tmp_path / "slip.html", tmp_path / "slip.pdf"
    slip.write_text(page_of_slip(checks[case], language, bike="ticket 102", on=DAY), encoding="utf-8")
    flags = ["--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'user'}"]
    subprocess.run(
        [program, *flags, f"--print-to-pdf={printed}", "--no-pdf-header-footer", slip.as_uri()],
        capture_output=True,
        check=True,
        timeout=120,
    )
    assert len(re.findall(rb"/Type */Page\b", printed.read_bytes())) == 1
