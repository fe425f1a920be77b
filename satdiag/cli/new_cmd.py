"""`satdiag new PATH`: a new job, as a folder or as a job file, by asking or from options."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import click

from satdiag.cli.sheet_form import FIELDS, Field, read_site, sheet_text

_Command = TypeVar("_Command", bound=Callable[..., Any])
_LINEUP_QUESTION = "Line-up file (CSV: channel,name,category,packages)"
_SITE_QUESTION = "Where it stands: NAME,LAT,LON"


def _sheet_options(command: _Command) -> _Command:
    """One option for each key of the sheet, in the order of the form."""
    for field in reversed(FIELDS):
        kind = click.Choice(field.choices) if field.choices else None
        wrap = click.option(field.option, field.name, type=kind, help=field.help)
        command = wrap(command)
    return command


def _files(option: str, text: str) -> Callable[[_Command], _Command]:
    kind = click.Path(path_type=Path, exists=True, dir_okay=False)
    return click.option(option, type=kind, multiple=option == "--lineup", help=text)


@click.command()
@click.argument("path", type=click.Path(path_type=Path))
@_sheet_options
@click.option(
    "--site",
    "sites",
    multiple=True,
    metavar="NAME,LAT,LON[,HEIGHT_M[,TIMEZONE]]",
    help="Where it stands; may be repeated.",
)
@_files("--lineup", "Channel line-up (CSV: channel,name,category,packages); several are joined.")
@_files("--horizon", "Skyline readings (CSV: azimuth_deg,elevation_deg).")
@_files("--obstacles", "Obstacles (CSV: azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note).")
def new(
    path: Path,
    sites: tuple[str, ...],
    lineup: tuple[Path, ...],
    horizon: Path | None,
    obstacles: Path | None,
    **options: str | None,
) -> None:
    """Make a new job at PATH: a job file if it ends in .satjob, else a job folder.

    Without options and in a terminal it asks. What is not known is left blank; job.toml names it for later. Nothing
    that exists is overwritten.
    """
    from satdiag.errors import SatdiagError

    if os.path.lexists(path):
        raise SatdiagError(f"{path}: it is there already. Name a new job, or move the old one away.")
    answers = {(field.table, field.key): options[field.name] for field in FIELDS}
    asked = not any((sites, lineup, horizon, obstacles, *options.values())) and _in_a_terminal()
    if asked:
        answers, sites, lineup = _ask(path)
    values = {(field.table, field.key): field.value(answers[field.table, field.key] or "") for field in FIELDS}
    values["job", "id"] = values["job", "id"] or _id_from(path)
    documents = _own_files(values, lineup, {"horizon.csv": horizon, "obstacles.csv": obstacles})
    documents["job.toml"] = sheet_text(values, [read_site(text) for text in sites], datetime.now(UTC)).encode()
    _write(path, documents)
    click.echo(f"{path}: job {values['job', 'id']} made. Next: satdiag note {path} KIND SUBJECT VALUE [UNIT]")


def _in_a_terminal() -> bool:
    return sys.stdin.isatty()


def _ask(path: Path) -> tuple[dict[tuple[str, str], str | None], tuple[str, ...], tuple[Path, ...]]:
    """The answers of a person, each checked as it is given; blank means unknown."""
    click.echo("A new job. Press Enter where you do not know.")
    answers: dict[tuple[str, str], str | None] = {}
    for field in FIELDS:
        answers[field.table, field.key] = _answer(field, path) if field.question else None
    site = _prompt(_SITE_QUESTION, "", _site_text)
    lineup = _prompt(_LINEUP_QUESTION, "", _existing)
    return answers, (site,) if site else (), (Path(lineup),) if lineup else ()


def _answer(field: Field, path: Path) -> str:
    default = {"id": _id_from(path), "reason": "unknown"}.get(field.key if field.table == "job" else "", "")

    def read(text: str) -> str:
        if field.choices and text and text not in field.choices:
            raise click.BadParameter(f"'{text}' is not one of {', '.join(field.choices)}")
        field.value(text)
        return text

    choices = f" ({', '.join(field.choices)})" if field.choices else ""
    return _prompt(f"{field.question}{choices}", default, read)


def _prompt(question: str, default: str, read: Callable[[str], str]) -> str:
    answer: str = click.prompt(question, default=default, show_default=bool(default), value_proc=read)
    return answer


def _site_text(text: str) -> str:
    if text:
        read_site(text)
    return text


def _existing(text: str) -> str:
    if text and not Path(text).is_file():
        raise click.BadParameter(f"there is no file '{text}'")
    return text


def _id_from(path: Path) -> str:
    """A job id made from the path's name: what may not stand in a file name becomes '-'."""
    from satdiag.sheet import KEYS

    name = re.sub(r"[^A-Za-z0-9._-]+", "-", path.name.removesuffix(".satjob")).strip("-._")[:100]
    return name if KEYS["job"]["id"](name) is None else f"job-{datetime.now(UTC):%Y%m%d-%H%M%S}"


def _own_files(
    values: dict[tuple[str, str], Any], lineup: tuple[Path, ...], tables: dict[str, Path | None]
) -> dict[str, bytes]:
    """The other files of the job; a constellation given as a file is brought along under its name in the job."""
    from satdiag.csv_text import decode
    from satdiag.folder import bytes_of
    from satdiag.sky.constellation import JOB_FILE, load_packaged, parse_constellation

    documents = {name: bytes_of(place) for name, place in tables.items() if place is not None}
    if lineup:
        documents["lineup.csv"] = _joined_lineup(lineup)
    named = values["service", "constellation"]
    if named is not None and named.endswith(".toml"):
        data = bytes_of(Path(named))
        parse_constellation(decode(data, named), named)
        documents[JOB_FILE] = data
        values["service", "constellation"] = JOB_FILE
    elif named is not None:
        load_packaged(named)
    return documents


def _joined_lineup(places: tuple[Path, ...]) -> bytes:
    """Several line-ups as one: the header of the first, the channels of all."""
    from satdiag.csv_text import csv_line, decode, records
    from satdiag.folder import bytes_of
    from satdiag.tables import LINEUP_COLUMNS, parse_lineup

    lines = [csv_line(LINEUP_COLUMNS)]
    for place in places:
        text = decode(bytes_of(place), place.name)
        parse_lineup(text, place.name)
        lines += [record.raw for record in list(records(text, place.name))[1:]]
    return ("\n".join(lines) + "\n").encode()


def _write(path: Path, documents: dict[str, bytes]) -> None:
    from satdiag.folder import export_files, write_folder
    from satdiag.job import build_job
    from satdiag.store import create_job_file

    job = build_job(documents, ())
    if path.suffix == ".satjob":
        create_job_file(path, job)
    else:
        write_folder(export_files(job), path)
