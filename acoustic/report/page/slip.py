"""The rider's half alone, on one sheet to take home."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from acoustic import __version__
from acoustic.conditions import ORDER, table
from acoustic.languages import ENGLISH, Translator, translator
from acoustic.report.page.build import CAUTION_LINES, environment
from acoustic.report.page.plain import Card, Checked, card_of
from acoustic.report.page.section import Lead


def page_of_slip(
    checks: Sequence[Checked],
    language: str = ENGLISH,
    *,
    bike: str = "",
    on: date | None = None,
    lead: Lead | None = None,
) -> str:
    """Write what the rider is told of a visit as an HTML page that prints on one sheet.

    Parameters
    ----------
    checks : sequence of Analysis or CheckDocument
        Of one visit; as the book holds them, they need not be judged again.
    language : str
        One of `acoustic.languages.LANGUAGES`.
    bike : str
        Its name or ticket number.
    on : date or None
        The day of the visit.
    lead : Lead or None
        What comes before the grades, of an install.

    Returns
    -------
    str
        A whole HTML document that loads nothing; write it as UTF-8.

    Raises
    ------
    InputError
        The language is not known.
    """
    say = translator(language)
    when = say("Checked by its sound" if on is None else f"Checked by its sound on {on.isoformat()}")
    return (
        environment(say)
        .get_template("slip.html.jinja")
        .render(
            language=language,
            bike=bike,
            when=when,
            ladder=ORDER,
            grade_words=table().grades,
            lead=None if lead is None else lead.said(say),
            cards=_cards(checks, say),
            cautions=tuple(map(say, CAUTION_LINES[0])),
            program=f"acoustic {__version__}",
        )
    )


def _cards(checks: Sequence[Checked], say: Translator) -> list[Card]:
    """The checks' cards, each with its side for a name where that tells them apart."""
    cards = [card_of(check, say) for check in checks]
    sides = [check.recording.side for check in checks]
    if None in sides or len(set(sides)) < len(sides):
        return cards
    return [replace(card, name=say(f"{side} side")) for card, side in zip(cards, sides, strict=True)]
