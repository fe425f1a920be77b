"""`satdiag letter PATH --for WHOM`: one page in plain words to the customer, the provider or the dealer."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.language_option import speaks

if TYPE_CHECKING:
    from satdiag.letter import Recipient


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@click.option(
    "--for", "recipient", required=True, type=click.Choice(["customer", "provider", "dealer"]), help="Whom it is for."
)
@click.option("--out", metavar="FILE", type=click.Path(path_type=Path), help="Write FILE.html, or FILE.txt.")
@click.option("--text", "as_text", is_flag=True, help="Plain text; so it is without --out.")
@click.option("--full-id", is_flag=True, help="Show the receiver's whole identifier; only to the provider.")
@click.option("--from", "sender", default="", metavar="NAME", help="The workshop's name, set beneath the letter.")
@speaks
def letter(path: Path, recipient: Recipient, out: Path | None, as_text: bool, full_id: bool, sender: str) -> None:
    """Write a letter of one page from what a job shows.

    PATH is a job folder or a job file. The customer reads what works, until when, and what to do; the provider's
    support what it needs to know and the one thing asked of it; the dealer the technical findings.
    """
    import satdiag
    from satdiag.acceptance.record import checked_name
    from satdiag.cli.analyse_cmd import warn_of_unknown_files
    from satdiag.errors import SatdiagError
    from satdiag.kept import analyse_here
    from satdiag.letter import letter_html, letter_text, write_letter
    from satdiag.letter.writing import form_of

    if full_id and recipient != "provider":
        raise SatdiagError("The whole identifier goes to the provider only: leave --full-id out.")
    sender = checked_name(sender) or ""
    form = "text" if out is None else form_of(out, as_text)
    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    made = letter_html if form == "html" else letter_text
    text = made(job, analyse_here(job), recipient, sender=sender, full_id=full_id)
    if out is None:
        click.echo(text, nl=False)
        return
    write_letter(out, text, form)
    click.echo(f"letter written: {out}", err=True)
