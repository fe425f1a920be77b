"""`satdiag profile`: try a line profile on a sample of lines, list the profiles, print one to start from."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from satdiag.language import counted

if TYPE_CHECKING:
    from satdiag.recorder.admit import Admission
    from satdiag.recorder.heard import Reading
    from satdiag.recorder.profile import Profile

_CHUNK = 65_536
_BARE = ("kind", "subject", "value", "unit")
_COUNTS = ("lines", "understood", "without_reading", "not_understood", "readings")


@click.group()
def profile() -> None:
    """Line profiles: how the lines of a device become observations."""


@profile.command("list", short_help="List the profiles there are.")
def list_() -> None:
    """List the profiles that come with satdiag and those in the user folder."""
    from textwrap import fill

    from satdiag.errors import SatdiagError
    from satdiag.recorder.profile import load_profile, packaged_profiles

    found = packaged_profiles()
    folder = _user_folder()
    for place in sorted(folder.glob("*.toml")) if folder.is_dir() else []:
        try:
            found.setdefault(place.stem, load_profile(str(place)).about)
        except SatdiagError as error:
            found.setdefault(place.stem, f"cannot be used: {str(error).splitlines()[0]}")
    for name, about in found.items():
        click.echo(name)
        click.echo(fill(" ".join(about.split()), 100, initial_indent="    ", subsequent_indent="    "))


@profile.command(short_help="Print a profile, to start your own from.")
@click.argument("name")
def show(name: str) -> None:
    """Print the profile NAME as it is written, to start one of your own from."""
    from satdiag.recorder.profile import profile_text

    click.echo(profile_text(name, [_user_folder()])[0], nl=False)


@profile.command()
@click.argument("name", metavar="PROFILE")
@click.argument("sample", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def check(name: str, sample: Path, as_json: bool) -> int:
    """Say what PROFILE makes of each line of the file SAMPLE.

    PROFILE is a name or the path of a profile. Any site and any row id that a line names is taken for known, and a
    time without an offset for one with it: those depend on the job.

    Exit code 0: every line was understood; 1: some were not; 2: the profile or the sample cannot be read.
    """
    import json

    from satdiag.recorder.profile import load_profile

    used = load_profile(name, [_user_folder()])
    counts: Counter[str] = Counter()
    lines = []
    for line in _lines(used, sample):
        counts.update(_counted(line))
        if as_json:
            lines.append(line)
        else:
            click.echo(_shown(line))
    if as_json:
        found = {
            "profile": used.name,
            "sample": str(sample),
            "lines": lines,
            "counts": {k: counts[k] for k in _COUNTS},
        }
        click.echo(json.dumps(found, indent=2))
    else:
        click.echo(
            f"{counted(counts['lines'], 'line')}: {counts['understood']} understood "
            f"({counted(counts['readings'], 'reading')}), "
            f"{counts['without_reading']} without a reading, {counts['not_understood']} not understood."
        )
    return 1 if counts["not_understood"] else 0


def _user_folder() -> Path:
    from satdiag.user_folder import folder_of

    return folder_of("profiles")


def _lines(used: Profile, sample: Path) -> Iterator[dict[str, Any]]:
    """Each line of the sample: its number, its text, its readings as they would be logged, and why not all."""
    from datetime import UTC

    from satdiag.recorder.admit import Admission

    gate = Admission.without_job(UTC)
    for number, (data, flaw) in enumerate(_frames(used, sample), 1):
        overlong = flaw == "overlong"
        readings, why = ((), "it is too long for a line") if overlong else used.read_line(data)
        kept, whys = _admitted(gate, readings, number)
        yield {
            "line": number,
            "text": data.decode(used.port.encoding, "backslashreplace"),
            "readings": kept,
            "why": "; ".join(text for text in (why, *whys) if text),
        }


def _frames(used: Profile, sample: Path) -> Iterator[tuple[bytes, str]]:
    from satdiag.errors import bad_input

    framer = used.framer()
    try:
        with sample.open("rb") as file:
            while data := file.read(_CHUNK):
                yield from framer.feed(data)
    except OSError as error:
        raise bad_input(str(sample), f"it cannot be read ({error.strerror})", "Check its name and rights.") from None
    yield from framer.flush()


def _admitted(gate: Admission, readings: Sequence[Reading], number: int) -> tuple[list[dict[str, str]], list[str]]:
    """The readings that the log would take, and why it would not take the others."""
    from satdiag.recorder.heard import Moment

    kept, whys = [], []
    for reading in readings:
        at = Moment(number * 1000, 0)  # any instant will do; all lines are of one visit
        row = gate.row(reading, source="check", at=at, elapsed_s=0.0, run="check", id="")
        if isinstance(row, str):
            whys.append(row)
        else:
            kept.append({key: text for key, text in reading._asdict().items() if text})
    return kept, whys


def _counted(line: dict[str, Any]) -> dict[str, int]:
    key = "not_understood" if line["why"] else "understood" if line["readings"] else "without_reading"
    return {"lines": 1, key: 1, "readings": len(line["readings"])}


def _shown(line: dict[str, Any]) -> str:
    from satdiag.csv_text import quoted

    pieces = [
        f"line {line['line']}: "
        + " ".join(text if key in _BARE else f"{key}={quoted(text)}" for key, text in reading.items())
        for reading in line["readings"]
    ]
    if line["why"]:
        pieces.append(f"line {line['line']}: NOT UNDERSTOOD: {line['why']}: {quoted(line['text'])}")
    return "\n".join(pieces) or f"line {line['line']}: no reading: {quoted(line['text'])}"
