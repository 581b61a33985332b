"""The catalogues hold every text that a rider can read, in every language, and nothing else."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from rider_texts import ROOT, Module, all_texts, in_the_modules

from acoustic.languages import ENGLISH, LANGUAGES, catalogue, translator

OTHERS = [code for code in LANGUAGES if code != ENGLISH]
PLACE = re.compile(r"\{\w+\}")

pytestmark = pytest.mark.skipif(
    not (ROOT / "acoustic" / "__init__.py").is_file(), reason="no checkout but an installed wheel"
)


@pytest.fixture(scope="module")
def texts() -> set[str]:
    return all_texts()


@pytest.mark.parametrize("language", OTHERS)
def test_no_text_is_without_a_translation(language: str, texts: set[str]) -> None:
    say = translator(language)
    assert sorted(text for text in texts if say.entry(text) is None) == []


@pytest.mark.parametrize("language", OTHERS)
def test_no_translation_is_left_over(language: str, texts: set[str]) -> None:
    say = translator(language)
    said = {say.entry(text) for text in texts}
    assert sorted(one.id for one in catalogue(language) if one.id and one.id not in said) == []


@pytest.mark.parametrize("language", OTHERS)
def test_each_translation_is_whole(language: str) -> None:
    """Nothing empty, unsure or left in English; the same places; a sentence stays one."""
    entries = [one for one in catalogue(language) if one.id]
    assert len(entries) > 200
    for one in entries:
        assert one.string and not one.fuzzy, one.id
        assert one.string != one.id, one.id
        assert sorted(PLACE.findall(one.string)) == sorted(PLACE.findall(one.id)), one.id
        assert one.string.endswith(".") == one.id.endswith("."), one.id
        assert one.string == one.string.strip() and "  " not in one.string, one.id
        assert set(re.findall(r"--\w[\w-]*", one.string)) == set(re.findall(r"--\w[\w-]*", one.id)), one.id


def test_all_catalogues_hold_the_same_texts() -> None:
    first, *rest = ([one.id for one in catalogue(language)] for language in OTHERS)
    assert all(other == first for other in rest)


@pytest.mark.parametrize("language", OTHERS)
def test_they_say_that_a_native_reader_is_wanted(language: str) -> None:
    assert "native reader" in catalogue(language).header_comment


def test_french_sets_signs_off_by_spaces_that_do_not_break() -> None:
    """Lexique des règles typographiques en usage à l'Imprimerie nationale: before : ; ? ! (from memory)."""
    for one in catalogue("fr"):
        assert not one.id or not re.search(
            r"[^\N{NO-BREAK SPACE}]:(?=\s|$)|[^\N{NARROW NO-BREAK SPACE}][;?!]", one.string
        ), one.id


@pytest.mark.parametrize("language", OTHERS)
def test_gettext_reads_them(language: str, tmp_path: Path) -> None:
    """GNU gettext checks form and doubles, apart from Babel."""
    program = shutil.which("msgfmt")
    if program is None:
        pytest.skip("there is no msgfmt on PATH")
    file = ROOT / "acoustic" / "languages" / f"{language}.po"
    done = subprocess.run(
        [program, "--check-format", "--check-domain", "-o", str(tmp_path / "made.mo"), str(file)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_a_new_text_would_be_seen(tmp_path: Path) -> None:
    """The reader of the sources finds texts, every branch of them, behind names and in other functions."""
    module = tmp_path / "new.py"
    module.write_text(
        'AGAIN = "Do it again."\n'
        "def _what(n):\n"
        '    return f"{n} bells ring" if n > 1 else "a bell rings"\n'
        "def problems(n):\n"
        '    return [Problem("bell", _what(n), AGAIN, voids="any"), Problem("hush", "a hush", AGAIN)]\n',
        encoding="utf-8",
    )
    assert set(Module(module).texts()) == {"7.5 bells ring", "a bell rings", "Do it again."}
    assert translator("de").entry("a bell rings") is None


def test_the_reader_of_the_sources_finds_what_it_should() -> None:
    """A call that it no longer knew by name would leave a hole without a word."""
    found = in_the_modules()
    for known in (
        "the recording holds no sound, only a constant level",
        "the film is too dark to see the crank (mean brightness 7.5 of 255)",
        "a steady rhythm of 7.5 strikes a turn fits no part of this bearing",
        "fast or slow, the crank sounds alike",
        "a crank spun by hand carries no load",
        "no regular ticks were found; four or more in step are needed",
        "The workshop takes another one.",
    ):
        assert known in found
    assert len(found) > 100
