"""`satdiag fleet SRC... --to DIR`: any number of jobs into one data set; `fleet report` and `fleet learn` read it."""

from __future__ import annotations

import json
import math
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from satdiag.fleet.crew import Crew
    from satdiag.fleet.run import Tally
    from satdiag.fleet.task import Setting

# word after `fleet`: (module, name in it); imported when it is used
PARTS = {
    "report": ("satdiag.cli.fleet_report_cmd", "report"),
    "learn": ("satdiag.cli.fleet_learn_cmd", "learn"),
}


class _Fleet(click.Command):
    """A command of its own, but for a first word out of `PARTS`. A folder of such a name is given as ./report."""

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any
    ) -> click.Context:
        if args and args[0] in PARTS:
            module, name = PARTS[args[0]]
            part: click.Command = getattr(import_module(module), name)
            return part.make_context(f"{info_name} {args[0]}", args[1:], parent, **extra)
        return super().make_context(info_name, args, parent, **extra)


@click.command(
    cls=_Fleet,
    epilog="`satdiag fleet report DIR` tells what the jobs of a data set have in common, `satdiag fleet learn DIR` "
    "learns from them; a job folder that is named so is given as ./report. `satdiag docs fleet` tells all.",
)
@click.argument("named", metavar="SRC...", nargs=-1, required=True)
@click.option(
    "--to", "directory", metavar="DIR", required=True, type=click.Path(path_type=Path), help="The data set."
)
@click.option("--workers", metavar="N", type=click.IntRange(1, 4096), help="Processes; by default one for each core.")
@click.option(
    "--most-minutes",
    metavar="M",
    type=click.FloatRange(0.0, min_open=True),
    help="So long a job may take before it is given up as a bad one; 30 if not said.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Use the Dask cluster there, such as tcp://HOST:8786.")
@click.option("--reread", is_flag=True, help="Look at the bytes of every job, not at sizes and times alone.")
@click.option(
    "--retry", is_flag=True, help="Try jobs again that could not be analysed, though they have not changed."
)
@click.option("--learned", is_flag=True, help="Use what `learn` and `fleet learn` keep on this computer.")
@click.option("--json", "as_json", is_flag=True, help="Print a summary as JSON on standard output.")
def fleet(
    named: tuple[str, ...],
    directory: Path,
    workers: int | None,
    most_minutes: float | None,
    scheduler: str | None,
    reread: bool,
    retry: bool,
    learned: bool,
    as_json: bool,
) -> int:
    """Analyse any number of jobs and write one data set of Parquet files to DIR.

    SRC is a job file, a job folder, or a folder in which jobs are searched for; '-' reads such paths from standard
    input, one a line. Run it again to go on where it stopped: what is in DIR is not analysed twice.
    """
    if workers is not None and scheduler is not None:
        raise click.UsageError("--workers and --scheduler exclude each other: a cluster has workers of its own.")
    if most_minutes is not None and math.isnan(most_minutes):
        raise click.UsageError("--most-minutes is a number of minutes.")
    if scheduler is None:
        from satdiag.fleet.processes import get_ready

        get_ready()  # before anything else: what the workers need is imported beside what this process needs
    from satdiag.fleet.crew import MOST_MINUTES
    from satdiag.fleet.run import Wishes, run_fleet

    setting = _setting(learned)
    most_s = 60.0 * (MOST_MINUTES if most_minutes is None else most_minutes)
    with _stops() as stops, _progress() as tell:
        wishes = Wishes(reread=reread, retry=retry, stops=stops, tell=tell)
        make_crew = partial(_crew, workers, scheduler, setting, most_s)
        tally = run_fleet(_names(named), directory, make_crew, setting, wishes)
    _say(tally, directory)
    if as_json:
        said = json.dumps(_summary(tally, directory), indent=1, ensure_ascii=False)
        click.echo(said.encode(errors="replace").decode())  # a path may hold bytes that are no text
    return _code(tally)


def _crew(workers: int | None, scheduler: str | None, setting: Setting, most_s: float) -> Crew:
    if scheduler is not None:
        from satdiag.fleet.cluster import ClusterCrew

        return ClusterCrew(scheduler, setting, most_s)
    from satdiag.fleet.processes import ProcessCrew

    return ProcessCrew(workers or _cores(), most_s)


def _cores() -> int:
    """The cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _setting(learned: bool) -> Setting:
    """The packaged figures, or with what this user's closed jobs and a fleet have taught."""
    from satdiag.fleet.task import Setting

    if not learned:
        return Setting()
    from satdiag.kept import lessons_kept, pool_here

    lessons = sorted(lessons_kept(), key=lambda lesson: (lesson.hash, lesson.job))
    pool = pool_here()
    return Setting(tuple(lesson.text() for lesson in lessons), pool.text() if pool else "")


def _names(named: tuple[str, ...]) -> Iterator[str]:
    for name in named:
        if name != "-":
            yield name
            continue
        for line in sys.stdin.buffer:
            if path := os.fsdecode(line.rstrip(b"\r\n")):
                yield path


# --- while it runs -----------------------------------------------------------------------------------------------


@contextmanager
def _stops() -> Iterator[Callable[[], bool]]:
    """The first Ctrl-C (or end signal) asks the run to write what it has and end; the second ends it at once."""
    asked = threading.Event()

    def handle(number: int, frame: object) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()
        click.echo("\nStopping: what is finished is being written. Ctrl-C again ends at once.", err=True)

    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return
    before = {number: signal.signal(number, handle) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def _progress() -> Iterator[Callable[[Tally], None]]:
    """A line that moves, on a terminal; nothing elsewhere."""
    if not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield lambda tally: None
        return
    from rich.console import Console
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("looking for jobs", total=None)

        def tell(tally: Tally) -> None:
            text = f"{_counts(tally)}, {tally.found} found, {tally.jobs_per_s:.1f} jobs/s"
            shown.update(task, description=text)

        yield tell


# --- at the end --------------------------------------------------------------------------------------------------


def _counts(tally: Tally) -> str:
    return f"{tally.done} done, {tally.skipped + tally.same} skipped, {tally.bad + tally.bad_before} bad"


def _why_empty(name: str) -> str:
    if not os.path.exists(name):
        return "nothing there"
    if list(Path(name).glob("jobs/month=*")):
        return "this is a data set that `satdiag fleet` made; name the folder of the jobs"
    return "no job in this folder (a job is a file NAME.satjob, or a folder with job.toml in it)"


def _say(tally: Tally, directory: Path) -> None:
    from satdiag.fleet.reasons import reason_of

    for name in tally.empty:
        click.echo(f"{name}: {_why_empty(name)}", err=True)
    for name in tally.shut:
        click.echo(f"{name}: this folder may not be looked into; jobs in it are missed", err=True)
    for bad in tally.first_bad:
        click.echo(f"{bad.source}: {reason_of(bad.error, bad.source)}", err=True)
    if (more := tally.bad - len(tally.first_bad)) > 0:
        click.echo(f"... and {more} more; the column error of {directory} has them all", err=True)
    if not (tally.found or tally.empty or tally.shut or tally.stopped):
        click.echo("No job was named.", err=True)
    if tally.bad_before:
        click.echo(f"{tally.bad_before} were bad before and have not changed; --retry tries them again", err=True)
    if tally.stopped:
        click.echo("Stopped; the same command goes on from here.", err=True)
    click.echo(f"{directory}: {_counts(tally)}, {tally.jobs_per_s:.1f} jobs/s", err=True)


def _summary(tally: Tally, directory: Path) -> dict[str, Any]:
    return {
        "schema": 1,
        "directory": str(directory),
        "found": tally.found,
        "done": tally.done,
        "bad": tally.bad,
        "bad_before": tally.bad_before,
        "skipped": tally.skipped,
        "same": tally.same,
        "stopped": tally.stopped,
        "seconds": round(tally.seconds, 3),
        "jobs_per_s": round(tally.jobs_per_s, 3),
        "first_bad": [bad._asdict() for bad in tally.first_bad],
        "without_jobs": tally.empty,
        "not_looked_into": tally.shut,
    }


def _code(tally: Tally) -> int:
    if tally.stopped:
        return 130
    if not tally.found:
        return 2
    return 1 if tally.bad or tally.bad_before or tally.empty or tally.shut else 0
