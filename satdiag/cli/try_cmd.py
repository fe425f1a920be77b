"""`satdiag try SPEC`: listen to one source and print each line, what becomes of it, or why nothing does."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from satdiag.cli.ports_cmd import shown
from satdiag.language import counted

if TYPE_CHECKING:
    from satdiag.recorder.heard import Line, Moment, Reading, Source

FIRST_PAUSE_S = 0.2
LONGEST_PAUSE_S = 5.0


@click.command(
    epilog="SPEC is serial:PORT-OR-URL?profile=NAME-OR-FILE, gnss:PORT-OR-URL-OR-FILE[?baud=N] or "
    "replay:JOB[?speed=N]. Put it in quotes: many shells take '?' and '&' for themselves. "
    "`satdiag ports` lists ports."
)
@click.argument("spec")
@click.option("--poll", is_flag=True, help="Ask a bench instrument for its readings, as its profile says how.")
@click.option(
    "--for", "seconds", metavar="SECONDS", type=click.FloatRange(0, min_open=True), help="Stop after this time."
)
def try_(spec: str, poll: bool, seconds: float | None) -> int:
    """Listen to SPEC and print each line as it comes, what becomes of it, or why not. Nothing is written anywhere.

    Without --poll nothing is sent to the port either. Ctrl-C ends it. Exit code 1: no line was understood.
    """
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.spec import make_source, parse_spec
    from satdiag.user_folder import folder_of

    source = make_source(parse_spec(spec), Clock(), poll=poll, folders=[folder_of("profiles")])
    trial = Trial(source)
    click.echo(f"{source.name}: {source.where}. Ctrl-C ends it.")
    try:
        trial.listen(None if seconds is None else time.monotonic() + seconds)
    except KeyboardInterrupt:
        click.echo(f"\nStopped. {trial}")
        return 130
    click.echo(str(trial))
    return 0 if trial.good else 1


class Trial:
    """One source being listened to, and what was heard so far; `str` tells it."""

    def __init__(self, source: Source) -> None:
        from satdiag.recorder.admit import Admission

        self.lines = self.good = self.readings = self.refused = 0
        self._summary = ""
        self._source, self._played = source, source.name.partition("/")[0] == "replay"
        self._admission = Admission.without_job()

    def __str__(self) -> str:
        lines = f"{counted(self.lines, 'line')} heard, {self.lines - self.good} not understood"
        readings = counted(self.readings, "reading")
        refused = f", {self.refused} of them refused by the log" if self.refused else ""
        return f"{lines}; {readings}{refused}."

    def listen(self, end: float | None) -> None:
        """Print what the source hands over until it ends, or until `end` (seconds of time.monotonic)."""
        from satdiag.recorder.heard import SourceEnded, SourceTrouble

        word, said, pause_s = "Listening.", "", FIRST_PAUSE_S
        while not _over(end):
            try:
                self._source.open()
                click.echo(word)
                word, said, pause_s = "Listening again.", "", FIRST_PAUSE_S
                while not _over(end):
                    self.show(self._source.read())
            except SourceEnded:
                click.echo("Nothing more comes.")
                return
            except SourceTrouble as trouble:
                if str(trouble) != said:
                    said = str(trouble)
                    click.echo(f"{said} Trying again.", err=True)
            finally:
                self.show(self._source.close())
            time.sleep(pause_s if end is None else max(0.0, min(pause_s, end - time.monotonic())))
            pause_s = min(2 * pause_s, LONGEST_PAUSE_S)

    def show(self, lines: Sequence[Line]) -> None:
        """Print lines and count them."""
        for line in lines:
            self.lines += 1
            self.good += not line.why
            click.echo(f"{_time(line)}  {shown(line.data.decode('utf-8', 'backslashreplace'))}")
            for reading in line.readings:
                self._show_reading(reading, line.at)
            if line.why:
                click.echo(f"    not understood: {shown(line.why)}")
            elif not line.readings and self._source.keeps != "nmea":
                click.echo("    says nothing for the log")
        if lines and self._source.keeps == "nmea":
            self._show_summary()

    def _show_summary(self) -> None:
        """What all sentences together say, when it is something new: a single one says little."""
        summary = self._source.summary()
        if summary and summary != self._summary:
            click.echo(f"    together: {summary}")
        self._summary = summary

    def _show_reading(self, reading: Reading, at: Moment) -> None:
        admitted = self._admission.row(reading, self._source.name, at, 0.0, "try", "", own=self._played)
        refused = isinstance(admitted, str)
        self.readings += 1
        self.refused += refused
        why = f" ({shown(str(admitted))})" if refused else ""
        click.echo(f"    {'refused' if refused else 'becomes'}: {_words(reading)}{why}")


def _over(end: float | None) -> bool:
    return end is not None and time.monotonic() >= end


def _words(reading: Reading) -> str:
    words = [reading.kind, reading.subject, reading.value, reading.unit]
    more = [f"{name}={text}" for name in ("time", "span_s", "note") if (text := getattr(reading, name))]
    return shown(" ".join(text for text in (*words, *more) if text))


def _time(line: Line) -> str:
    from satdiag.recorder.clock import time_text

    return time_text(line.at.wall_ns)[11:23]
