"""`satdiag feedline`: where the antenna lead ends, and what reflects on the way, from a reflection sweep."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.cli.cable_cmd import CHOICES, Finite
from satdiag.cli.language_option import speaks

if TYPE_CHECKING:
    from satdiag.findings import FeedlineFindings
    from satdiag.job import Job
    from satdiag.lead_keys import Feedline
    from satdiag.sky.constellation import Constellation
    from satdiag.wiring.feedline import Setup

SUFFIXES = (".s1p", ".ts")
_VELOCITY = "a velocity factor such as 0.66, or a range of it such as 0.65-0.67"


@click.command()
@click.argument("path", metavar="FILE.s1p|JOB", type=click.Path(path_type=Path))
@click.option("--vf", metavar="VF", help="Velocity factor of the cable such as 0.66, or a range such as 0.65-0.67.")
@click.option("--cable", "cable_type", type=click.Choice(CHOICES), help="Class of cable, for its loss (and its VF).")
@click.option("--expected-length", "length_m", metavar="M", type=Finite(0.05, 1000.0), help="Plug to antenna.")
@click.option(
    "--reference-plane", "plane_m", metavar="M", type=Finite(-1000.0, 1000.0),
    help="How far the lead's plug stands beyond the plane of calibration. [0]",
)  # fmt: skip
@click.option("--joint", "joints_m", metavar="M", type=Finite(0.0, 1000.0), multiple=True,
              help="Where a plug or a joint should be; may be repeated.")  # fmt: skip
@click.option("--band", metavar="LO-HI", help="Band of the service in MHz. [2320-2345, or the constellation's]")
@click.option("--constellation", metavar="NAME", help="Take the band from it: packaged, yours, or a file NAME.toml.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON on standard output.")
@click.option(
    "--report", metavar="FILE.html", type=click.Path(path_type=Path), help="Also write a page with a figure."
)
@speaks
def feedline(
    path: Path,
    vf: str | None,
    cable_type: str | None,
    length_m: float | None,
    plane_m: float | None,
    joints_m: tuple[float, ...],
    band: str | None,
    constellation: str | None,
    as_json: bool,
    report: Path | None,
) -> None:
    """Read a reflection sweep (Touchstone, one port): where the antenna lead ends and what reflects on the way.

    With a job its feedline.s1p is read, and [feedline] of its sheet says what no option says. Sweep with the receiver
    off and the lead unplugged there, calibrated at that plug; never on a line that carries the feed.
    """
    from satdiag.findings import plain_values
    from satdiag.wiring.feedline import examine, read_sweep

    if band is not None and constellation is not None:
        raise click.UsageError("--band and --constellation both say the band: keep one of the two.")
    job, data, name = _sweep_bytes(path)
    lead = _lead(job, vf, cable_type, length_m, plane_m, joints_m)
    setup = _setup(lead, job, band, constellation)
    found = examine(read_sweep(data, name), setup)
    if report is not None:
        _write(report, found, name, job)
    if as_json:
        click.echo(json.dumps(plain_values(found), indent=1, ensure_ascii=False))
    else:
        click.echo("\n".join(_lines(found)))


# --- what was asked for ------------------------------------------------------------------------------------------


def _sweep_bytes(path: Path) -> tuple[Job | None, bytes, str]:
    """The job if there is one, the bytes of the sweep, and its name for messages. Raises SatdiagError."""
    import satdiag
    from satdiag.cli.analyse_cmd import warn_of_unknown_files
    from satdiag.errors import bad_input
    from satdiag.folder import bytes_of
    from satdiag.job import FEEDLINE

    if path.suffix.lower() in SUFFIXES and not path.is_dir():
        return None, bytes_of(path), str(path)
    if path.is_file() and _is_other_sweep(path):
        raise bad_input(str(path), "this is a sweep of two ports or more", "Save one port, S11, as .s1p.")
    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    if FEEDLINE not in job.documents:
        raise bad_input(str(path), f"the job holds no {FEEDLINE}", "Put the sweep into the job under that name.")
    return job, job.documents[FEEDLINE], FEEDLINE


def _is_other_sweep(path: Path) -> bool:
    suffix = path.suffix.lower()
    return suffix.startswith(".s") and suffix.endswith("p") and suffix[2:-1].isdigit()


def _lead(
    job: Job | None,
    vf: str | None,
    cable_type: str | None,
    length_m: float | None,
    plane_m: float | None,
    joints_m: tuple[float, ...],
) -> Feedline:
    """What the sheet says, with what the options say in its place."""
    from satdiag.lead_keys import Feedline

    lead = job.sheet.feedline if job is not None else Feedline()
    if vf is not None:
        one, ends = _velocity(vf)
        lead = dataclasses.replace(lead, velocity_factor=one, velocity_factor_range=ends)
    if cable_type is not None:
        lead = dataclasses.replace(lead, cable=None if cable_type == "unknown" else cable_type)
    if length_m is not None:
        lead = dataclasses.replace(lead, expected_length_m=length_m)
    if plane_m is not None:
        lead = dataclasses.replace(lead, reference_plane_m=plane_m)
    return dataclasses.replace(lead, joints_m=tuple(sorted(joints_m))) if joints_m else lead


def _velocity(text: str) -> tuple[float | None, tuple[float, float] | None]:
    from satdiag.lead_keys import VELOCITY

    numbers = _numbers(text, "--vf", _VELOCITY)
    if any(not VELOCITY[0] <= number <= VELOCITY[1] for number in numbers):
        raise click.UsageError(f"--vf '{text}' is outside {VELOCITY[0]:g} .. {VELOCITY[1]:g}: write {_VELOCITY}.")
    return (numbers[0], None) if len(numbers) == 1 else (None, (numbers[0], numbers[1]))


def _numbers(text: str, option: str, what: str) -> list[float]:
    """One number, or two that rise, parted by '-'."""
    try:
        numbers = [float(part) for part in text.split("-")]
    except ValueError:
        numbers = []
    sound = numbers and len(numbers) <= 2 and all(math.isfinite(number) for number in numbers)
    if not sound or (len(numbers) == 2 and numbers[0] >= numbers[1]):
        raise click.UsageError(f"{option} '{text}' is not {what}.")
    return numbers


def _setup(lead: Feedline, job: Job | None, band: str | None, constellation: str | None) -> Setup:
    from satdiag.errors import SatdiagError
    from satdiag.wiring.feedline import setup_of
    from satdiag.wiring.feedline.estimate import SERVICE_BAND_MHZ, band_of_job

    if band is not None:
        numbers = _numbers(band, "--band", "a band in MHz such as 2320-2345")
        if len(numbers) != 2 or numbers[0] <= 0:
            raise click.UsageError(f"--band '{band}' is not a band in MHz such as 2320-2345.")
        return setup_of(lead, (numbers[0], numbers[1]))
    if constellation is not None:
        found = _constellation(constellation)
        if found.band_mhz is None:
            raise SatdiagError(f"The constellation '{found.name}' states no band_mhz; use --band LO-HI.")
        return setup_of(lead, found.band_mhz)
    return setup_of(lead, band_of_job(job) if job is not None else SERVICE_BAND_MHZ)


def _constellation(named: str) -> Constellation:
    """A constellation by its name or file. Raises SatdiagError."""
    from satdiag.cli.new_cmd import constellation_file
    from satdiag.csv_text import decode
    from satdiag.folder import bytes_of
    from satdiag.sky.constellation import load_packaged, parse_constellation

    place = constellation_file(named)
    if place is None:
        return load_packaged(named)
    return parse_constellation(decode(bytes_of(place), str(place)), str(place))


# --- what is printed ---------------------------------------------------------------------------------------------


def _write(report: Path, found: FeedlineFindings, name: str, job: Job | None) -> None:
    from satdiag.language import tell
    from satdiag.report.page import masker
    from satdiag.report.wiring.feedline_page import write_feedline_page

    source = (
        tell("Sweep {file}", file=Path(name).name) if job is None else tell("Sweep of job {job}", job=job.sheet.id)
    )
    write_feedline_page(report, found, source, masker(job) if job is not None else lambda text: text)
    click.echo(f"page written: {report}", err=True)


def _lines(found: FeedlineFindings) -> list[str]:
    """The verdict, the sentences, the reflections and the facts as text."""
    from satdiag.language import tell
    from satdiag.report.cautions import CAUTIONS
    from satdiag.report.text_table import table_lines
    from satdiag.report.wiring.feedline import facts_table, reflections_table

    lines = [tell("Check first: {caution}.", caution=text) for text in found.cautions]
    lines += [found.verdict, *(f"  - {text}" for text in found.sentences)]
    if any(one.kind != "sidelobe" for one in found.reflections):
        lines += ["", *table_lines(reflections_table(found), numbers_right=True)]
    lines += ["", *table_lines(facts_table(found), numbers_right=True), ""]
    return [*lines, *(tell("Take care: {what}", what=one.text) for one in CAUTIONS if one.key == "sweep")]
