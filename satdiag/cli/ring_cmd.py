"""`satdiag ring`: plan, check and mend the plugs of an optical ring, and find where it is broken."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from satdiag.cli.language_option import speaks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from satdiag.job import Job
    from satdiag.report.wiring.ring_page import RingPage
    from satdiag.ring_file import RingFile

MEND = "Add ring.toml to the job, or name a ring.toml; `satdiag ring new` writes one, `satdiag docs ring` tells how."
STARTER_NODES = ("head-unit", "amplifier", "receiver")

_path = click.argument("path", type=click.Path(path_type=Path))
_json = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON on standard output.")
_report = click.option(
    "--report", metavar="FILE.html", type=click.Path(path_type=Path), help="Also write a page with drawings."
)


@click.group()
def ring() -> None:
    """Plan, check and mend the plugs of an optical ring, and find where it is broken.

    PATH is a job folder or a job file that holds ring.toml, or a ring.toml by itself.
    """


# --- new ---------------------------------------------------------------------------------------------------------


@ring.command()
@click.argument("path", type=click.Path(path_type=Path), default=Path("ring.toml"), required=False)
@click.option("--node", "nodes", multiple=True, metavar="NAME", help="A node; repeat it in the order of the light.")
@click.option("--new", "fresh", multiple=True, metavar="NAME", help="Which of the nodes are not plugged yet.")
@click.option("--positions", type=click.IntRange(1, 64), default=6, show_default=True, help="Positions of the block.")
@click.option("--block", default="main", show_default=True, help="Name of the block.")
@click.option(
    "--outputs-row",
    type=click.Choice(["upper", "lower"]),
    default="upper",
    show_default=True,
    help="Which row takes the nodes' outputs: look at the block.",
)
def new(
    path: Path, nodes: tuple[str, ...], fresh: tuple[str, ...], positions: int, block: str, outputs_row: str
) -> None:
    """Write a ring.toml to begin with. PATH is a job folder, or the file to write [ring.toml].

    The plugs of today stand in it commented out, as the order would have them: look at the block, mend them, and take
    the '#' away.
    """
    from satdiag.errors import SatdiagError
    from satdiag.ring_file import FILE, parse_ring, starter_text
    from satdiag.safe_write import write_new

    names = nodes or STARTER_NODES
    if len(names) < 2:
        raise click.UsageError("A ring joins two nodes or more: repeat --node.")
    if strange := [name for name in fresh if name not in names]:
        raise click.UsageError(f"--new {strange[0]} is none of the nodes: {', '.join(names)}.")
    if set(fresh) >= set(names):
        raise click.UsageError("--new names every node: which of them stand on the ring today?")
    if positions < (today := len(set(names) - set(fresh))):
        raise click.UsageError(f"--positions {positions}: the {today} nodes of today need {today} of them.")
    if not path.is_dir() and path.suffix != ".toml":
        raise SatdiagError(f"{path}: there is no such folder. Name a job's folder, or a file that ends in .toml.")
    text = starter_text(names, fresh, positions, block, outputs_row)
    parse_ring(text)
    place = path / FILE if path.is_dir() else path
    try:
        write_new(place, text.encode())
    except FileExistsError:
        raise SatdiagError(f"{place}: it is there already, and is not written over. Name another file.") from None
    except OSError as error:
        raise SatdiagError(f"{place}: cannot be written ({error.strerror}).") from None
    click.echo(f"{place} written. Look at the block, and write how it is plugged today.")


# --- check -------------------------------------------------------------------------------------------------------


@ring.command(short_help="Say whether the plugs make one closed ring.")
@_path
@_report
@_json
@speaks
def check(path: Path, report: Path | None, as_json: bool) -> int:
    """Say whether the plugs of PATH make one closed ring through all nodes in the wanted order, and what is wrong.

    Exit code 0: they do; 1: problems, or not known; 2: it cannot be read.
    """
    from satdiag.findings import plain_values
    from satdiag.report.wiring.ring_page import check_page
    from satdiag.report.wiring.ring_text import blocks_lines, page_lines
    from satdiag.wiring.ring import blocks_shown, budgets, check_ring, link_shown

    file, job = _read(path)
    found = check_ring(file)
    links = tuple(link_shown(one) for one in budgets(file))
    page = check_page(file, found)
    _write(report, page, job)
    if as_json:
        document = {
            "state": found.state,
            "problems": [{"kind": problem.kind, "text": problem.text} for problem in found.problems],
            "rings": found.paths.rings,
            "chains": found.paths.chains,
            "not_plugged": found.paths.unplugged,
            "links": plain_values(links),
            "could_not": found.could_not,
        }
        _print(document)
    else:
        blocks = blocks_shown(file) if file.plugs_known else ()
        click.echo("\n".join([*page_lines(page), "", *blocks_lines(blocks)]).rstrip())
    return 0 if found.state == "valid" else 1


# --- plan --------------------------------------------------------------------------------------------------------


@ring.command(short_help="Name the least plug moves to the wanted order.")
@_path
@click.option("--insert", metavar="NODE", help="A node that is not plugged yet; the order is worked out from it.")
@click.option("--after", metavar="NODE", help="With --insert: after which node, in the order of the light.")
@_report
@_json
@speaks
def plan(path: Path, insert: str | None, after: str | None, report: Path | None, as_json: bool) -> int:
    """Name the least plug moves to the wanted order, step by step, with labels, drawings and the way back.

    Exit code 0: there is a way, or nothing to do; 1: it cannot be reached by moving plugs; 2: it cannot be read.
    """
    from satdiag.report.wiring.ring_page import plan_page
    from satdiag.report.wiring.ring_text import plan_lines
    from satdiag.wiring.ring import order_with, plan_ring

    if (insert is None) != (after is None):
        raise click.UsageError("--insert NODE and --after NODE go together.")
    file, job = _read(path)
    if insert is not None and after is not None:
        file, order = order_with(file, insert, after)
        found = plan_ring(file, order)
    else:
        found = plan_ring(file)
    _write(report, plan_page(found), job)
    if as_json:
        _print(_plan_document(found))
    else:
        click.echo("\n".join(plan_lines(found)))
    return 1 if found.impossible else 0


def _plan_document(found: Any) -> dict[str, Any]:
    from satdiag.wiring.ring import labels_of, step_text, steps_of, undo_of

    def told(steps: Sequence[Any]) -> list[dict[str, Any]]:
        return [
            {
                "step": step.name,
                "action": step.action,
                "plug": str(step.end),
                "from": None if step.from_ is None else step.from_._asdict(),
                "to": None if step.to is None else step.to._asdict(),
                "text": step_text(step),
            }
            for step in steps
        ]

    steps = steps_of(found.moves)
    return {
        "order": found.order,
        "possible": not found.impossible,
        "impossible": found.impossible,
        "moves": None if found.impossible else len(found.moves),
        "labels": [{"plug": end, "write": [now, then]} for end, now, then in labels_of(found)],
        "steps": told(steps),
        "undo": told(undo_of(steps)),
    }


# --- break -------------------------------------------------------------------------------------------------------


@ring.command("break", short_help="Say where the ring is broken.")
@_path
@click.option(
    "--position",
    "reports",
    multiple=True,
    metavar="NODE=NUMBER",
    help="What a node reported; repeat it. Else the log's.",
)
@click.option("--weak", is_flag=True, help="Position 0 saw light, too weak to lock on.")
@_report
@_json
@speaks
def break_(path: Path, reports: tuple[str, ...], weak: bool, report: Path | None, as_json: bool) -> int:
    """Say where the ring is broken, from the positions that nodes report in a ring-break test.

    Without --position the rows `ring,position:NAME` of the job are read. Exit code 0: located; 1: the reports
    contradict each other, or it is unknown; 2: it cannot be read.
    """
    from dataclasses import replace

    from satdiag.findings import plain_values
    from satdiag.report.wiring.ring_page import break_page
    from satdiag.report.wiring.ring_text import blocks_lines, page_lines
    from satdiag.wiring.ring import blocks_shown, break_shown, locate_break, positions_reported

    file, job = _read(path)
    logged = positions_reported(job) if job is not None else ({}, ())
    told, said = (_positions(reports), ()) if reports else logged
    found = locate_break(file, told, weak)
    found = replace(found, could_not=(*said, *found.could_not))
    shown = break_shown(found, told)
    page = break_page(file, found, told)
    _write(report, page, job)
    if as_json:
        _print({**plain_values(shown), "weak": weak, "order": found.order, "could_not": found.could_not})
    else:
        blocks = blocks_shown(file, found) if file.plugs_known else ()
        click.echo("\n".join([*page_lines(page), "", *blocks_lines(blocks)]).rstrip())
    return 0 if found.state == "located" else 1


def _positions(reports: Sequence[str]) -> dict[str, int]:
    found: dict[str, int] = {}
    for text in reports:
        name, sign, number = text.rpartition("=")
        if not (sign and name and number.isascii() and number.isdigit() and len(number) <= 4):
            raise click.UsageError(f"--position '{text}' is not NODE=NUMBER, such as amplifier=2.")
        if name in found and found[name] != int(number):
            raise click.UsageError(f"--position names '{name}' twice, with {found[name]} and {int(number)}.")
        found[name] = int(number)
    return found


# --- what they share ---------------------------------------------------------------------------------------------


def _read(path: Path) -> tuple[RingFile, Job | None]:
    """The ring of a job, or of a ring.toml by itself. Raises SatdiagError."""
    from satdiag.csv_text import decode
    from satdiag.errors import SatdiagError
    from satdiag.folder import bytes_of
    from satdiag.ring_file import parse_ring

    if path.suffix == ".toml":
        if not path.is_file():
            raise SatdiagError(f"{path}: nothing there. {MEND}")
        return parse_ring(decode(bytes_of(path), str(path)), str(path)), None
    import satdiag
    from satdiag.cli.analyse_cmd import warn_of_unknown_files
    from satdiag.wiring.ring import ring_of

    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    file = ring_of(job)
    if file is None:
        raise SatdiagError(f"{path}: the job holds no ring.toml. {MEND}")
    return file, job


def _write(report: Path | None, page: RingPage, job: Job | None) -> None:
    if report is None:
        return
    from satdiag.report.page import masker
    from satdiag.report.wiring.ring_page import write_ring_page

    if "=" in str(report) and report.suffix != ".html":
        raise click.UsageError(f"--report names a page to write; a position goes with --position {report}.")
    write_ring_page(report, page, masker(job) if job is not None else lambda text: text)
    click.echo(f"page written: {report}", err=True)


def _print(document: dict[str, Any]) -> None:
    click.echo(json.dumps(document, indent=1, ensure_ascii=False))
