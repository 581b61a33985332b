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

ONCE_MORE = "Have the workshop record it once more."


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
        Of one visit; as the book holds them, they need not be judged again. Of several of one side the worst
        grade stands.
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
    """A card a side of the bike, the worst of its grades; an undecided check is no grade."""
    by_side: dict[str | None, list[Card]] = {}
    for check in checks:
        by_side.setdefault(check.recording.side, []).append(card_of(check, say))
    worst = {side: max(cards, key=_rank) for side, cards in by_side.items()}
    return [
        replace(_for_home(card, say), name=_capital(say(f"{side} side")) if side else card.name)
        for side, card in worst.items()
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _rank(card: Card) -> int:
    return ORDER.index(card.level) if card.level in ORDER else -1


def _for_home(card: Card, say: Translator) -> Card:
    """Without what the workshop does when it records again."""
    return replace(card, to_do=(say(ONCE_MORE),), record_again=()) if card.record_again else card
