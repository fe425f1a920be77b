"""The option `--paper` of every command that makes a PDF."""

from __future__ import annotations

import click

sized = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    help="The size of the sheets to print on. Without it: SATDIAG_PAPER, else what is usual in the country of this "
    "system's settings, else by the language (en: letter, es and fr: a4).",
)
"""Hands over `paper`, None where nothing was said: see `report.sheets.paper_or_default`."""
