"""The rule table: whole, sourced, and refused where it is not."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest

import acoustic.triage.rules as table
from acoustic.errors import InputError
from acoustic.triage.rules import ANYWHERE, Row, kind_of_basis, read_rules

NAMED = {"crank_bearing", "crank_bolts", "pedal", "saddle", "headset", "rear_hub", "chain", "elsewhere"}


@pytest.fixture(scope="module")
def content() -> dict[str, Any]:
    return tomllib.loads(Path(table.__file__).with_name("rules.toml").read_text(encoding="utf-8"))


def test_sources_and_labels_are_those_promised(rules: Any) -> None:
    assert set(rules.sources) == NAMED
    assert set(rules.labels) == {"hand", "pedal", "ride-seated", "ride-standing", "coast"}


@pytest.mark.parametrize("kind", ["row", "source", "caution"])
def test_every_entry_says_where_it_comes_from(kind: str, content: dict[str, Any]) -> None:
    """A citation names a work and a place in it; all else says openly that it has none."""
    for entry in content[kind]:
        basis = entry["basis"]
        cited = "table" in basis and any(sign.isdigit() for sign in basis)
        assert basis in ("common practice", "from memory", "the situation itself") or cited, entry


def test_every_question_of_every_label_has_a_row_for_every_source(rules: Any) -> None:
    of_situations = {
        (q, label.code) for label in rules.labels.values() for q in label.questions if q not in rules.asked
    }
    of_the_creak = {(q, ANYWHERE) for q in rules.asked}
    assert set(rules.rows) == {(*place, s) for place in of_situations | of_the_creak for s in rules.sources}
    assert {question for question, _, _ in rules.rows} == set(rules.questions)


def test_only_what_cannot_move_rests_on_the_situation(rules: Any) -> None:
    """Saddle and headset carry nobody in the stand; with the chain off the wheel stands; coasting, the crank."""
    ruled_out = {
        (label, source)
        for (question, label, source), row in rules.rows.items()
        if question == "noise" and row.chances["yes"] < 0.01
    }
    assert ruled_out == {
        *(("hand", source) for source in ("saddle", "headset", "rear_hub", "chain")),
        *(("pedal", source) for source in ("saddle", "headset")),
        *(("coast", source) for source in ("crank_bearing", "crank_bolts")),
    }


def test_the_answers_of_a_question_are_all_there_is(rules: Any) -> None:
    for (question, _, _), row in rules.rows.items():
        for weight in (1.0, 0.6):
            chances = [row.chance(value, weight=weight) for value in rules.questions[question].values]
            assert sum(chances) == pytest.approx(1, abs=1e-12)


def test_softening_yes_and_no_shrinks_their_log_odds(rules: Any) -> None:
    """Worked out by hand: 0.8 has odds of 4; to the power of a half they are 2, a chance of two thirds."""
    row = Row({"yes": 0.8, "no": 0.2}, "why", "from memory", 1.0)
    assert row.chance("yes", weight=0.5) == pytest.approx(2 / 3, abs=1e-12)


def test_weaker_ground_speaks_more_softly(rules: Any) -> None:
    """The same chances lie nearer to each other from memory than from common practice or from a table."""
    weight = rules.weights
    order = ["from memory", "common practice", "published", "the situation itself"]
    assert [weight[one] for one in order] == sorted(weight[one] for one in order)
    assert 0 < weight["from memory"] < weight["common practice"] < weight["published"] < 1
    for row in rules.rows.values():
        assert row.weight == weight[kind_of_basis(row.basis)]
        softened = [row.chance(value) for value in row.chances]
        given = list(row.chances.values())
        assert max(softened) / min(softened) <= max(given) / min(given) * (1 + 1e-12)


def test_a_check_warns_of_what_must_not_be_ridden(rules: Any) -> None:
    texts = " ".join([*rules.cautions, *(source.caution for source in rules.sources.values())])
    assert "loose crank arm" in rules.cautions[0]
    assert texts.count("do not ride") >= 4
    assert "maker's sheet" in texts
    assert "left-hand thread" in rules.sources["pedal"].caution


def broken(content: dict[str, Any], change: str) -> dict[str, Any]:
    spoilt = copy.deepcopy(content)
    row = spoilt["row"][0]
    if change == "no basis":
        del row["basis"]
    elif change == "empty basis":
        row["basis"] = ""
    elif change == "unknown word":
        row["yes"] = "perhaps"
    elif change == "row missing":
        del spoilt["row"][0]
    elif change == "row twice":
        spoilt["row"].append(row)
    elif change == "never asked":
        row["sources"] = ["bell"]
    elif change == "certain":
        spoilt["words"]["mostly"] = 1.0
    elif change == "no time":
        spoilt["source"][0]["minutes"] = 0.0
    elif change == "question":
        spoilt["label"][0]["questions"].append("smell")
    elif change in ("answer missing", "sum"):
        chances = next(one for one in spoilt["row"] if "chances" in one)["chances"]
        del chances["no"]
        chances |= {"no": 0.9} if change == "sum" else {}
    elif change == "weight":
        spoilt["weights"]["told"] = 2.0
    elif change == "top":
        spoilt["colour"] = "red"
    return spoilt


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("no basis", r"row 1 of \[\[row\]\], field 'basis': it is missing"),
        ("empty basis", "field 'basis': text is needed, got ''"),
        ("unknown word", "'perhaps'; use one of"),
        ("row missing", r"no row of \[\[row\]\] is for noise / hand / crank_bearing"),
        ("row twice", r"two rows of \[\[row\]\] are for"),
        ("never asked", "bell, which is never asked"),
        ("certain", "nothing is certain"),
        ("no time", r"row 1 of \[\[source\]\] \(crank_bearing\), field 'minutes': a number above 0"),
        ("question", r"\[\[label\]\] hand asks 'smell'; use one of"),
        ("answer missing", "says yes; it needs yes, no"),
        ("sum", "add up to 1.15; 1 is needed"),
        ("weight", "every weight must be"),
        ("top", "field 'colour': no such field is known"),
    ],
)
def test_a_broken_table_is_refused(change: str, words: str, content: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=words):
        read_rules(broken(content, change))
