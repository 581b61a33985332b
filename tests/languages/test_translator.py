"""Texts with numbers, days and other texts in them, said in another language."""

from __future__ import annotations

import subprocess
import sys
import time

import pytest

from acoustic.errors import InputError
from acoustic.languages import LANGUAGES, translator


def test_numbers_have_the_languages_decimal_sign() -> None:
    """Unicode CLDR: a comma in all three, and a space that does not break before the per cent sign."""
    text = "nothing above 4.2 kHz was recorded; 5 kHz or more is wanted"
    for language in ("de", "fr", "es"):
        said = translator(language)(text)
        assert "4,2 kHz" in said and "5 kHz" in said and "4.2" not in said
        assert "12,5\N{NO-BREAK SPACE}%" in translator(language)(
            "12.5% of the samples are cut off at the loudest value"
        )


@pytest.mark.parametrize(
    ("language", "day", "month"),
    [
        ("de", "26. November 2026", "März 2027"),
        ("fr", "26 novembre 2026", "mars 2027"),
        ("es", "26 de noviembre de 2026", "marzo de 2027"),
    ],
)
def test_days_and_months_have_the_calendars_names(language: str, day: str, month: str) -> None:
    """As Unicode CLDR writes long days and months."""
    say = translator(language)
    assert day in say("Checked by its sound on 2026-11-26")
    assert month in say("Outer ring: replacement is due in March 2027.")


def test_texts_within_texts_are_said_too() -> None:
    say = translator("de")
    assert say("rumble could not be judged: a running chain sounds rough by itself; take it off") == (
        "Rumpeln ließ sich nicht beurteilen: eine laufende Kette klingt von selbst rau; bitte abnehmen"
    )
    assert say("the running noise is rough, but nothing shows that a crank makes it") == (
        "das Laufgeräusch ist rau, aber nichts zeigt, dass es von einer Kurbel kommt"
    )
    said = say("Outer ring: replacement is due between early March 2027 and June 2027, likeliest about mid April.")
    assert (
        said == "Außenring: Lagerwechsel fällig zwischen Anfang März 2027 und Juni 2027 (am ehesten: Mitte April)."
    )


def test_the_longer_text_is_not_taken_for_a_shorter_one() -> None:
    """'is due {when}' would fit what 'is due between' says."""
    say = translator("es")
    assert say("Ball: service is due now.") == "Bola: revisión prevista: ahora."
    assert say("Ball: service is due already.") == "Bola: revisión ya pendiente."
    assert "entre ahora y junio de 2027" in say("Ball: service is due between now and June 2027.")


def test_what_a_plugin_says_of_its_own_stays_english() -> None:
    say = translator("fr")
    assert say("Something squeals while it turns.") == "Something squeals while it turns."
    assert say.entry("Something squeals while it turns.") is None


@pytest.mark.parametrize("text", ["early " * 300, "from 1 to " * 190, "a: " * 600, "x" * 3_000_000])
def test_a_hostile_text_takes_no_time(text: str) -> None:
    """A recording's name may be anything, and stands in some of the texts."""
    begun = time.perf_counter()
    translator("fr")(f"next to nothing of the spin in {text} lies in the recording")
    translator("fr")(text)
    assert time.perf_counter() - begun < 1.0  # it takes some milliseconds


def test_what_stands_at_a_place_may_hold_the_words_after_it() -> None:
    say = translator("de")
    said = say("next to nothing of the spin in 2.5 {day} in the.csv lies in the recording")
    for name in ("2026-13-45", "March 0000"):
        assert name in say(f"next to nothing of the spin in {name} lies in the recording")
    assert said == "von der Drehung in 2.5 {day} in the.csv liegt fast nichts in der Aufnahme"


def test_english_needs_no_catalogue() -> None:
    code = (
        "import sys; from acoustic.languages import translator; "
        "assert translator('en')('as it is') == 'as it is'; assert 'babel' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_a_catalogue_is_read_once_and_cannot_be_changed() -> None:
    say = translator("de")
    assert translator("de") is say
    with pytest.raises(TypeError):
        say.texts["clean"] = "sauber"  # type: ignore[index]


def test_another_language_is_refused() -> None:
    with pytest.raises(InputError) as refused:
        translator("it")
    assert "'it'" in refused.value.found
    assert all(f"{code} ({name})" in refused.value.hint for code, name in LANGUAGES.items())
