"""`satdiag reread JOBFILE`: read the lines as received again, with a mended line profile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from satdiag.recorder.profile import Profile
    from satdiag.recorder.reread import Change, Reread

_SHOWN = 10


@click.command()
@click.argument("jobfile", type=click.Path(path_type=Path))
@click.option("--profile", "name", metavar="NAME-OR-FILE", help="Read with this profile; default: by its name.")
@click.option("--source", metavar="NAME", help="Lines of this source only, e.g. serial:my-meter.")
@click.option("--write", "write_it", is_flag=True, help="Put the result into the job file; without it, only look.")
def reread(jobfile: Path, name: str | None, source: str | None, write_it: bool) -> None:
    """Read the lines that JOBFILE keeps as they were received again, and say what they mean now.

    Nothing is erased: with --write, rows that no longer follow from a line are withdrawn and new ones are added, with
    the time at which the line was heard.
    """
    from satdiag.errors import SatdiagError
    from satdiag.opening import is_folder, open_job
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.reread import reread as read_again
    from satdiag.recorder.reread import write

    if write_it and is_folder(jobfile):
        raise SatdiagError(f"{jobfile}: a folder. `satdiag import {jobfile} NAME.satjob` makes a job file of it.")
    job = open_job(jobfile)
    found = read_again(job, _Profiles(name, source))
    _say(found)
    if found.changes and write_it:
        write(jobfile, found, job, Clock())
        click.echo(f"{jobfile}: {len(found.rows)} rows written as run {found.run}.")
    elif found.changes:
        click.echo("Nothing was written. Run it again with --write to put this into the job file.")


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


def _say(found: Reread) -> None:
    if not found.lines:
        click.echo("No line was read again: no source of the job goes with this profile. --source names one.")
        return
    counts = f"{found.same} say what they said, {len(found.changes)} say something else"
    click.echo(f"{found.lines} lines read again: {counts}.")
    click.echo(f"{found.not_understood} are not understood, wholly or in part.")
    for change in found.changes[:_SHOWN]:
        _say_change(change)
    if len(found.changes) > _SHOWN:
        click.echo(f"... and {len(found.changes) - _SHOWN} more.")


def _say_change(change: Change) -> None:
    from satdiag.csv_text import quoted

    text = quoted(change.line.data.decode(errors="backslashreplace"))
    click.echo(f"  {change.line.document}, line {change.line.n}: {text}")
    for mark, rows in (("no longer", change.lost), ("now", change.gained)):
        for row in rows:
            words = " ".join(part for part in (row.kind, row.subject, row.value, row.unit) if part)
            click.echo(f"    {mark}: {words}")
    if change.why:
        click.echo(f"    why: {change.why}")
