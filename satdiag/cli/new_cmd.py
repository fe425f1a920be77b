"""`satdiag new PATH`: a new job, as a folder or as a job file, by asking or from options."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence, Set
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import click

from satdiag.cli.sheet_form import FIELDS, Field, id_from, read_site, sheet_text

_Command = TypeVar("_Command", bound=Callable[..., Any])
_LINEUP_QUESTION = "Line-up file (CSV: channel,name,category,packages), or its name in your user folder"
_SITE_QUESTION = "Where it stands: NAME,LAT,LON, or NAME,LAT,LON,HEIGHT_M,TIMEZONE for local times"


def _sheet_options(command: _Command) -> _Command:
    """One option for each key of the sheet, in the order of the form."""
    for field in reversed(FIELDS):
        kind = click.Choice(field.choices) if field.choices else None
        wrap = click.option(field.option, field.name, type=kind, help=field.help)
        command = wrap(command)
    return command


def _files(option: str, text: str) -> Callable[[_Command], _Command]:
    kind = click.Path(path_type=Path, exists=True, dir_okay=False)
    return click.option(option, type=kind, help=text)


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
@click.option(
    "--receiver-values",
    metavar="NAME",
    help="Take the keys of [receiver] that no option gives from this file of your user folder.",
)
@click.option(
    "--lineup",
    multiple=True,
    metavar="NAME|FILE",
    help="Channel line-up (CSV: channel,name,category,packages): a file, or a name in your user folder; several are "
    "joined.",
)
@click.option(
    "--open",
    "opened",
    multiple=True,
    type=int,
    metavar="CHANNEL",
    help="With --lineup: this channel plays without an account. May be given several times.",
)
@_files("--horizon", "Skyline readings (CSV: azimuth_deg,elevation_deg).")
@_files("--obstacles", "Obstacles (CSV: azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note).")
def new(
    path: Path,
    sites: tuple[str, ...],
    receiver_values: str | None,
    lineup: tuple[str, ...],
    opened: tuple[int, ...],
    horizon: Path | None,
    obstacles: Path | None,
    **options: str | None,
) -> None:
    """Make a new job at PATH: a job file if it ends in .satjob, else a job folder.

    Without options and in a terminal it asks. What is not known is left blank; job.toml names it for later. What
    comes from your user folder (`satdiag user show`) is copied into the job. Nothing that exists is overwritten.
    """
    from satdiag.errors import SatdiagError

    if os.path.lexists(path):
        raise SatdiagError(f"{path}: it is there already. Name a new job, or move the old one away.")
    if opened and not lineup:
        raise click.UsageError("--open marks channels of a line-up: name that too, --lineup FILE.")
    answers = {(field.table, field.key): options[field.name] for field in FIELDS}
    given = (sites, receiver_values, lineup, horizon, obstacles, *options.values())
    if not any(given) and _in_a_terminal():
        answers, sites, lineup = _ask(path)
    values = {(field.table, field.key): field.value(answers[field.table, field.key] or "") for field in FIELDS}
    values["job", "id"] = values["job", "id"] or id_from(path)
    if receiver_values is not None:
        _fill_receiver(values, receiver_values)
    documents = _own_files(values, lineup, opened, {"horizon.csv": horizon, "obstacles.csv": obstacles})
    documents["job.toml"] = sheet_text(values, [read_site(text) for text in sites], datetime.now(UTC)).encode()
    _write(path, documents)
    click.echo(f"{path}: job {values['job', 'id']} made. Next: satdiag note {path} KIND SUBJECT VALUE [UNIT]")


def _in_a_terminal() -> bool:
    return sys.stdin.isatty()


def _ask(path: Path) -> tuple[dict[tuple[str, str], str | None], tuple[str, ...], tuple[str, ...]]:
    """The answers of a person, each checked as it is given; blank means unknown."""
    click.echo("A new job. Press Enter where you do not know.")
    answers: dict[tuple[str, str], str | None] = {}
    for field in FIELDS:
        answers[field.table, field.key] = _answer(field, path) if field.question else None
    site = _prompt(_SITE_QUESTION, "", _site_text)
    lineup = _prompt(_LINEUP_QUESTION, "", _lineup_text)
    return answers, (site,) if site else (), (lineup,) if lineup else ()


def _answer(field: Field, path: Path) -> str:
    default = {"id": id_from(path), "reason": "unknown"}.get(field.key if field.table == "job" else "", "")

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


def _lineup_text(text: str) -> str:
    if text:
        _kept_or_file("lineups", text, "--lineup")
    return text


def _kept_or_file(kind: str, text: str, option: str) -> Path:
    """What an option names: a file of the user folder, or else a file. Raises click.BadParameter."""
    from satdiag.user_folder import KINDS, find, names_of

    is_path = text.endswith(KINDS[kind].suffix) or any(mark in text for mark in "/\\")
    place = (None if is_path else find(kind, text)) or Path(text)
    if not place.is_file():
        there = names_of(kind)
        raise click.BadParameter(
            f"'{text}' does not exist, neither as a file nor among the {kind} of your user folder ({there})",
            param_hint=f"'{option}'",
        )
    return place


def _fill_receiver(values: dict[tuple[str, str], Any], name: str) -> None:
    """Fill the keys of [receiver] that no option gave."""
    from satdiag.csv_text import decode
    from satdiag.folder import bytes_of
    from satdiag.user_folder import parse_receiver_values

    place = _kept_or_file("receivers", name, "--receiver-values")
    for key, value in parse_receiver_values(decode(bytes_of(place), place.name), place.name).items():
        if values["receiver", key] is None:
            values["receiver", key] = value


def _own_files(
    values: dict[tuple[str, str], Any],
    lineup: tuple[str, ...],
    opened: tuple[int, ...],
    tables: dict[str, Path | None],
) -> dict[str, bytes]:
    """The other files of the job; a constellation that is not packaged is brought along under its name in the job."""
    from satdiag.csv_text import decode
    from satdiag.folder import bytes_of
    from satdiag.sky.constellation import JOB_FILE, parse_constellation

    documents = {name: bytes_of(place) for name, place in tables.items() if place is not None}
    if lineup:
        places = [_kept_or_file("lineups", text, "--lineup") for text in lineup]
        documents["lineup.csv"] = _joined_lineup(places, {str(channel) for channel in opened})
    place = constellation_file(values["service", "constellation"])
    if place is not None:
        data = bytes_of(place)
        found = parse_constellation(decode(data, str(place)), str(place))
        documents[JOB_FILE] = data
        values["service", "constellation"] = JOB_FILE
        for name in sorted({satellite.elements for satellite in found.satellites if satellite.elements}):
            click.echo(f"warning: {place.name} needs {name}: put that file into the job too", err=True)
    return documents


def constellation_file(named: str | None) -> Path | None:
    """The file of a constellation; None if none is named or it comes with satdiag. Raises SatdiagError."""
    from satdiag.errors import SatdiagError
    from satdiag.sky.constellation import load_packaged, packaged_names
    from satdiag.user_folder import find, names_of

    if named is None or named.endswith(".toml"):
        return None if named is None else Path(named)
    kept = find("constellations", named)
    if kept is not None and named in packaged_names():
        raise SatdiagError(
            f"'{named}' is packaged and in your user folder too. Name the file {kept} to use that one, or rename it."
        )
    if kept is None and named not in packaged_names():
        raise SatdiagError(
            f"There is no constellation '{named}'. Packaged: {', '.join(packaged_names())}. In your user folder: "
            f"{names_of('constellations')}. Name one of them, or a file NAME.toml."
        )
    if kept is None:
        load_packaged(named)
    return kept


def _joined_lineup(places: Sequence[Path], opened: Set[str]) -> bytes:
    """Several line-ups as one: the header of the first, the channels of all, some of them marked as open."""
    from satdiag.csv_text import csv_line, decode, records
    from satdiag.errors import SatdiagError
    from satdiag.folder import bytes_of
    from satdiag.tables import LINEUP_COLUMNS, parse_lineup

    lines, missing = [csv_line(LINEUP_COLUMNS)], set(opened)
    for place in places:
        text = decode(bytes_of(place), place.name)
        parse_lineup(text, place.name)
        for record in list(records(text, place.name))[1:]:
            *named, packages = record.fields
            free = named[0] in opened and "open" not in packages.split()
            lines.append(csv_line([*named, f"{packages} open".strip()]) if free else record.raw)
            missing.discard(named[0])
    if missing:
        raise SatdiagError(f"--open: the line-up has no channel {min(missing, key=int)}. Mend the number.")
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
