"""`satdiag record JOBFILE`: listen to a receiver for hours, from several sources at once."""

from __future__ import annotations

import math
import os
import sys
import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from queue import SimpleQueue
from typing import TYPE_CHECKING

import click

from satdiag.cli.words import misnamed
from satdiag.language import counted

LINE_FEED = b"\n"

if TYPE_CHECKING:
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.heard import Source
    from satdiag.recorder.loop import Summary


@click.command(
    epilog="A SPEC is serial:PORT-OR-URL?profile=NAME-OR-FILE, gnss:PORT-OR-URL-OR-FILE or replay:JOB?speed=N. "
    "`satdiag docs record` tells all, with cautions for the wiring. It only listens."
)
@click.argument("jobfile", type=click.Path(path_type=Path))
@click.option("--from", "specs", metavar="SPEC", multiple=True, help="A source to listen to; may be repeated.")
@click.option("--poll", is_flag=True, help="Ask bench instruments that answer only when asked. Never a vehicle.")
@click.option("--for", "for_s", metavar="SECONDS", type=click.FloatRange(0, 1e9), help="Stop after so many seconds.")
@click.option("--no-hand", is_flag=True, help="Take nothing that is typed or piped in.")
@click.option("--no-screen", is_flag=True, help="Print plain lines, also in a terminal.")
@click.option("--acks", is_flag=True, help="Print 'ack ID' on stdout for each row once it is committed.")
def record(
    jobfile: Path,
    specs: tuple[str, ...],
    poll: bool,
    for_s: float | None,
    no_hand: bool,
    no_screen: bool,
    acks: bool,
) -> int:
    """Record into JOBFILE (NAME.satjob), made if it is not there, until Ctrl-C; a later run goes on with it.

    While it records, type what you see: channel 31 refused; tune 31, then audio, then title; withdraw; help.
    """
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.loop import Recorder
    from satdiag.recorder.session import Session, Voice

    if for_s is not None and math.isnan(for_s):
        raise click.BadParameter("takes a number of seconds.", param_hint="'--for'")
    hand = not no_hand and _readable(sys.stdin)
    if not specs and not hand:
        raise click.UsageError("Name a source with --from SPEC, or type what you see in a terminal.")
    voice = Voice(lambda text: click.echo(text, err=True))
    clock = Clock()
    sources = sources_of(specs, clock, poll)
    make_job(jobfile, voice)
    acknowledgements = Acknowledgements() if acks else None
    recorder = Recorder(jobfile, sources, clock, voice, acknowledgements)
    screen = not no_screen and sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
    rescued: list[str] = []
    session = Session(recorder, voice, for_s)
    summary, insisted = session.run(
        screen and (not hand or sys.stdin.isatty()), hand, lambda summary: rescued.extend(rescue_rest(summary))
    )
    if acknowledgements is not None:
        acknowledgements.close()
    return told(summary, rescued, insisted, voice)


def told(summary: Summary, rescued: Sequence[str], insisted: bool, say: Callable[[str], None]) -> int:
    """Say what a recording came to; its exit code. Raises the error that ended it before its time."""
    from satdiag.recorder.session import summary_lines

    for line in (*summary_lines(summary), *rescued):
        say(line)
    if summary.error is not None:
        raise summary.error
    return 130 if insisted else 2 if rescued else 0


def _readable(stream: object) -> bool:
    """True if there is something to read from: not closed, and not without a file behind it."""
    try:
        return stream is not None and not stream.closed and stream.fileno() >= 0  # type: ignore[attr-defined]
    except (OSError, ValueError, AttributeError):
        return False


def sources_of(specs: Sequence[str], clock: Clock, poll: bool) -> list[Source]:
    """The sources of several specs, not opened yet. Raises SatdiagError."""
    from satdiag.recorder.spec import make_source, parse_spec
    from satdiag.user_folder import folder_of

    parsed = [parse_spec(text) for text in specs]
    sources: list[Source] = []
    for spec in parsed:
        taken = {source.name for source in sources}
        sources.append(make_source(spec, clock, poll, [folder_of("profiles")], taken))
    return sources


def make_job(place: Path, say: Callable[[str], None]) -> None:
    """A job file where there is none yet, with a sheet that knows nothing but its name."""
    from satdiag.errors import SatdiagError

    if place.is_dir():
        mend = f"`satdiag import {place} NAME.satjob` makes a job file of it."
        raise SatdiagError(f"{place}: recording goes into a job file, and this is a folder. {mend}")
    if place.exists():
        return
    if place.suffix != ".satjob":
        raise SatdiagError(misnamed(place))
    from satdiag.cli.sheet_form import empty_job
    from satdiag.store import create_job_file
    from satdiag.store.medium import check_medium

    check_medium(place)
    create_job_file(place, empty_job(place, datetime.now(UTC)))
    say(f"{place}: made, with an empty sheet. Place, package and receiver are unknown; `satdiag new` asks for them.")


class Acknowledgements:
    """Prints the ids of committed rows at once, past every buffer; a reader that is slow holds nobody up."""

    def __init__(self) -> None:
        self._ids: SimpleQueue[Sequence[str] | None] = SimpleQueue()
        self._thread = threading.Thread(target=self._print, name="acknowledgements", daemon=True)
        self._thread.start()

    def __call__(self, ids: Sequence[str]) -> None:
        """These rows are committed."""
        self._ids.put(ids)

    def close(self) -> None:
        """Print what is left, as far as someone reads it."""
        self._ids.put(None)
        self._thread.join(2.0)

    def _print(self) -> None:
        while (ids := self._ids.get()) is not None:
            data = "".join(f"ack {name}\n" for name in ids).encode()
            try:
                while data:
                    data = data[os.write(1, data) :]
            except OSError:
                return  # nobody reads any more; the rows are kept all the same


def rescue_rest(summary: Summary) -> list[str]:
    """Bring what could not be written to safety; what to say of it."""
    if not (summary.unwritten or summary.unwritten_parts):
        return []
    from satdiag.recorder.rescue import places, rescue, rescue_part
    from satdiag.user_folder import user_folder

    folders = places(summary.place, user_folder())
    said = []
    if summary.unwritten:
        kept = rescue(summary.unwritten, summary.place, folders)
        said.append(_said(counted(len(summary.unwritten), "row"), kept))
    for document, data in summary.unwritten_parts:
        kept = rescue_part(document, data, summary.place, folders)
        said.append(_said(f"{counted(data.count(LINE_FEED), 'line')} of {document}", kept))
    return said


def _said(what: str, kept: Path | None) -> str:
    if kept is None:
        return f"{what} could not be written anywhere and are LOST."
    return f"{what} could not be written into the job file. They are in {kept}."
