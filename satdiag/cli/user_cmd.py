"""`satdiag user`: what is kept on this computer for all jobs, and how to carry it to another one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from satdiag.user_folder import Checks

_KINDS = ("profiles", "lineups", "constellations", "receivers", "learned")
_FILE = click.Path(path_type=Path)
_kind_argument = click.argument("kind", type=click.Choice(_KINDS))
_replace_option = click.option(
    "--replace", is_flag=True, help="Put it in the place of one that is there and differs."
)


def _checks() -> Checks:
    """The checks of the kinds whose rooms know best what is right."""
    return {"constellations": _check_constellation, "profiles": _check_profile}


def _check_constellation(text: str, file: str) -> None:
    from satdiag.errors import bad_input
    from satdiag.sky.constellation import packaged_names, parse_constellation

    parse_constellation(text, file)
    if file.removesuffix(".toml") in packaged_names():
        raise bad_input(file, "a constellation of that name comes with satdiag", "Give the file another name.")


def _check_profile(text: str, file: str) -> None:
    """A profile is found again by the name that stands in it, which the rows' source repeats."""
    from satdiag.errors import bad_input
    from satdiag.recorder.profile import packaged_profiles, parse_profile

    name = parse_profile(text, file).name
    if name in packaged_profiles():
        raise bad_input(file, f"a profile named '{name}' comes with satdiag", "Give it another name.", column="name")
    if file != f"{name}.toml":
        raise bad_input(file, f"the profile in it is named '{name}'", f"Call the file {name}.toml.", column="name")


@click.group()
def user() -> None:
    """Keep files for all jobs: device profiles, line-ups, constellations, receivers' normal values.

    `satdiag new` and `satdiag record` find them by name. What `satdiag new` uses is copied into the job.
    """


def _show_open_sky(name: str, place: Path) -> int:
    """Say what a file of open-sky levels holds, if it is one; 1 if it is not in order."""
    from satdiag.errors import BadInput
    from satdiag.kept import open_sky_in
    from satdiag.signal.open_sky import PREFIX

    if not name.startswith(PREFIX):
        return 0
    try:
        kept = open_sky_in(place)
    except BadInput as error:
        click.echo(f"    not in order: {error}")
        return 1
    click.echo(f"    levels of receiver {kept.receiver} under an open sky:")
    for stay in kept.stays:
        click.echo(f"    {stay.path} {stay.level:.1f} {stay.unit}, job {stay.job}, {stay.at or 'time unknown'}")
    return 0


@user.command()
def show() -> int:
    """Say where the user folder is and what is in it. Exit code 1 if a file there is not in order."""
    from satdiag.errors import BadInput
    from satdiag.folder import bytes_of
    from satdiag.user_folder import ENVIRONMENT, KINDS, check_entry, entries, strangers, unwritten, user_folder

    found, checks, broken = entries(), _checks(), 0
    click.echo(f"{user_folder()}  ({ENVIRONMENT} names another one)")
    for kind, (_, meaning) in KINDS.items():
        click.echo(f"{kind}: {meaning}" + ("" if any(entry.kind == kind for entry in found) else ": none"))
        for entry in (entry for entry in found if entry.kind == kind):
            click.echo(f"  {entry.name:<30}{entry.size_bytes:>10} bytes")
            try:
                check_entry(kind, entry.path.name, bytes_of(entry.path), checks)
            except BadInput as error:
                broken += 1
                click.echo(f"    not in order: {error}")
                continue
            if kind == "learned":
                broken += _show_open_sky(entry.name, entry.path)
    for place in unwritten():
        click.echo(f"{place}: rows that a recording could not write into its job")
    for name in strangers():
        click.echo(f"{name}: not a file that satdiag keeps there; it is left alone")
    return 1 if broken else 0


@user.command(short_help="Keep a copy of a file.")
@_kind_argument
@click.argument("file", type=_FILE)
@_replace_option
def add(kind: str, file: Path, replace: bool) -> None:
    """Keep a copy of FILE under its own name, once it is found to be right."""
    from satdiag.user_folder import add as keep

    click.echo(f"Kept as {keep(kind, file, _checks(), replace)}")


@user.command()
@_kind_argument
@click.argument("name")
def remove(kind: str, name: str) -> None:
    """Remove NAME from the user folder. Jobs that used it hold their own copy."""
    from satdiag.user_folder import remove as take_out

    click.echo(f"Removed {take_out(kind, name)}")


@user.command("export", short_help="Write the user folder to a zip file.")
@click.argument("zip_file", metavar="FILE.zip", type=_FILE)
def export_(zip_file: Path) -> None:
    """Write the user folder to a new zip file, to carry to another computer."""
    from satdiag.user_folder import export_to

    for entry in export_to(zip_file, _checks()):
        click.echo(f"{entry.kind}/{entry.path.name}")
    click.echo(f"Written to {zip_file}")


@user.command("import", short_help="Take over such a zip file.")
@click.argument("zip_file", metavar="FILE.zip", type=_FILE)
@_replace_option
def import_(zip_file: Path, replace: bool) -> None:
    """Take over everything in a zip file that `satdiag user export` wrote, or nothing of it."""
    from satdiag.user_folder import import_from

    carried = import_from(zip_file, _checks(), replace)
    for names, word in ((carried.added, "new"), (carried.replaced, "replaced"), (carried.same, "there already")):
        for name in names:
            click.echo(f"{name}: {word}")
    if not any(carried):
        click.echo(f"{zip_file} holds no files.")
