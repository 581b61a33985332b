"""What riders read, in other languages.

A catalogue a language, looked up by the English text; `tests/rider_texts.py` finds all texts that it must hold.
"""

from __future__ import annotations

import re
from calendar import month_name
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from acoustic.errors import InputError

ENGLISH = "en"
# As each calls itself, for those who choose.
LANGUAGES: Mapping[str, str] = MappingProxyType(
    {ENGLISH: "English", "de": "Deutsch", "fr": "Français", "es": "Español"}
)
# A longer text is none of ours; names of files and plugins' texts may be of any length [letters].
LONGEST = 2000
# Texts within texts: 'when a service is due: early in a month' is the deepest.
DEEPEST = 3
_PLACE = re.compile(r"\{(\w+)\}")
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?%?")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
_MONTHS = {name: number for number, name in enumerate(month_name) if name}  # no part of the program leaves English
_MONTH = re.compile(rf"({'|'.join(_MONTHS)})(?: (\d{{4}}))?")


@dataclass(frozen=True, slots=True)
class Sentence:
    """A text of the catalogue with places for numbers, names and other texts of the catalogue.

    Attributes
    ----------
    english, translated : str
        With the same places, as ``{turns}``.
    """

    english: str
    translated: str

    def values_in(self, text: str) -> dict[str, str] | None:
        """What stands at the places, each up to where the words after it first come; None in another text."""
        first, *rest = _PLACE.split(self.english)
        names, words = rest[::2], rest[1::2]
        end = len(text) - len(words[-1])
        if not (text.startswith(first) and text.endswith(words[-1])):
            return None
        at, values = len(first), {}
        for name, after in zip(names[:-1], words[:-1], strict=True):
            stop = text.find(after, at + 1, end)
            if stop < 0:
                return None
            values[name], at = text[at:stop], stop + len(after)
        return {**values, names[-1]: text[at:end]} if at < end else None

    @property
    def letters(self) -> int:
        """How many there are outside the places."""
        return len(_PLACE.sub("", self.english))


@dataclass(frozen=True, slots=True)
class Translator:
    """Says texts in one language; call it with the English one.

    Attributes
    ----------
    language : str
        Its code, as HTML's ``lang`` has it.
    texts : mapping of str to str
        By the English text.
    sentences : tuple of Sentence
        Those with places, the most letters first, since a short one may take a longer one for its value.
    """

    language: str
    texts: Mapping[str, str]
    sentences: tuple[Sentence, ...]

    def __call__(self, text: str) -> str:
        """Say a text; one that the catalogue has not, as of a plugin's own condition, stays English."""
        return self._said(text, DEEPEST)

    def _said(self, text: str, within: int) -> str:
        if text in self.texts:
            return self.texts[text]
        if len(text) > LONGEST or not within:
            return text
        for one in self.sentences:
            values = one.values_in(text)
            if values is not None:
                said = {name: self._value(value, within - 1) for name, value in values.items()}
                return one.translated.format_map(said)
        return text

    def entry(self, text: str) -> str | None:
        """The English text as the catalogue has it, with places for its numbers; None where it has none."""
        if text in self.texts:
            return text
        return next((one.english for one in self.sentences if one.values_in(text) is not None), None)

    def _value(self, value: str, within: int) -> str:
        """A number with the language's decimal sign, a day or month by the calendar's names, or another text."""
        if _NUMBER.fullmatch(value):
            from babel.numbers import get_decimal_symbol

            # All of them set the per cent sign off by a space that does not break (Unicode CLDR).
            return value.replace(".", get_decimal_symbol(self.language)).replace("%", "\N{NO-BREAK SPACE}%")
        month = _MONTH.fullmatch(value)
        if month is None and not _DAY.fullmatch(value):
            return self._said(value, within)
        try:
            return self._month(_MONTHS[month[1]], month[2]) if month else self._day(value)
        except ValueError:  # a name may look like a day, as 2026-13-45
            return value

    def _day(self, written: str) -> str:
        from babel.dates import format_date

        return format_date(date.fromisoformat(written), "long", locale=self.language)

    def _month(self, number: int, year: str | None) -> str:
        """A month with its year, or alone."""
        from babel.dates import format_date, format_skeleton

        if year is None:
            return format_date(date(2000, number, 1), "LLLL", locale=self.language)  # of any year
        return format_skeleton("yMMMM", date(int(year), number, 1), locale=self.language)


@cache
def translator(language: str) -> Translator:
    """Read a language's catalogue.

    Parameters
    ----------
    language : {'en', 'de', 'fr', 'es'}
        English reads nothing and says texts as they are.

    Returns
    -------
    Translator
        Call it with an English text.

    Raises
    ------
    InputError
        The language is another one.
    """
    if language == ENGLISH:
        return Translator(ENGLISH, {}, ())
    if language not in LANGUAGES:
        known = ", ".join(f"{code} ({name})" for code, name in LANGUAGES.items())
        raise InputError(f"the language {language!r} is not known", hint=f"Use one of {known}.")
    texts = {one.id: one.string for one in catalogue(language) if one.id}
    whole = {english: said for english, said in texts.items() if not _PLACE.search(english)}
    others = [Sentence(english, said) for english, said in texts.items() if english not in whole]
    ordered = sorted(others, key=lambda one: -one.letters)
    return Translator(language, MappingProxyType(whole), tuple(ordered))


def catalogue(language: str) -> Any:
    """A language's catalogue as Babel reads it."""
    from babel.messages.pofile import read_po

    with Path(__file__).with_name(f"{language}.po").open("rb") as file:
        return read_po(file, locale=language, abort_invalid=True)
