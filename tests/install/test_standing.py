"""What counts last: a spin in a seat, a replacement since, a final spin; never the grade of another bearing."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from checked import check

from acoustic.install.standing import Heard, install_pair, where_it_stands

QUIET = {"rumble": -20.0, "outer_raceway": -30.0, "inner_raceway": -28.0, "ball": -33.0, "tight": 0.2}
MAY = date(2026, 5, 1)
JUNE = date(2026, 6, 1)


def heard(kind: Any, *, on: date = MAY, level: str = "clean", replaced: bool = False, **findings: float) -> Heard:
    document = check(level=level, drag=0.1, **{**QUIET, **findings})
    return Heard(on, kind, replaced, (document,))


def told(*visits: Heard, fitted: tuple[date, ...] = ()) -> str | None:
    found = where_it_stands(visits, fitted)
    return None if found is None else found.told.outcome


def test_a_worn_bearing_that_was_only_checked_is_the_grade_s() -> None:
    assert told(heard("check", level="replace", outer_raceway=3.0)) is None
    assert told() is None
    assert told(heard("check"), fitted=(date(2026, 1, 1), MAY)) is None


def test_pressed_in_rougher_is_pulled_first_whatever_the_grade() -> None:
    found = where_it_stands([heard("free"), heard("pressed", level="replace", outer_raceway=3.0)], [MAY])
    assert found is not None and found.before_grade
    assert found.told.outcome == "rougher"
    assert found.told.advice[0].startswith("Pull the bearing and spin it in the hand: if it turns freely again")
    assert "pulls it and sees whether it turns freely" in found.rider_does


def test_replaced_since_asks_for_a_final_spin() -> None:
    worn = heard("check", level="replace", outer_raceway=3.0)
    for found in (
        where_it_stands([worn], [JUNE]),
        where_it_stands([heard("check", level="replace", replaced=True, outer_raceway=3.0)], []),
    ):
        assert found is not None and found.before_grade and found.old
        assert found.told.outcome == "replaced since"
        assert found.told.advice[0].startswith("Record a final spin")
    assert told(worn, heard("final", on=JUNE), fitted=(JUNE,)) == "clean"


@pytest.mark.parametrize(
    ("visits", "outcome", "before_grade"),
    [
        ((heard("free"),), "in the hand", True),
        ((heard("free", level="service", rumble=3.0),), "rough in the hand", True),
        ((heard("free"), heard("pressed")), "as before", True),
        ((heard("free", rumble=3.0), heard("pressed", rumble=4.0)), "rough in the hand", True),
        ((heard("pressed", level="service", tight=4.0),), "pressed in", True),
        ((heard("free"), heard("pressed"), heard("final")), "clean", False),
        ((heard("free"), heard("pressed"), heard("final", level="service", tight=4.0)), "not clean", True),
        ((heard("free"), heard("pressed", tight=4.0), heard("free")), "in the hand", True),
        ((heard("final"), heard("check", level="watch")), None, False),
    ],
)
def test_what_follows_on_what(visits: tuple[Heard, ...], outcome: str | None, before_grade: bool) -> None:
    found = where_it_stands(visits, [MAY])
    assert (None if found is None else found.told.outcome) == outcome
    assert (found is not None and found.before_grade) == before_grade


def test_a_pair_is_of_one_pressing() -> None:
    """A spin in the hand of another try is not compared."""
    first, second = heard("free"), heard("free", rumble=-10.0)
    rough, good = heard("pressed", tight=4.0), heard("pressed")
    assert install_pair([first, rough, second, good, heard("final")]) == (second, good)
    assert install_pair([first, rough, good]) == (None, good)
    assert install_pair([first, heard("check")]) is None
    assert install_pair([first, heard("check"), good]) == (first, good)
    assert install_pair([first, heard("final"), good]) == (None, good)


def test_no_rider_reads_a_word_of_the_trade() -> None:
    every = [
        where_it_stands([heard("free"), heard("pressed", tight=4.0)], []),
        where_it_stands([heard("check", replaced=True)], []),
        where_it_stands([heard("final", level="service", tight=4.0)], []),
        where_it_stands([heard("free")], []),
    ]
    for found in every:
        assert found is not None
        assert not {"raceway", "preload", "dB", "replace", "have"} & set(
            f"{found.for_rider} {found.rider_does}".split()
        )
