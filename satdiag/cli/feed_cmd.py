"""`satdiag feed`: the antenna's feed of a job, or what a feed of given figures should show."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from satdiag.cli.language_option import speaks

if TYPE_CHECKING:
    from satdiag.job import Job
    from satdiag.wiring.feed import FeedFindings
    from satdiag.wiring.rise_budget import RiseBudget

Range = tuple[float, float]

PLACES = ("open-sky", "street", "canopy", "indoors", "underground")
_ANTENNA_DBI = (-40.0, 60.0)
_EXTRA_DB = (0.0, 100.0)

# Option -> key of [feed] in job.toml.
_KEYS = {
    "gain": "gain_db",
    "nf": "noise_figure_db",
    "cable_loss": "lead_loss_db",
    "receiver_nf": "receiver_noise_db",
    "antenna_k": "antenna_k",
}


@click.command()
@click.argument("path", type=click.Path(path_type=Path), required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON on standard output.")
@click.option(
    "--report", metavar="FILE.html", type=click.Path(path_type=Path), help="Also write a page with figures."
)
@click.option(
    "--learn",
    metavar="FILE.toml",
    type=click.Path(path_type=Path),
    help="Write the normal readings of this job to a new file for your user folder.",
)
@click.option("--rise", is_flag=True, help="Instead of a job: what a feed of these figures should show.")
@click.option("--gain", metavar="DB[,DB]", help="With --rise: gain of the antenna's amplifier, or a range of it.")
@click.option("--nf", metavar="DB[,DB]", help="With --rise: noise figure of that amplifier.")
@click.option("--cable-loss", metavar="DB[,DB]", help="With --rise: loss of the lead to the receiver.")
@click.option("--receiver-nf", metavar="DB[,DB]", help="With --rise: noise figure of the receiver.")
@click.option("--antenna-k", metavar="K[,K]", help="With --rise: noise that the antenna collects under an open sky.")
@click.option("--antenna-gain", metavar="DBI[,DBI]", help="With --rise: gain of the antenna itself, for G/T.")
@click.option(
    "--extra-loss", metavar="DB", multiple=True, help="With --rise: what so much more loss does. Repeatable."
)
@click.option("--place", type=click.Choice(PLACES), help="With --rise: what is over the antenna. [open-sky]")
@speaks
def feed(
    path: Path | None,
    as_json: bool,
    report: Path | None,
    learn: Path | None,
    rise: bool,
    antenna_gain: str | None,
    extra_loss: tuple[str, ...],
    place: str | None,
    **figures: str | None,
) -> None:
    """Say how the antenna is fed: bias, noise rise, and which conductor the receiver sits on.

    PATH is a job folder or a job file. With --rise no job is needed: the expected rise of the noise, the system's
    noise and G/T are computed from figures, each shown with where it comes from.
    """
    given = [antenna_gain, place, *extra_loss, *figures.values()]
    if rise:
        if path is not None or report is not None or learn is not None:
            raise click.UsageError("--rise stands alone: without a job, --report and --learn.")
        _rise(figures, antenna_gain, extra_loss, place or "open-sky", as_json)
        return
    if path is None:
        raise click.UsageError("Name a job, or give --rise.")
    if any(one is not None for one in given):
        raise click.UsageError("Figures go with --rise; a job says them itself ([feed] in job.toml).")
    _job(path, as_json, report, learn)


# --- a job -------------------------------------------------------------------------------------------------------


def _job(path: Path, as_json: bool, report: Path | None, learn: Path | None) -> None:
    import satdiag
    from satdiag.cli.analyse_cmd import warn_of_unknown_files
    from satdiag.wiring.feed import feed_findings

    warn_of_unknown_files(path)
    job = satdiag.open_job(path)
    found = feed_findings(job)
    if learn is not None:
        from satdiag.cli.feed_learn import write_learnt

        click.echo(write_learnt(learn, job, found.bias), err=True)
    if report is not None:
        from satdiag.report.wiring.feed_page import write_feed_page

        write_feed_page(report, job, found)
        click.echo(f"page written: {report}", err=True)
    if as_json:
        click.echo(json.dumps(_document(found), indent=1, ensure_ascii=False))
    else:
        _show(job, found)


def _document(found: FeedFindings) -> dict[str, Any]:
    from satdiag.findings import plain_values

    document: dict[str, Any] = plain_values(found._asdict())
    return document


def _show(job: Job, found: FeedFindings) -> None:
    from satdiag.language import tell
    from satdiag.report.local_time import local_time_of
    from satdiag.report.page import masker
    from satdiag.report.text_table import table_lines
    from satdiag.report.wiring.feed_page import feed_parts
    from satdiag.report.words import sentence

    parts = feed_parts(found, local_time_of(job))
    said = [] if parts else [tell("Nothing of the antenna's feed was logged.")]
    for part in parts:
        name, state, measured = part.row
        shown = tell("{state} ({measured})", state=state, measured=measured) if measured else state
        said += ["", tell("{label}: {value}", label=name, value=shown), *part.sentences]
        for whole in (*part.tables, *(one for figure in part.figures for one in figure.tables)):
            said += ["", *table_lines(whole)]
    said += [tell("Note: {what}", what=sentence(text)) for text in found.could_not]
    clean = masker(job)
    click.echo("\n".join(clean(line) for line in said).strip("\n"))


# --- figures without a job ---------------------------------------------------------------------------------------


def _rise(
    figures: dict[str, str | None],
    antenna_gain: str | None,
    extra_loss: tuple[str, ...],
    place: str,
    as_json: bool,
) -> None:
    from satdiag.feed_keys import LIMITS
    from satdiag.findings import plain_values
    from satdiag.wiring.rise_budget import USUAL_EXTRA_DB, rise_budget

    known = {
        _KEYS[name]: _range(f"--{name.replace('_', '-')}", text, LIMITS[_KEYS[name]])
        for name, text in figures.items()
        if text is not None
    }
    antenna = None if antenna_gain is None else _range("--antenna-gain", antenna_gain, _ANTENNA_DBI)
    extra = tuple(_range("--extra-loss", text, _EXTRA_DB, ends=1)[0] for text in extra_loss) or USUAL_EXTRA_DB
    budget = rise_budget(known, place, antenna, extra)
    if as_json:
        click.echo(json.dumps({"place": place, **plain_values(budget)}, indent=1, ensure_ascii=False))
    else:
        click.echo("\n".join(_budget_lines(budget)))


def _range(option: str, text: str, limits: Range, ends: int = 2) -> Range:
    """'28' or '25,35' as a range. Raises click.BadParameter."""
    from satdiag.feed_keys import range_trouble
    from satdiag.rows import parse_number

    parts = [parse_number(part.strip()) for part in text.split(",")]
    value = parts[0] if len(parts) == 1 else parts
    trouble = range_trouble(*limits)(value)
    if trouble is None and len(parts) > ends:
        trouble = "is more than one number"
    if trouble is not None:
        raise click.BadParameter(f"'{text}' {trouble}", param_hint=f"'{option}'")
    low, high = parts[0], parts[-1]
    return (float(low or 0.0), float(high or 0.0))


def _budget_lines(budget: RiseBudget) -> list[str]:
    from satdiag.language import tell
    from satdiag.report.figure import table
    from satdiag.report.numbers import quantity
    from satdiag.report.text_table import table_lines
    from satdiag.report.wiring.feed_rise import inputs_table

    results = [
        (tell("rise of the noise when the feed is switched on"), budget.rise_db, budget.rise_db_90, "dB"),
        (tell("noise added behind the antenna"), budget.added_k, budget.added_k_90, "K"),
        (tell("the same as a noise figure"), budget.noise_figure_db, budget.noise_figure_db_90, "dB"),
        (tell("noise of the whole system"), budget.system_k, budget.system_k_90, "K"),
        (tell("gain over noise temperature, G/T"), budget.g_over_t_db_k, budget.g_over_t_db_k_90, "dB/K"),
    ]
    shown = [(words, quantity(value, unit, _unless_one(ends))) for words, value, ends, unit in results]
    losses = [
        (
            quantity(one.extra_loss_db, "dB"),
            quantity(one.rise_db, "dB", _unless_one(one.rise_db_90)),
            quantity(one.g_over_t_cost_db, "dB", _unless_one(one.g_over_t_cost_db_90)),
        )
        for one in budget.losses
    ]
    names = (tell("figure"), tell("value"))
    heads = (tell("extra loss"), tell("rise that remains"), tell("cost in G/T"))
    return [
        *table_lines(inputs_table(budget.inputs)),
        "",
        *table_lines(table(tell("What follows; in brackets the 90 % range over these."), names, shown)),
        "",
        *table_lines(table(tell("What more loss behind a healthy amplifier does."), heads, losses)),
        tell("Much loss costs little G/T there: unnoticed under an open sky, it shows first under trees."),
    ]


def _unless_one(ends: Range) -> Range | None:
    return ends if ends[1] - ends[0] > 1e-9 else None
