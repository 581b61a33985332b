"""What the book says about itself: the branch that keeps it."""

from __future__ import annotations

import sqlalchemy as sa

from acoustic.book.bikes import insert_unless_there
from acoustic.book.naming import settled
from acoustic.book.tables import about
from acoustic.errors import InputError

LONGEST_BRANCH = 30  # characters; judgement: it stands behind the names of bikes that come from elsewhere


def branch_of(connection: sa.Connection) -> str:
    """The branch that keeps the book; empty if nobody said."""
    return connection.scalar(sa.select(about.c.words).where(about.c.name == "branch")) or ""


def name_branch(connection: sa.Connection, name: str) -> str:
    """Say which branch keeps the book.

    Raises
    ------
    InputError
        The name cannot be used.
    """
    words = settled_branch(name)
    insert_unless_there(connection, about, {"name": "branch", "words": words})
    connection.execute(sa.update(about).where(about.c.name == "branch").values(words=words))
    return words


def settled_branch(name: str) -> str:
    """Settle a branch's name.

    Raises
    ------
    InputError
        It cannot be used.
    """
    words = settled(name, what="branch")
    if len(words) > LONGEST_BRANCH or set(words) & set("()"):
        raise InputError(
            f"{words} is no name of a branch: at most {LONGEST_BRANCH} characters and no brackets are allowed",
            hint="Use the town or the street.",
        )
    return words
