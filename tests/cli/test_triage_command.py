"""`acoustic triage` end to end: real files through the whole chain, the rider's word, refusals, exit codes."""

from __future__ import annotations

import re
from collections.abc import Callable
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import soundfile

from acoustic.errors import EXIT_DONE, EXIT_PLUGIN_FAILED, EXIT_UNUSABLE
from acoustic.triage.rules import load_rules

Run = Callable[..., Any]
Take = Callable[..., Any]
NAMED = ("--bearing", "6805")
SADDLE = ("--heard", "ride-seated", "--not-heard", "ride-standing")


@pytest.fixture(scope="module")
def hand(taken: Take) -> Callable[..., list[str]]:
    """Arguments that give a case as spun by hand, with its marks: (case, key="hand", **changes of the plan)."""

    def arguments(case: str, key: str = "hand", **changes: Any) -> list[str]:
        made = taken(case, **changes)
        return [f"{key}={made.path}", "--marks", f"{key}={made.marks}"]

    return arguments


def first(document: Any) -> Any:
    return document["sources"][0]


def test_a_faulty_bearing_by_hand_leads(acoustic: Run, hand: Any) -> None:
    outcome = acoustic("triage", *hand("short_outer"), *NAMED, "--heard", "ride-standing", "--json")
    assert (outcome.code, outcome.stderr) == (EXIT_DONE, "")
    document = outcome.document
    assert document["schema"] == "acoustic.triage/1"
    assert first(document)["source"] == "crank_bearing"
    said = {(argument["origin"], argument["question"]) for argument in first(document)["for"]}
    assert said >= {("measured", "bearing"), ("told", "noise")}
    assert sum(source["share"] for source in document["sources"]) == pytest.approx(1)
    (recording,) = document["recordings"]
    assert recording["usable"]
    assert recording["label"] == "hand"
    assert document["told"] == [{"label": "ride-standing", "heard": True}]


def test_a_clean_bearing_by_hand_steps_back(acoustic: Run, hand: Any) -> None:
    heard = ("--heard", "ride-standing", "--heard", "ride-seated", "--json")
    without = acoustic("triage", *heard).document
    document = acoustic("triage", *hand("sound"), *NAMED, *heard).document
    share = [
        next(source["share"] for source in one["sources"] if source["source"] == "crank_bearing")
        for one in (without, document)
    ]
    assert share[1] < share[0]
    assert document["recordings"][0]["grade"] == "clean"


@pytest.mark.parametrize("pedalled", [False, pytest.param(True, marks=pytest.mark.broad)])
def test_the_order_of_the_arguments_does_not_matter(pedalled: bool, acoustic: Run, hand: Any, taken: Take) -> None:
    """With one recording, and with a second whose speed is found by ear, which takes long."""
    pedal = [f"pedal={taken('short_outer').path}"] if pedalled else []
    one = acoustic("triage", *hand("short"), *pedal, *NAMED, "--heard", "coast", *SADDLE, "--json").document
    two = acoustic("triage", *SADDLE, "--heard", "coast", *pedal, *hand("short"), *NAMED, "--json").document
    for key in ("sources", "verdict", "next_recording", "checks"):
        assert one[key] == two[key]


def test_the_rider_s_word_needs_neither_recording_nor_bearing(acoustic: Run) -> None:
    outcome = acoustic("triage", *SADDLE, "--json")
    assert outcome.code == EXIT_DONE
    assert first(outcome.document)["source"] == "saddle"
    assert outcome.document["verdict"]["level"] == "likely"
    assert outcome.document["recordings"] == []
    assert outcome.document["bearing"] is None


def test_the_text(acoustic: Run, hand: Any) -> None:
    outcome = acoustic("triage", *hand("short_outer"), *NAMED, *SADDLE, "--full")
    assert outcome.code == EXIT_DONE
    lines = outcome.stdout.splitlines()
    assert lines[0].split()[0] in {"LIKELY", "OPEN"}
    assert max(map(len, lines)) <= 96
    flat = " ".join(outcome.stdout.split())
    for words in ("Next, ", "The rider's word, not measured", "strikes of the outer ring", "A loose crank arm"):
        assert words in flat
    assert "crank_bearing" not in flat, "people see words, programs see codes"
    assert len(acoustic("triage", *hand("short_outer"), *NAMED, *SADDLE).stdout.splitlines()) <= 10


@pytest.mark.parametrize(
    "known", [("--heard", "pedal"), ("--not-heard", "hand"), ("--heard", "coast"), SADDLE], ids=" ".join
)
def test_printed_hints_work_as_typed(known: tuple[str, ...], acoustic: Run) -> None:
    """Every option in the answer is taken up as it stands, with what it asks for filled in."""
    printed = acoustic("triage", *known).stdout + acoustic("triage", *known, "--full").stdout
    hints = set(re.findall(r"(--(?:heard|not-heard|answer))\s+([\w=-]+)", printed))
    assert hints
    for option, value in hints:
        word = load_rules().questions[value.split("=")[0]].values if option == "--answer" else ()
        typed = value.replace("WORD", next(iter(word), ""))
        given = [] if typed in known else known
        assert acoustic("triage", *given, option, typed).code == EXIT_DONE


def test_quiet_is_one_line(acoustic: Run) -> None:
    outcome = acoustic("triage", *SADDLE, "--quiet")
    assert outcome.stdout.count("\n") == 1
    assert "saddle and post" in outcome.stdout


DEEP, FAINT = {"defects": (("outer_raceway", 8.0),)}, {"defects": (("outer_raceway", -4.0),), "seed": 11}


def test_the_worse_side_is_named(acoustic: Run, hand: Any) -> None:
    """A pit 12 dB deeper at the side away from the chain."""
    arguments = [*hand("short", "hand:drive", **FAINT), *hand("short", "hand:non-drive", **DEEP)]
    document = acoustic("triage", *arguments, *NAMED, "--json").document
    assert document["side"]["worse"] == "non-drive"
    assert first(document)["side"] == "non-drive"
    difference = document["side"]["differences"][0]
    assert difference["difference_db"] < -difference["half_width_db"] < 0


def test_a_stereo_recording_serves_both_sides(acoustic: Run, spin_of: Any, taken: Take, tmp_path: Any) -> None:
    """The same spin as two files and as the two channels of one; the files' names aside, the same is found."""
    pair = [spin_of("short", **change).samples for change in (FAINT, DEEP)]
    length = min(map(len, pair))
    stereo = tmp_path / "stereo.wav"
    soundfile.write(stereo, np.stack([one[:length] for one in pair], axis=1), 48000, subtype="PCM_16")
    marks = taken("short", **FAINT).marks
    document = acoustic(
        "triage", f"hand:both={stereo}", "--marks", f"hand:both={marks}", *NAMED, "--json"
    ).document
    assert [(r["side"], r["judged_channel"]) for r in document["recordings"]] == [("drive", 1), ("non-drive", 2)]
    assert document["side"]["worse"] == "non-drive"


def test_a_mono_file_has_no_second_side(acoustic: Run, taken: Take) -> None:
    made = taken("short")
    outcome = acoustic("triage", f"hand:both={made.path}", "--marks", f"hand:both={made.marks}", *NAMED)
    assert outcome.code == EXIT_UNUSABLE
    assert "channel 2" in outcome.stderr
    assert "stereo" in outcome.stderr


@pytest.fixture(scope="module")
def silence(tmp_path_factory: pytest.TempPathFactory) -> Any:
    path = tmp_path_factory.mktemp("silent") / "silent.wav"
    soundfile.write(path, np.zeros(48000 * 5), 48000, subtype="PCM_16")
    return path


def test_useless_recordings_leave_it_undecided(acoustic: Run, silence: Any) -> None:
    outcome = acoustic("triage", f"hand={silence}", *NAMED, "--json")
    assert outcome.code == EXIT_UNUSABLE
    document = outcome.document
    assert document["verdict"]["level"] == "undecided"
    assert document["next_recording"]["label"]
    assert not document["recordings"][0]["usable"]
    assert document["recordings"][0]["problems"][0]["advice"]
    assert "silent.wav" in outcome.stderr
    assert document["recordings"][0]["advice"][0] in outcome.stderr
    text = acoustic("triage", f"hand={silence}", *NAMED).stdout
    assert text.startswith("NOT USED  silent.wav (spun by hand, chain off): the recording holds no sound")
    assert "microphone is not covered" in " ".join(text.split())
    assert text.splitlines()[2].startswith("UNDECIDED")
    assert "contributes nothing" in acoustic("triage", f"hand={silence}", *NAMED, "--full").stdout


def test_a_useless_recording_of_coasting_is_told_by_ear(acoustic: Run, silence: Any) -> None:
    text = acoustic("triage", f"coast={silence}", *NAMED, *SADDLE).stdout
    assert "--heard or --not-heard coast" in text
    assert len(text.splitlines()) <= 10


def test_heard_nowhere_is_not_reproduced(acoustic: Run) -> None:
    everywhere = [word for label in load_rules().labels for word in ("--not-heard", label)]
    outcome = acoustic("triage", *everywhere)
    assert outcome.code == EXIT_DONE
    assert outcome.stdout.startswith("NOT REPRODUCED")
    assert acoustic("triage", *everywhere, "--quiet").stdout.startswith("NOT REPRODUCED")


def test_the_rider_s_answers_enter(acoustic: Run) -> None:
    known = ("--heard", "ride-standing", "--not-heard", "ride-seated", "--answer", "hands-off=stops", "--json")
    document = acoustic("triage", *known).document
    assert first(document)["source"] == "headset"
    assert document["answered"] == [{"question": "hands-off", "answer": "stops"}]
    assert acoustic("triage", *known[:-2], "Hands-Off = Stops", "--json").document == document


def test_the_help_names_every_question_and_answer(acoustic: Run) -> None:
    text = acoustic("triage", "--help").stdout
    for question in load_rules().asked.values():
        assert all(word in text for word in (f"{question.code}=", *question.values))


def test_a_useless_recording_beside_the_rider_s_word_changes_nothing(acoustic: Run, silence: Any) -> None:
    alone = acoustic("triage", *SADDLE, "--json").document
    outcome = acoustic("triage", f"coast={silence}", *NAMED, *SADDLE, "--json")
    assert outcome.code == EXIT_DONE
    assert outcome.document["sources"] == alone["sources"]


def test_a_failed_plugin_is_undecided_with_its_own_exit_code(
    acoustic: Run, hand: Any, plugin: Callable[..., ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    from acoustic.plugin.registry import load_plugins

    class Broken:
        name, summary, conditions = "broken", "fails", ("creak",)

        def detect(self, features: Any) -> Any:
            raise ValueError("no")

    extra = (("broken", plugin("broken", acoustic_detectors=[Broken()])),)
    monkeypatch.setattr("acoustic.plugin.registry.load_plugins", lambda: load_plugins(extra=extra))
    outcome = acoustic("triage", *hand("sound"), *NAMED, *SADDLE, "--json")
    assert outcome.code == EXIT_PLUGIN_FAILED
    assert "plugin broken failed" in outcome.stderr
    document = outcome.document
    assert document["verdict"]["level"] == "undecided"
    assert document["recordings"][0]["answers"] == [], "what was not judged must not read as a clean bearing"
    assert document["failures"][0]["plugin"] == "broken"
    assert acoustic("triage", *hand("sound"), *NAMED, *SADDLE, "--quiet").stdout.startswith("UNDECIDED")


# Arguments, and words for what was found and what to do.
REFUSED = [
    ([], "nothing was given", "--heard ride-seated"),
    (["spin.wav"], "the label that says what was done in this recording is missing", "hand=spin.wav"),
    (["hand="], "the label that says what was done in this recording is missing", "LABEL=FILE"),
    (["spun=spin.wav"], "spun is not a known label", "ride-seated"),
    (["hand:left=spin.wav"], "left is not a side of a recording labelled hand", "non-drive"),
    (["coast:drive=spin.wav"], "drive is not a side of a recording labelled coast", "hand and pedal"),
    (["--answer", "smell=bad"], "smell is not a known question", "rhythm, leg, hands-off, rain"),
    (["--answer", "leg"], "nothing is not an answer to 'Which leg presses when it creaks?'", "left, right"),
    (["--answer", "leg=left", "--answer", "leg=right"], "as left and as right", "Give it once"),
    (["--heard", "sitting"], "sitting is not a known label", "ride-seated"),
    (
        ["--heard", "coast", "--not-heard", "coast"],
        "coast is given with --heard and with --not-heard",
        "Leave both out",
    ),
    (["hand=absent.wav", *NAMED], "there is no file", "Check the path"),
    (["hand=spin.wav"], "no bearing", "--bearing"),
    (["hand=a.wav", *NAMED, "--marks", "pedal=m.csv"], "must name one of the given recordings", "--marks hand="),
    (["hand=a.wav", "hand=b.wav", *NAMED, "--turns", "hand=9"], "must name one", "needs a side"),
    (["hand=a.wav", *NAMED, "--turns", "hand=many"], "a number above 0", "hand=9.5"),
    (["hand=a.wav", *NAMED, "--turns", "hand=inf"], "a number above 0", "hand=9.5"),
    (["hand=a.wav", *NAMED, "--turns", "hand=-1"], "a number above 0", "hand=9.5"),
]


@pytest.mark.parametrize(
    ("arguments", "found", "hint"), REFUSED, ids=[" ".join(row[0]) or "none" for row in REFUSED]
)
def test_what_cannot_be_used_is_refused(arguments: list[str], found: str, hint: str, acoustic: Run) -> None:
    outcome = acoustic("triage", *arguments)
    assert outcome.code == EXIT_UNUSABLE
    assert outcome.stdout == ""
    assert found in outcome.stderr
    assert hint in outcome.stderr


def test_more_turns_than_anyone_counts_are_refused(acoustic: Run, taken: Take) -> None:
    """The bound is the speed source's own, and stands there alone."""
    outcome = acoustic("triage", f"hand={taken('short').path}", *NAMED, "--turns", "hand=2000")
    assert outcome.code == EXIT_UNUSABLE
    assert outcome.stdout == ""
    assert "--turns is 2000; more than 0 and at most 1000 is needed" in outcome.stderr
