"""The rule table: whole, sourced, and refused where it is not."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest

import acoustic.triage.rules as table
from acoustic.errors import InputError
from acoustic.triage.rules import QUESTIONS, kind_of_basis, read_rules

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
        assert basis in ("common practice", "from memory") or cited, entry


def test_every_question_of_every_label_has_a_row_for_every_source(rules: Any) -> None:
    cells = {(q, label.code, s) for label in rules.labels.values() for q in label.questions for s in rules.sources}
    assert set(rules.rows) == cells
    assert {question for question, _, _ in cells} == set(QUESTIONS)


def test_yes_and_no_are_all_there_is(rules: Any) -> None:
    for row in rules.rows.values():
        for weight in (1.0, 0.6):
            chances = row.chance(yes=True, weight=weight), row.chance(yes=False, weight=weight)
            assert sum(chances) == pytest.approx(1, abs=1e-12)


def test_weaker_ground_speaks_more_softly(rules: Any) -> None:
    """The same word from memory lies nearer to a half than from common practice, and that than from a table."""
    weight = rules.weights
    assert 0 < weight["from memory"] < weight["common practice"] < weight["published"] <= 1
    for row in rules.rows.values():
        assert row.weight == weight[kind_of_basis(row.basis)]
        assert abs(row.chance(yes=True) - 0.5) <= abs(row.probability - 0.5)


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
        ("question", r"field 'questions', entry \d: 'smell' is not known"),
        ("weight", "every weight must be"),
        ("top", "field 'colour': no such field is known"),
    ],
)
def test_a_broken_table_is_refused(change: str, words: str, content: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=words):
        read_rules(broken(content, change))
