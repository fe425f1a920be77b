"""`satdiag reread JOBFILE`: read the lines as received again, with a mended line profile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from satdiag.recorder.profile import Profile
    from satdiag.recorder.reread import Change, Reread
    from satdiag.rows import Row

_SHOWN = 10


@click.command()
@click.argument("jobfile", type=click.Path(path_type=Path))
@click.option("--profile", "name", metavar="NAME-OR-FILE", help="Read with this profile; default: by its name.")
@click.option("--source", metavar="NAME", help="Lines of this source only, e.g. serial:my-meter.")
@click.option("--write", "write_it", is_flag=True, help="Put the result into the job file; without it, only look.")
def reread(jobfile: Path, name: str | None, source: str | None, write_it: bool) -> None:
    """Read the lines that JOBFILE keeps as they were received again, and say what they mean now.

    Nothing is erased: with --write, rows that no longer follow from a line are withdrawn and new ones are added, with
    the time at which the line was heard. What was withdrawn by hand stays withdrawn.
    """
    from satdiag.errors import SatdiagError
    from satdiag.opening import is_folder, open_job
    from satdiag.recorder.reread import reread as read_again
    from satdiag.recorder.reread import write

    if is_folder(jobfile) and write_it:
        mend = f"`satdiag import {jobfile} NAME.satjob` makes a job file of it; read that one again."
        raise SatdiagError(f"{jobfile}: --write goes into a job file, and this is a folder. {mend}")
    job = open_job(jobfile)
    found = read_again(job, _Profiles(name, source))
    if not found.lines and not found.not_whole:
        raise SatdiagError(_nothing_read(found, source))
    _say(found)
    if not found.changes:
        click.echo("There is nothing to write.")
    elif write_it:
        write(jobfile, found, job)
        click.echo(f"{jobfile}: written as run {found.run}; {_counts(found)}")
    else:
        click.echo(f"Nothing was written. With --write, {_counts(found)}")


class _Profiles:
    """Finds the profile of a source by its name, `serial:<profile>` or `serial:<profile>/2`."""

    def __init__(self, name: str | None, source: str | None) -> None:
        self._name, self._source = name, source
        self._known: dict[str, Profile | None] = {}

    def __call__(self, source: str) -> Profile | None:
        if source not in self._known:
            self._known[source] = self._find(source)
        return self._known[source]

    def _find(self, source: str) -> Profile | None:
        from satdiag.recorder.profile import load_profile
        from satdiag.user_folder import folder_of

        kind, _, rest = source.partition(":")
        if kind != "serial" or (self._source is not None and source != self._source):
            return None
        own = rest.partition("/")[0]
        profile = load_profile(self._name or own, [folder_of("profiles")])
        return profile if self._source is not None or profile.name == own else None


def _nothing_read(found: Reread, source: str | None) -> str:
    names = ", ".join(found.left)
    if source is not None:
        return f"No line of {source} is there. There are lines of {names}."
    return (
        f"No source goes with a profile of that name: there are lines of {names}. Give the profile the name it had, "
        "or say with --source whose lines to read with it."
    )


def _counts(found: Reread) -> str:
    lost = sum(len(change.lost) for change in found.changes)
    gained = sum(len(change.gained) for change in found.changes)
    return f"rows withdrawn: {lost}; rows added: {gained}."


def _say(found: Reread) -> None:
    click.echo(f"Lines read again: {found.lines}; as before: {found.same}; changed: {len(found.changes)}.")
    counts = {
        "Not understood, wholly or in part": found.not_understood,
        "Never heard as a whole, and not read": found.not_whole,
        "Withdrawn by hand, and not brought back": found.stay_withdrawn,
        "Left out, since a later row counts at their time": found.overridden,
    }
    for what, number in counts.items():
        if number:
            click.echo(f"{what}: {number}.")
    if found.left:
        click.echo(f"Left as they are: the lines of {', '.join(found.left)}.")
    for change in found.changes[:_SHOWN]:
        _say_change(change)
    if len(found.changes) > _SHOWN:
        click.echo(f"... and {len(found.changes) - _SHOWN} more.")


def _say_change(change: Change) -> None:
    from satdiag.csv_text import quoted

    text = quoted(change.line.data.decode(errors="backslashreplace"))
    click.echo(f"  {change.line.document}, line {change.line.n}: {text}")
    for row in change.lost:
        click.echo(f"    no longer: {_words(row, change.line.time)}")
    for row in change.gained:
        click.echo(f"    now: {_words(row, change.line.time)}")
    if change.why:
        click.echo(f"    why: {change.why}")


def _words(row: Row, heard: str) -> str:
    """A row in words, with its time where that is not when the line was heard."""
    words = [row.kind, row.subject, row.value, row.unit]
    more = {"time": "" if row.time == heard else row.time, "span_s": row.span_s, "note": row.note}
    return " ".join(text for text in (*words, *(f"{name}={text}" for name, text in more.items() if text)) if text)
