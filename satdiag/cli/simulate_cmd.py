"""`satdiag simulate SCENARIO`: a made-up receiver to listen to, or a made-up job; for trying things out."""

from __future__ import annotations

import contextlib
import math
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from satdiag.simulate.outlet import Outlet, Say

UPSETS = ("noise", "half-lines", "unplug", "silence")
LIVE_ONLY = {"speed": 1.0, "upsets": (), "for_s": None, "verbose": False}


@click.command(epilog="All data are simulated. `satdiag simulate --list` says what scenarios there are.")
@click.argument("scenario", required=False)
@click.option("--serve", "serve_on", metavar="WHERE", help="Be a live device on socket://127.0.0.1:PORT or on a pty.")
@click.option("--to", "folder", type=click.Path(path_type=Path), help="Write the scenario's job folder here instead.")
@click.option(
    "--seed",
    default=0,
    show_default=True,
    help="Another number makes another example; the same number makes the same one again.",
)
@click.option(
    "--speed",
    type=click.FloatRange(0.01, 10000),
    default=1.0,
    show_default=True,
    help="Seconds of its world in one real second.",
)
@click.option(
    "--upset",
    "upsets",
    multiple=True,
    type=click.Choice(UPSETS),
    help="Something that goes wrong on the wire now and then; may be repeated.",
)
@click.option("--for", "for_s", metavar="SECONDS", type=click.FloatRange(0), help="Stop after so many real seconds.")
@click.option("--verbose", is_flag=True, help="Say on stderr what was upset, and who listens.")
@click.option("--list", "list_them", is_flag=True, help="List the scenarios.")
def simulate(
    scenario: str | None,
    serve_on: str | None,
    folder: Path | None,
    seed: int,
    list_them: bool,
    **live: Any,
) -> None:
    """Be the receiver of SCENARIO, live, for `satdiag record` to listen to; or write SCENARIO's job folder.

    Without a SCENARIO it lists them. PORT 0 has a free port chosen. Everything is made up: it shows how satdiag
    works and says nothing of any real receiver.
    """
    if list_them or scenario is None:
        if scenario is not None or serve_on is not None or folder is not None:
            raise click.UsageError("Name a SCENARIO, or use --list alone.")
        _list()
        return
    _known(scenario)
    if (serve_on is None) == (folder is None):
        raise click.UsageError("Say either --serve socket://127.0.0.1:0 (or --serve pty) or --to FOLDER.")
    if folder is not None:
        if live != LIVE_ONLY:
            raise click.UsageError("--speed, --upset, --for and --verbose go with --serve, not with --to.")
        _write(scenario, seed, folder)
    elif serve_on is not None:
        _serve(scenario, seed, serve_on, **live)


def _list() -> None:
    from satdiag.simulate.make import SCENARIOS

    width = max(map(len, SCENARIOS))
    for name, make_setup in SCENARIOS.items():
        click.echo(f"{name:{width}}  {(make_setup.__doc__ or '').strip().partition(chr(10))[0]}")
    click.echo("\nOne of them live: satdiag simulate filling --serve socket://127.0.0.1:0")


def _known(scenario: str) -> None:
    from difflib import get_close_matches

    from satdiag.errors import SatdiagError
    from satdiag.simulate import scenarios

    if scenario not in scenarios():
        close = get_close_matches(scenario, scenarios(), 1)
        meant = f" Did you mean {close[0]}?" if close else ""
        raise SatdiagError(f"There is no scenario '{scenario}'.{meant} `satdiag simulate --list` names them all.")


def _write(scenario: str, seed: int, folder: Path) -> None:
    from satdiag.errors import SatdiagError
    from satdiag.simulate import make_job, write_job

    if folder.suffix == ".satjob":
        raise SatdiagError(f"{folder}: name a folder; `satdiag import FOLDER {folder.name}` makes a job file of it.")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise SatdiagError(f"{folder}: it is there already. Name a new folder, or an empty one.")
    try:
        write_job(make_job(scenario, seed), folder)
    except RuntimeError as error:
        raise SatdiagError(f"{error}. Take another --seed.") from error
    except OSError as error:
        raise SatdiagError(f"{folder}: cannot be written ({error.strerror}). Choose another place.") from error
    click.echo(f"{folder}: a simulated job, nothing in it was measured. truth.toml says what was wrong.")


def _serve(
    scenario: str,
    seed: int,
    serve_on: str,
    speed: float,
    upsets: tuple[str, ...],
    for_s: float | None,
    verbose: bool,
) -> None:
    from satdiag.errors import SatdiagError
    from satdiag.simulate.device import Device
    from satdiag.simulate.serve import open_outlet, serve
    from satdiag.simulate.upset import Upset

    if math.isnan(speed) or (for_s is not None and math.isnan(for_s)):
        raise click.UsageError("--speed and --for take a number.")
    say = _voices(verbose)
    try:
        device = Device(scenario, seed)
        outlet = open_outlet(serve_on, say)
    except ValueError as error:
        text = str(error)
        raise SatdiagError(f"{text[:1].upper()}{text[1:]}.") from error
    with contextlib.closing(outlet), _signals() as stopped:
        _introduce(outlet, scenario, seed, speed, device.account)
        serve(device, outlet, say, speed=speed, upset=Upset(upsets, seed), for_s=for_s, stopped=stopped)


def _voices(verbose: bool) -> Say:
    from satdiag.simulate.outlet import Say

    started_s = time.monotonic()

    def warn(text: str) -> None:
        click.echo(text, err=True)

    def detail(text: str) -> None:
        if verbose:
            click.echo(f"{time.monotonic() - started_s:.1f} s: {text}", err=True)

    return Say(warn, detail)


def _introduce(outlet: Outlet, scenario: str, seed: int, speed: float, account: str) -> None:
    """Where it listens, the line to copy, and what a person should know. Quoted so that every shell takes it."""
    click.echo(f"Listening on {outlet.where}")
    click.echo(f'satdiag record demo.satjob --from "serial:{outlet.where}?profile=bench-lines"')
    click.echo(f"Simulated data, nothing is measured: scenario {scenario}, seed {seed}, speed {speed:g}.")
    if account:
        click.echo(f"The receiver cannot know this, log it by hand: {account}.")
    click.echo("Stop with Ctrl-C.")


@contextlib.contextmanager
def _signals() -> Iterator[Callable[[], bool]]:
    """Ctrl-C and SIGTERM end the serving in good order; Ctrl-C then counts as such. Yields 'shall it stop?'."""
    caught: list[int] = []

    def note(number: int, frame: FrameType | None) -> None:
        caught.append(number)

    before = {number: signal.signal(number, note) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield lambda: bool(caught)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    if signal.SIGINT in caught:
        raise click.Abort
