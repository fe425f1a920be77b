"""The option `--lang` that every command takes whose words go to people."""

from __future__ import annotations

import click

from satdiag.language import LANGUAGES, speaking


def _speak(context: click.Context, _: click.Parameter, language: str) -> str:
    context.with_resource(speaking(language))  # type: ignore[arg-type]
    return language


speaks = click.option(
    "--lang",
    type=click.Choice(LANGUAGES),
    default="en",
    show_default=True,
    envvar="SATDIAG_LANG",
    is_eager=True,
    expose_value=False,
    callback=_speak,
    help="The language of what is said; SATDIAG_LANG sets another default.",
)
"""Speaks the language asked for until the command ends."""
