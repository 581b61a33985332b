"""The option for the language of what a rider reads."""

from __future__ import annotations

import click

from acoustic.languages import ENGLISH, LANGUAGES

language_option = click.option(
    "--language",
    type=click.Choice(list(LANGUAGES), case_sensitive=False),
    envvar="ACOUSTIC_LANGUAGE",
    default=ENGLISH,
    show_default=True,
    show_envvar=True,
    help="Language of what the rider reads; what the bench reads stays English.",
)
