"""`satdiag live JOBFILE`: the page beside the head unit, on this computer or on a telephone."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import click

NOT_SAID = "choose"


@click.command(
    epilog="A SPEC is one of `satdiag record`. --lan without an ADDRESS stands at the end of the line, or before "
    "another option. The telephone's screen cannot be kept awake by the page: set that on the telephone. "
    "`satdiag docs live` says more."
)
@click.argument("jobfile", type=click.Path(path_type=Path))
@click.option("--from", "specs", metavar="SPEC", multiple=True, help="A source to listen to; may be repeated.")
@click.option("--poll", is_flag=True, help="Ask bench instruments that answer only when asked. Never a vehicle.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port of the page; 0: the usual one, or any.")
@click.option(
    "--lan",
    metavar="[ADDRESS]",
    is_flag=False,
    flag_value=NOT_SAID,
    help="Serve the local network too, on this address of this computer. Anyone there with the code can write.",
)
@click.option(
    "--hours", type=click.FloatRange(0, 48, min_open=True), default=4.0, show_default=True, help="End after so long."
)
@click.option("--no-browser", is_flag=True, help="Do not open the page on this computer.")
def live(
    jobfile: Path, specs: tuple[str, ...], poll: bool, port: int, lan: str | None, hours: float, no_browser: bool
) -> int:
    """Record into JOBFILE (NAME.satjob) what is tapped on a page, and what sources say; until Ctrl-C.

    Prints the page's address and the code that lets write. It serves this computer alone unless --lan is given.
    """
    check_parts()
    from satdiag.cli.record_cmd import make_job, rescue_rest, sources_of, told
    from satdiag.live.deck import Deck
    from satdiag.live.serve import LOOPBACK, Plan, Serving, chosen_address, own_addresses
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.session import Voice

    address = LOOPBACK
    if lan is not None:
        choose = _choose if sys.stdin is not None and sys.stdin.isatty() else None
        address = chosen_address("" if lan == NOT_SAID else lan, own_addresses(), choose)
    voice, clock = Voice(_say), Clock()
    sources = sources_of(specs, clock, poll)
    make_job(jobfile, voice)
    on_screen = sys.stderr is not None and sys.stderr.isatty()
    plan = Plan(address, port, hours, browser=not no_browser and on_screen and address == LOOPBACK)
    rescued: list[str] = []
    serving = Serving(Deck(jobfile, sources, clock, voice, apart=True), plan, _say, show_qr=on_screen)
    summary, insisted = serving.run(lambda summary: rescued.extend(rescue_rest(summary)))
    return told(summary, rescued, insisted, _say)


def _say(text: str) -> None:
    with suppress(OSError):  # nobody reads any more; that must not end a recording
        click.echo(text, err=True)


def _choose(found: Sequence[str]) -> str:
    """Ask which of several addresses to serve on."""
    _say("This computer has several addresses in networks:")
    for number, address in enumerate(found, 1):
        _say(f"  {number}  {address}")
    number = click.prompt("Serve on which of them?", type=click.IntRange(1, len(found)), err=True)
    return found[int(number) - 1]


def check_parts() -> None:
    """See that what the page needs is installed. Raises MissingPart."""
    from importlib.util import find_spec

    from satdiag.errors import MissingPart, how_to_install

    missing = [name for name in ("starlette", "uvicorn", "segno") if find_spec(name) is None]
    if missing:
        raise MissingPart(f"The page needs {', '.join(missing)}: not installed here. {how_to_install('page')}")
