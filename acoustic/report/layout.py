"""How the text reports are laid out: labels on the left, wrapped sentences beside them."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

# Columns: fits half a screen, and a page of print.
WIDTH = 96
# Columns: the longest label and a space.
LABEL = 10


def paragraphs(label: str, texts: Iterable[str], *, indent: int = 0) -> list[str]:
    """Wrap texts beside a label that only the first one carries.

    Parameters
    ----------
    label : str
    texts : iterable of str
    indent : int
        Columns that the label stands in from the left.

    Returns
    -------
    list of str
        Lines of at most 96 characters.
    """
    lines: list[str] = []
    for text in texts:
        first = "" if lines else label
        lines += textwrap.wrap(
            text,
            WIDTH,
            initial_indent=f"{'':<{indent}}{first:<{LABEL}}",
            subsequent_indent=" " * (LABEL + indent),
            break_on_hyphens=False,
        )
    return lines


def sentence(text: str) -> str:
    """Begin a text with a capital and end it with a stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."
