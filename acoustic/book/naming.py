"""How a bike's name is settled, and when two spellings mean one bike."""

from __future__ import annotations

import re
import shlex
import unicodedata

from acoustic.errors import InputError

LONGEST = 80  # characters; judgement: a ticket and some words, and it still fits a line of a terminal
# Joins emoji to one sign. All other characters of its kind are invisible, or turn the reading direction.
JOINER = "\u200d"
_KINDS = {"Cc": "a control character", "Cf": "an invisible character", "Cs": "half a character"}


def settled(name: str, what: str = "bike") -> str:
    """Settle the name of a bike: trimmed, composed, one space between words.

    Parameters
    ----------
    name, what : str
        The name, and what it is the name of.

    Returns
    -------
    str

    Raises
    ------
    InputError
        It is empty or too long, or holds control, invisible or direction-turning characters.
    """
    trimmed = unicodedata.normalize("NFC", name.strip())
    for letter in trimmed:
        kind = _KINDS.get(unicodedata.category(letter))
        if kind is not None and letter != JOINER:
            raise InputError(
                f"the {what}'s name {escaped(trimmed)} holds {kind} (U+{ord(letter):04X})",
                hint="Type the name again, in letters, digits, signs and spaces.",
            )
    words = " ".join(trimmed.split())
    if not words:
        raise InputError(
            f"the {what} has no name",
            hint="Give any name that tells it from the others, for example "
            f"{'a ticket number' if what == 'bike' else 'its town'}.",
        )
    if words.startswith("-"):
        raise InputError(
            f"the {what}'s name {words} begins with a hyphen, as options do",
            hint="Begin it with a letter or digit.",
        )
    if len(words) > LONGEST:
        raise InputError(
            f"the {what}'s name has {len(words)} characters, and {LONGEST} are allowed",
            hint="Shorten it; --notes takes the rest.",
        )
    return words


def key_of(name: str) -> str:
    """What two spellings of one name share: case, width of letters and spaces do not count."""
    folded = unicodedata.normalize("NFKC", " ".join(name.split())).casefold()
    return unicodedata.normalize("NFKC", folded)


def escaped(text: str) -> str:
    """A text that a book on any server can hold: control, invisible and half characters by their code."""
    return "".join(
        f"\\u{ord(letter):04x}" if unicodedata.category(letter) in _KINDS and letter != JOINER else letter
        for letter in text
    )


def steps(*told: tuple[str, str]) -> str:
    """Set a hint of several cases, each with the command for it on a line of its own, so that it can be copied."""
    return "\n  ".join(f"{case}:\n    {command}" for case, command in told)


def quoted(name: str) -> str:
    """A name as it is typed after a command, on any system."""
    if re.fullmatch(r"[\w.@%+=:,/-]+", name):
        return name
    return shlex.quote(name) if re.search(r'["$`\\!]', name) else f'"{name}"'
