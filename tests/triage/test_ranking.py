"""Answers in, ranked sources out: the workshop's plain cases, and what must not change the ranking."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.triage.evidence import Answer, answered
from acoustic.triage.ranking import TABLE_WRONG, rank, shares
from acoustic.triage.rules import load_rules

Said = Callable[..., list[Any]]
BEARING, BOLTS, PEDAL, SADDLE = "crank_bearing", "crank_bolts", "pedal", "saddle"
HEADSET, HUB, CHAIN = "headset", "rear_hub", "chain"

# What is known, who must lead, how many places count as leading. All from common workshop practice.
SCENARIOS = [
    ("only seated", ["+ride-seated", "-ride-standing"], {SADDLE}, 1),
    ("seated, and coasting too", ["+ride-seated", "-ride-standing", "+coast"], {SADDLE}, 1),
    ("only standing, pulling the bar", ["-ride-seated", "+ride-standing"], {HEADSET}, 1),
    ("standing, and over bumps while coasting", ["-ride-seated", "+ride-standing", "+coast"], {HEADSET}, 1),
    ("by hand the bearing is at fault", ["bearing=replace@hand"], {BEARING}, 1),
    (
        "at fault by hand and in the stand",
        ["bearing=replace@hand", "bearing=service@pedal", "+pedal"],
        {BEARING},
        1,
    ),
    ("squeaks by hand, chain off", ["+hand"], {BEARING}, 1),
    (
        "once a turn under load, silent and clean by hand",
        ["+pedal", "rhythm=each-turn@pedal", "-hand", "bearing=clean@hand"],
        {BOLTS, PEDAL},
        2,
    ),
    (
        "once a turn seated and standing, silent and clean by hand",
        ["+ride-seated", "+ride-standing", "rhythm=each-turn@ride-standing", "bearing=clean@hand"],
        {BOLTS, PEDAL},
        2,
    ),
    ("only while coasting", ["+coast", "-ride-seated", "-ride-standing"], {HUB}, 1),
    ("coasting, silent in the stand", ["+coast", "-pedal", "-ride-seated"], {HUB}, 2),
    ("coasting, seated and standing", ["+coast", "+ride-seated", "+ride-standing"], {HUB}, 1),
    ("in the stand at a pace of its own", ["+pedal", "rhythm=two-turns@pedal"], {CHAIN}, 1),
    (
        "at the chain's pace, not coasting",
        ["+pedal", "chain=yes@pedal", "rhythm=two-turns@pedal", "-coast"],
        {CHAIN},
        1,
    ),
    ("twice a turn, seated only", ["+ride-seated", "-ride-standing", "rhythm=strokes@ride-seated"], {SADDLE}, 1),
    ("standing, not in the stand", ["+ride-standing", "-pedal", "-ride-seated"], {HEADSET}, 1),
    (
        "pedalling anywhere, not coasting",
        ["+pedal", "+ride-seated", "+ride-standing", "-coast"],
        {BEARING, BOLTS},
        3,
    ),
]


@pytest.mark.parametrize(("known", "leaders", "places"), [s[1:] for s in SCENARIOS], ids=[s[0] for s in SCENARIOS])
def test_plain_cases(known: list[str], leaders: set[str], places: int, said: Said, rules: Any) -> None:
    ranked = rank(said(*known), rules)
    assert leaders <= {one.source for one in ranked[:places]}


@pytest.mark.parametrize(("known", "leaders"), [(s[1], s[2]) for s in SCENARIOS], ids=[s[0] for s in SCENARIOS])
def test_the_leader_is_spoken_for(known: list[str], leaders: set[str], said: Said, rules: Any) -> None:
    ranked = {one.source: one for one in rank(said(*known), rules)}
    for source in leaders:
        assert ranked[source].speaks_for
        assert all(argument.nats > 0 and argument.why and argument.basis for argument in ranked[source].speaks_for)
        assert all(argument.nats < 0 for argument in ranked[source].against)


def every_answer() -> list[Answer]:
    rules = load_rules()
    return [
        Answer(code, label.code, value, origin, "said", "x.wav")
        for label in rules.labels.values()
        for code in label.questions
        for value in rules.questions[code].values
        for origin in ("measured", "told")
    ] + [answered(question, value) for question in rules.asked.values() for value in question.values]


@given(st.lists(st.sampled_from(every_answer()), max_size=12), st.randoms())
def test_shares_are_shares_in_any_order(answers: list[Answer], dice: Any) -> None:
    """They add up to 1, none is certain or excluded, and the order of the arguments does not matter."""
    rules = load_rules()
    ranked = rank(answers, rules)
    assert sum(one.share for one in ranked) == pytest.approx(1, abs=1e-12)
    assert all(0 < one.share <= 1 - TABLE_WRONG * 0.9 for one in ranked)
    shuffled = list(answers)
    dice.shuffle(shuffled)
    again = rank(shuffled, rules)
    assert [one.source for one in again] == [one.source for one in ranked]
    assert [one.share for one in again] == pytest.approx([one.share for one in ranked], rel=1e-9)


@pytest.mark.parametrize("label", ["hand", "pedal", "ride-seated", "ride-standing", "coast"])
def test_after_any_answers_of_one_label_shares_add_up_to_one(label: str, rules: Any) -> None:
    questions = rules.labels[label].questions
    for values in itertools.product(*(rules.questions[question].values for question in questions)):
        answers = [
            Answer(q, label, yes, "measured", "said", "x.wav") for q, yes in zip(questions, values, strict=True)
        ]
        assert sum(shares(answers, rules).values()) == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize(
    "answer",
    [a for a in every_answer() if a.value not in ("replace", "loud")],
    ids=lambda a: f"{a.label}-{a.question}-{a.value}-{a.origin}",
)
def test_one_answer_makes_no_certainty(answer: Answer, rules: Any) -> None:
    """From equal odds one answer leaves the others two chances in five, but for a bearing found worn out."""
    assert max(shares([answer], rules).values()) < 0.6


@pytest.mark.parametrize("value", ["replace", "loud"])
@pytest.mark.parametrize(
    "known",
    [
        [],
        ["+ride-seated", "-ride-standing"],
        ["+ride-standing", "-ride-seated"],
        ["+pedal"],
        ["rain=same", "leg=left"],
    ],
    ids=" ".join,
)
def test_a_bearing_found_worn_out_comes_first(value: str, known: list[str], said: Said, rules: Any) -> None:
    """Common practice: what is found worn out is seen to before what is only guessed at from two words."""
    assert rank(said(f"bearing={value}@hand", *known), rules)[0].source == BEARING


def test_a_bearing_found_worn_out_does_not_creak_with_still_cranks(said: Said, rules: Any) -> None:
    ranked = {one.source: one.share for one in rank(said("bearing=replace@hand", "+coast"), rules)}
    assert ranked[BEARING] < 0.01 < ranked[HUB]


def test_the_worse_the_grade_the_likelier_the_bearing(said: Said, rules: Any) -> None:
    grades = rules.questions["bearing"].values
    for label in ("hand", "pedal"):
        risen = [shares(said(f"bearing={grade}@{label}"), rules)[BEARING] for grade in grades]
        assert risen == sorted(risen)
        assert len(set(risen)) == len(grades) == 5


def test_every_named_source_can_lead(rules: Any) -> None:
    """No source is in the table in vain: some set of three answers puts it first."""
    answers = [a for a in every_answer() if a.origin == "told" and a.question in ("noise", "rhythm")]
    first = {
        rank(three, rules)[0].source
        for three in itertools.combinations(answers, 3)
        if len({(rules.place(a.question, a.label), a.question) for a in three}) == 3
    }
    assert first >= set(rules.sources) - {"elsewhere"}


@pytest.mark.parametrize("source", load_rules().sources)
def test_the_answers_that_fit_a_source_best_put_it_first(source: str, rules: Any) -> None:
    """Every question answered as the source makes likelier than the others do; bolts and pedal are much alike."""
    answers = []
    for question, place in {(question, place) for question, place, _ in rules.rows}:
        rows = {code: rules.rows[question, place, code] for code in rules.sources}

        def lead(value: str, rows: Any = rows) -> float:
            others = [row.chance(value) for code, row in rows.items() if code != source]
            return float(rows[source].chance(value) / max(others))

        answers.append(
            Answer(question, place, max(rules.questions[question].values, key=lead), "told", "said", "the rider")
        )
    places = 2 if source in (BOLTS, PEDAL) else 1
    assert source in {one.source for one in rank(answers, rules)[:places]}


def test_every_row_can_matter(rules: Any) -> None:
    """For every question some source thinks otherwise than the rest: a question alike to all would be idle."""
    for question, place in {(question, place) for question, place, _ in rules.rows}:
        value = next(iter(rules.questions[question].values))
        assert len({rules.rows[question, place, source].chance(value) for source in rules.sources}) > 1


def test_nothing_known_is_the_prior(rules: Any) -> None:
    ranked = rank([], rules)
    priors = {code: source.prior for code, source in rules.sources.items()}
    total = sum(priors.values())
    for one in ranked:
        assert one.share == pytest.approx(priors[one.source] / total)
        assert one.speaks_for == one.against == ()


def test_saying_it_twice_adds_nothing(said: Said, rules: Any) -> None:
    """Repeats of one question are no independent news."""
    once, twice = shares(said("+ride-seated"), rules), shares(said("+ride-seated", "+ride-seated"), rules)
    assert twice == pytest.approx(once, rel=1e-12)


def test_contradicting_words_weigh_little(said: Said, rules: Any) -> None:
    clear, torn = shares(said("+ride-seated"), rules), shares(said("+ride-seated", "-ride-seated"), rules)
    flat = shares([], rules)
    assert abs(torn["saddle"] - flat["saddle"]) < abs(clear["saddle"] - flat["saddle"])


def test_a_phone_s_silence_is_believed_less_than_the_rider_s(rules: Any) -> None:
    told = Answer("noise", "ride-standing", "no", "told", "no creak", "the rider")
    measured = Answer("noise", "ride-standing", "no", "measured", "no creak", "x.wav")
    assert shares([told], rules)["saddle"] > shares([measured], rules)["saddle"] > shares([], rules)["saddle"]


def test_a_clean_side_does_not_clear_the_other(rules: Any) -> None:
    """A fault at one side of the bearing is no less for a clean other side; without sides they do contradict."""

    def bearing(value: str, side: Any) -> Answer:
        return Answer("bearing", "hand", value, "measured", "said", "x.wav", side)

    alone = shares([bearing("replace", "drive")], rules)
    for less in ("clean", "watch", "service"):
        assert shares([bearing("replace", "drive"), bearing(less, "non-drive")], rules) == pytest.approx(alone)
        without = shares([bearing("replace", None), bearing(less, None)], rules)
        assert without[BEARING] < alone[BEARING]


def test_the_same_beat_told_and_measured_is_one_vote(said: Said, rules: Any) -> None:
    once = shares(said("rhythm=two-turns"), rules)
    assert shares(said("rhythm=two-turns", "rhythm=two-turns@pedal"), rules) == pytest.approx(once, rel=1e-12)
