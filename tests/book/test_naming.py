"""Names of bikes: settled, compared, refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.book.about import branch_of, name_branch
from acoustic.book.bikes import add_bike, find_bike, known_bike, require_bike
from acoustic.book.naming import LONGEST, escaped, key_of, quoted, settled
from acoustic.book.opening import Book
from acoustic.errors import InputError


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("  red   road ", "red road"),
        ("Re\u0301d", "R\u00e9d"),  # accent typed after its letter
        ("\U0001f6b2 7", "\U0001f6b2 7"),
        ("\U0001f468\u200d\U0001f527", "\U0001f468\u200d\U0001f527"),  # a mechanic: two signs and a joiner
        ("red\u00a0road", "red road"),
    ],
)
def test_a_name_is_settled(typed: str, name: str) -> None:
    assert settled(typed) == name
    assert settled(name) == name


@pytest.mark.parametrize(
    "typed",
    ["", "  ", "a\x07b", "red\nroad", "a\u202eb", "a\u200bb", "a\x1b[2Jb", "x" * (LONGEST + 1), "-v", "a\udc80"],
)
def test_what_is_no_name_is_refused_and_shown_safely(typed: str) -> None:
    with pytest.raises(InputError) as refused:
        settled(typed)
    assert escaped(str(refused.value)) == str(refused.value)


def test_one_name_however_it_is_spelt(book: Book) -> None:
    with book.writing() as connection:
        made = add_bike(connection, "Stra\u00dfe 7")
        for spelt in ("STRASSE 7", " stra\u00dfe  7", "\uff33trasse 7"):
            assert find_bike(connection, spelt) == made
            assert known_bike(connection, spelt) == made
        with pytest.raises(InputError, match="already has a bike named Stra\u00dfe 7"):
            add_bike(connection, "strasse 7")
        with pytest.raises(InputError, match="Did you mean Stra\u00dfe 7"):
            require_bike(connection, "Strase 7")


@given(st.text(max_size=40))
def test_a_settled_name_keeps_its_key(text: str) -> None:
    try:
        name = settled(text)
    except InputError:
        return
    assert key_of(name) == key_of(text) == key_of(key_of(name))
    assert settled(name) == name


@pytest.mark.parametrize(
    ("name", "typed"), [("red", "red"), ("red road", '"red road"'), ("7 $HOME", "'7 $HOME'"), ("a/b-1", "a/b-1")]
)
def test_a_name_in_a_hint_works_as_typed(name: str, typed: str) -> None:
    assert quoted(name) == typed


def test_a_branch_has_a_short_name_without_brackets(book: Book) -> None:
    with book.writing() as connection:
        assert branch_of(connection) == ""
        name_branch(connection, " North ")
        assert branch_of(connection) == "North"
        name_branch(connection, "South")
        assert branch_of(connection) == "South"
        for wrong in ("", "a (b)", "x" * 31, "\u202eN"):
            with pytest.raises(InputError):
                name_branch(connection, wrong)
