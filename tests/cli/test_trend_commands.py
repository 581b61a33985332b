"""`acoustic trend` and `acoustic due` on a book of made-up verdicts: what is told, drawn, written, refused."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from checked import plain_check

from acoustic.book.bikes import add_bike, fit_bearing, take_out
from acoustic.book.opening import open_book
from acoustic.book.question import AskedBearing, AskedBlock, AskedScene
from acoustic.book.records import Fitted, Judged, Visit
from acoustic.book.visits import add_visit
from acoustic.errors import EXIT_DONE, EXIT_UNUSABLE

Run = Callable[..., Any]
FIRST = date(2026, 1, 5)
STEPS_DAYS = 28
TODAY = "2026-09-20"
RISING = (-30.0, -30.0, -23.1, -21.2, -20.3, -18.1, -17.4, -15.2, -14.1)
LEVEL = (-18.2, -17.5, -18.4, -17.8, -18.0, -18.3, -17.6, -18.1, -17.9)
DRAGS = (0.120, 0.124, 0.119, 0.123, 0.118, 0.122, 0.121, 0.120, 0.123)


def judged(**said: Any) -> Judged:
    """A verdict with the strikes of the outer ring found where they are heard."""
    document = plain_check(**said)
    for finding in document["findings"]:
        finding["detected"] = finding["severity_db"] > -28
    return Judged(
        sha256=f"{abs(hash(str(said))):064x}"[:64],
        suffix=".wav",
        name="x.wav",
        bytes=1,
        asked=AskedBlock(bearing=AskedBearing(), speed={}, scene=AskedScene(), files={}),
        document=document,
        judged_at=datetime(2026, 3, 1),
    )


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Six bikes: one wears, one stays, one is new, one asks for a bearing, one got it, of one it came out."""
    monkeypatch.setenv("ACOUSTIC_BOOK", str(tmp_path / "shop.db"))
    book = open_book(str(tmp_path / "shop.db"))
    with book.writing() as connection:
        for bike in ("wears", "stays", "new", "asks", "done", "gone"):
            add_bike(connection, bike)
            fit_bearing(connection, Fitted(bike=bike, installed_on=FIRST))
        for number, (rising, level, drag) in enumerate(zip(RISING, LEVEL, DRAGS, strict=True)):
            day, km = FIRST + timedelta(days=STEPS_DAYS * number), 400.0 * number
            kind = "check" if number else "final"
            for bike, said in (("wears", {"outer_raceway": rising}), ("stays", {"outer_raceway": level})):
                verdict = judged(drag=drag, **said)
                add_visit(
                    connection, Visit(bike=bike, on_date=day, kind=kind, distance_km=km, verdicts=(verdict,))
                )
        for bike, done in (("new", "nothing"), ("asks", "nothing"), ("done", "replacement"), ("gone", "nothing")):
            level = "clean" if bike == "new" else "replace"
            verdict = judged(level=level, outer_raceway=-5.0 if bike != "new" else -35.0)
            add_visit(
                connection, Visit(bike=bike, on_date=FIRST + timedelta(days=9), done=done, verdicts=(verdict,))
            )
        take_out(connection, 6, FIRST + timedelta(days=20), "worn")
    book.close()
    return tmp_path


def test_both_ends_of_the_range_kilometres_and_the_onset_are_said(acoustic: Run, shop: Path) -> None:
    told = acoustic("trend", "wears", "--today", TODAY).stdout
    flat = " ".join(told.split())
    assert flat.startswith("wears: 9 visits Outer ring (strikes of the outer ring) Replacement is due between ")
    assert "likeliest about" in flat
    assert "In kilometres: between " in flat
    assert "It began between the visits of 2026-02-02 and 2026-03-02; the first 2 visits are no points" in flat
    assert "fell" not in flat
    assert "The next visit would narrow this most about 20" in flat
    assert flat.endswith("Drag of the hand-spun crank Unchanged.")


def test_what_is_not_shown_to_rise_gets_no_date(acoustic: Run, shop: Path) -> None:
    told = " ".join(acoustic("trend", "stays", "--today", TODAY).stdout.split())
    assert "Not shown to rise, so that no date can be told for replacement." in told
    assert "due between" not in told


def test_a_last_recording_past_the_limit_is_said_first(acoustic: Run, shop: Path) -> None:
    book = open_book(str(shop / "shop.db"))
    with book.writing() as connection:
        day = FIRST + timedelta(days=STEPS_DAYS * len(LEVEL))
        add_visit(connection, Visit(bike="stays", on_date=day, verdicts=(judged(outer_raceway=-9.0),)))
    book.close()
    told = " ".join(acoustic("trend", "stays", "--today", TODAY, "--of", "outer ring").stdout.split())
    assert "(strikes of the outer ring) The last recording alone reads past the limit for replacement" in told


def test_the_document_says_the_same(acoustic: Run, shop: Path) -> None:
    document = acoustic("trend", "wears", "--today", TODAY, "--json").document
    outer, drag = document["courses"]
    assert (outer["state"], outer["next"], outer["limit"]) == ("due", "replacement", -10.0)
    assert TODAY <= outer["earliest"] <= outer["likeliest"] <= outer["latest"]
    assert outer["onset"] == {"after": "2026-02-02", "before": "2026-03-02"}
    assert outer["km"]["earliest"] <= outer["km"]["likeliest"]
    assert outer["a_month"]["least"] > 0 and outer["rising"] > 0.95
    assert (drag["state"], drag["earliest"], drag["because"]) == ("not rising", None, ["unchanged"])


@pytest.mark.parametrize("words", ["outer ring", "OUTER_RACEWAY", "strikes of the outer ring"])
def test_a_quantity_is_asked_for_by_the_words_of_reports(words: str, acoustic: Run, shop: Path) -> None:
    document = acoustic("trend", "wears", "--today", TODAY, "--of", words, "--json").document
    assert [one["of"] for one in document["courses"]] == ["outer_raceway"]


def test_a_chart_is_drawn_and_none_of_drag_that_does_not_change(acoustic: Run, shop: Path) -> None:
    drawn = acoustic("trend", "wears", "--today", TODAY, "--plot", str(shop / "trend.svg"))
    assert drawn.code == EXIT_DONE
    text = (shop / "trend.svg").read_text(encoding="utf-8")
    for said in ("replacement from here on", "today", "hatched: holds the true course", "is due between"):
        assert said in text
    none = acoustic("trend", "wears", "--of", "drag", "--today", TODAY, "--plot", str(shop / "drag.svg"))
    assert none.code == EXIT_UNUSABLE
    assert "nothing changes that is worth a chart" in none.stderr
    assert not (shop / "drag.svg").exists()


def test_due_over_all_bikes_soonest_first(acoustic: Run, shop: Path) -> None:
    """What asks for a bearing now comes first; done or taken out is not listed."""
    document = acoustic("due", "--today", TODAY, "--json").document
    assert document["schema"] == "acoustic.due/1"
    assert [(one["bike"], one["by"], one["state"]) for one in document["due"]] == [
        ("asks", "last visit", "already there"),
        ("wears", "trend", "due"),
    ]
    assert document["due"][1]["of"] == "outer_raceway"
    assert TODAY <= document["due"][1]["earliest"] <= document["due"][1]["latest"]
    assert (document["not_rising"], document["too_few"]) == (["stays"], ["done", "new"])
    told = " ".join(acoustic("due", "--today", TODAY).stdout.split())
    assert "asks Replacement is due now, by the grade of the last visit on 2026-01-14." in told
    assert "by the trend of: outer ring." in told
    besides = "1 bike not shown to wear (stays), 2 bikes with too few visits to tell (done, new)"
    assert told.endswith(f"Besides: {besides}.")


def test_due_within_a_span(acoustic: Run, shop: Path) -> None:
    days = acoustic("trend", "wears", "--today", "2026-08-17", "--json").document["courses"][0]["earliest"]
    ahead = (date.fromisoformat(days) - date(2026, 8, 17)).days
    call = ("due", "--today", "2026-08-17", "--json", "--within")
    for within, listed in ((f"{ahead + 1}d", True), ("0d", ahead == 0)):
        document = acoustic(*call, within).document
        assert ("wears" in [one["bike"] for one in document["due"]]) == listed
        assert document["later"] == (0 if listed else 1)


@pytest.mark.parametrize(("within", "days"), [("30", 30.0), ("30d", 30.0), ("6 weeks", 42.0), ("1,5w", 10.5)])
def test_spans_as_people_type_them(within: str, days: float, acoustic: Run, shop: Path) -> None:
    assert acoustic("due", "--today", TODAY, "--within", within, "--json").document["within_days"] == days


def test_nothing_due_and_what_is_no_span(acoustic: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ACOUSTIC_BOOK", str(tmp_path / "shop.db"))
    open_book(str(tmp_path / "shop.db")).close()
    acoustic("bike", "add", "red")
    empty = acoustic("due", "--within", "30d")
    assert (empty.code, empty.stdout) == (EXIT_DONE, "Nothing is shown to fall due within 30 days.\n")
    refused = acoustic("due", "--within", "soon")
    assert refused.code == EXIT_UNUSABLE
    assert "for example 30d" in refused.stderr
    assert acoustic("trend", "red").stdout.startswith("red: no visits yet.")
    assert "There are: outer ring" in acoustic("trend", "red", "--of", "wobble").stderr


@pytest.mark.parametrize("call", [("trend", "wears"), ("due",)])
def test_neither_loads_scipy_or_the_drawing(call: tuple[str, ...], shop: Path) -> None:
    """They answer within 0.7 s as whole commands; scipy alone takes half of that."""
    code = "import sys; from acoustic.cli import main\ntry: main(sys.argv[1:])\n"
    code += "except SystemExit: print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code, *call, "--today", TODAY],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    loaded = {name.partition(".")[0] for name in done.stdout.splitlines()[-1].split()}
    assert "numpy" in loaded, "the test looks at the right process"
    assert not loaded & {"scipy", "matplotlib", "librosa"}


def test_an_even_rise_of_few_visits_is_told_as_likely(acoustic: Run, shop: Path) -> None:
    """With the day to record again, and counted from the day that the bearing went in, not from its final spin."""
    book = open_book(str(shop / "shop.db"))
    fitted = date(2026, 2, 5)
    with book.writing() as connection:
        add_bike(connection, "even")
        fit_bearing(connection, Fitted(bike="even", installed_on=fitted))
        for number, db in enumerate((-16.9, -15.0, -13.3, -11.8, -10.6)):
            day, kind = fitted + timedelta(days=1 + 61 * number), "check" if number else "final"
            add_visit(connection, Visit(bike="even", on_date=day, kind=kind, verdicts=(judged(outer_raceway=db),)))
    book.close()
    call = ("trend", "even", "--of", "outer ring", "--today")
    told = " ".join(acoustic(*call, "2026-10-10").stdout.split())
    assert "Likely rising, not yet sure, so that no date can be told yet for replacement." in told
    assert "due between" not in told
    assert "Record it again about 2026-1" in told
    assert told.endswith("Counted since it was fitted on 2026-02-05.")
    document = acoustic(*call, "2026-10-10", "--json").document["courses"][0]
    assert (document["state"], document["earliest"]) == ("likely rising", None)
    assert document["work"] == [{"on": "2026-02-05", "work": "replacement"}]
    earlier = " ".join(acoustic(*call, "2026-07-01").stdout.split())
    assert earlier.startswith("even: 3 visits")
    assert "not enough visits: 3 so far, 4 needed" in earlier
    listed = " ".join(acoustic("due", "--today", "2026-10-10").stdout.split())
    assert "even Likely rising, not yet sure; record again about 2026-1" in listed
