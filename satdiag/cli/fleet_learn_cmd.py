"""`satdiag fleet learn [DIR]`: learn from all closed jobs of a data set, see what was learned, take it back."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from satdiag.cli.words import moved_share
from satdiag.language import counted

if TYPE_CHECKING:
    from satdiag.diagnosis.counts import FaultCounts
    from satdiag.diagnosis.pooled import Pool
    from satdiag.fleet.pool import Score, Taught

MOST_SHOWN = 8
WORTH_SHOWING = 0.002


@click.command()
@click.argument("directory", metavar="[DIR]", required=False, type=click.Path(path_type=Path))
@click.option("--dry-run", is_flag=True, help="Say what would be learned, and keep nothing.")
@click.option("--anyway", is_flag=True, help="Keep it though held-out jobs are not foretold better.")
@click.option("--forget", is_flag=True, help="Take back what was learned from a fleet.")
@click.option("--json", "as_json", is_flag=True, help="Print what was learned as JSON on standard output.")
def learn(directory: Path | None, dry_run: bool, anyway: bool, forget: bool, as_json: bool) -> None:
    """Learn from the data set that `satdiag fleet SRC... --to DIR` made; without DIR: show what is kept.

    From jobs that a person closed: how often each fault comes and what it looks like. From when channels came: how
    long they take, by package, and how often an account gives nothing. A verdict of satdiag's own teaches nothing.
    Each part is tried on jobs held out in turn and kept in your user folder only where those are foretold better;
    `satdiag analyse` uses it from then on.
    It takes the place of what another fleet taught before.
    """
    if forget and directory is not None:
        raise click.UsageError("--forget takes back what is kept: leave DIR out.")
    if forget:
        _forget()
        return
    if directory is None and (dry_run or anyway):
        raise click.UsageError("--dry-run and --anyway need DIR, the data set to learn from.")
    if directory is None:
        _show_kept(as_json)
        return
    from satdiag.fleet.pool import learn as taught_by

    taught = taught_by(directory)
    pool = taught.pool(anyway)
    if pool is not None and not dry_run:
        _keep(pool)
    if as_json:
        click.echo(json.dumps(_document(taught, pool, dry_run), indent=1, ensure_ascii=False))
        return
    for line in _lines(taught, pool, dry_run, anyway):
        click.echo(line)


def _keep(pool: Pool) -> None:
    from satdiag.kept import POOL
    from satdiag.user_folder import keep

    keep("learned", f"{POOL}.json", pool.text().encode(), {}, replace=True)


def _forget() -> None:
    from satdiag.kept import POOL
    from satdiag.user_folder import find, remove

    if find("learned", POOL) is None:
        click.echo("Nothing of a fleet was kept.", err=True)
        return
    remove("learned", POOL)
    click.echo(
        "Taken back what was learned from a fleet; the packaged figures stand, with your own lessons.", err=True
    )


def _show_kept(as_json: bool) -> None:
    from satdiag.kept import pool_here

    pool = pool_here()
    if as_json:
        click.echo(json.dumps(None if pool is None else json.loads(pool.text()), indent=1, ensure_ascii=False))
        return
    if pool is None:
        click.echo("Nothing of a fleet is kept: name the folder of a data set to learn from it.")
        return
    for line in _kept_lines(pool):
        click.echo(line)
    click.echo("`satdiag fleet learn --forget` takes it back.")


# --- in words ----------------------------------------------------------------------------------------------------


def _lines(taught: Taught, pool: Pool | None, dry_run: bool, anyway: bool) -> list[str]:
    lines = [f"Closed jobs: {taught.closed}. Jobs that tell how long channels took: {taught.wait_jobs}."]
    lines += [f"  left out: {number} ({why})" for why, number in taught.left_out.items()]
    lines += ["", "Faults: the chance of what was found, of jobs held out in turn."]
    lines += _score_lines(taught.fault_score, "no closed job")
    lines += ["", "Waits: the density of the typical wait as it was measured, of jobs held out in turn."]
    lines += _score_lines(taught.wait_score, "too few jobs that tell how long channels took")
    if taught.fit is not None:
        lines += _fit_lines(taught)
    lines += ["", "Dead accounts: the likelihood of a job's checks, of jobs held out in turn."]
    lines += _score_lines(taught.dead_score, "too few jobs whose checks tell whether the account is alive")
    lines.append("")
    if pool is None:
        return [*lines, *_nothing_lines(taught)]
    if dry_run:
        lines.append("Would be kept (--dry-run keeps nothing):")
    else:
        scores = (taught.fault_score, taught.wait_score, taught.dead_score)
        all_rise = all(score.rises for score in scores if score is not None)
        lines.append("Kept, though not every score rises:" if anyway and not all_rise else "Kept:")
    return [*lines, *_kept_lines(pool)]


def _nothing_lines(taught: Taught) -> list[str]:
    """Why nothing is kept, and what stands instead."""
    from satdiag.kept import pool_here

    if taught.fault_score is None and taught.wait_score is None and taught.dead_score is None:
        lines = ["Nothing is kept: this data set has nothing to learn from."]
    else:
        lines = ["Nothing is kept: no score rises beyond its standard error. --anyway keeps it all the same."]
    if pool_here() is not None:
        lines.append("What a fleet taught before stands as it was; `satdiag fleet learn --forget` takes it back.")
    return lines


def _score_lines(score: Score | None, none: str) -> list[str]:
    if score is None:
        return [f"  nothing to learn: {none}."]
    said = f"  {counted(score.jobs, 'job')}: mean log score {score.before:.3f} before, {score.after:.3f} after"
    verdict = "it rises" if score.rises else "it does not rise beyond its standard error"
    return [f"{said}; change {score.rise:+.3f} (standard error {score.rise_se:.3f}): {verdict}."]


def _fit_lines(taught: Taught) -> list[str]:
    fit = taught.fit
    if fit is None:
        return []
    low, high = fit.tau_90
    return [
        f"  typical wait of all: {_minutes(fit.mean)}; jobs of a package scatter by a factor of "
        f"{math.exp(fit.tau):.2f} ({math.exp(low):.2f} to {math.exp(high):.2f}), packages by "
        f"{math.exp(fit.omega):.2f}."
    ]


def _kept_lines(pool: Pool) -> list[str]:
    lines = []
    if pool.faults is not None:
        lines += _fault_lines(pool.faults)
    for package, wait in pool.waits.items():
        if wait.mean_log_s is None:
            continue
        low, high = (_minutes(wait.mean_log_s + z * wait.sd_log) for z in (-1.6449, 1.6449))
        name = f"package '{package}'" if package else "any other package"
        lines.append(f"  typical wait, {name}: {_minutes(wait.mean_log_s)} (90 % of jobs: {low} to {high})")
    if pool.dead is not None:
        from satdiag.entitlement.grid import Priors

        share = moved_share({"before": Priors().account_dead, "now": pool.dead.share})
        lines.append(f"  account that gives nothing, by {counted(pool.dead.jobs, 'job')}: {share}")
    return lines


def _fault_lines(counts: FaultCounts) -> list[str]:
    from satdiag.fleet.pool import moved

    lines = [
        f"  {counted(counts.jobs, 'closed job')}, counted as {counts.weight:.1f}; beside them the packaged priors "
        f"count as {counted(round(counts.strength), 'vehicle')}."
    ]
    found = moved(counts)
    for key, line in (
        ("priors", "  {reason}: {fault} {moved}"),
        ("kinds", "  {fault}, kind {kind}: {moved}"),
        ("rows", "  {item} '{state}' given {fault}: {moved}"),
    ):
        far = [one for one in found[key] if abs(one["now"] - one["before"]) >= WORTH_SHOWING]
        lines += [line.format(**one, moved=moved_share(one)) for one in far[:MOST_SHOWN]]
    return lines


def _minutes(log_s: float) -> str:
    minutes = math.exp(log_s) / 60.0
    return f"{minutes:.1f} min" if minutes < 10.0 else f"{minutes:.0f} min"


# --- as JSON -----------------------------------------------------------------------------------------------------


def _document(taught: Taught, pool: Pool | None, dry_run: bool) -> dict[str, Any]:
    def score(one: Score | None) -> dict[str, Any] | None:
        return None if one is None else {**vars(one), "rises": one.rises}

    fit = taught.fit
    return {
        "schema": 1,
        "closed": taught.closed,
        "wait_jobs": taught.wait_jobs,
        "left_out": dict(taught.left_out),
        "faults": score(taught.fault_score),
        "waits": score(taught.wait_score),
        "dead": score(taught.dead_score),
        "strength": None if taught.faults is None else taught.faults.strength,
        "wait_fit": None
        if fit is None
        else {
            "mean_log_s": fit.mean,
            "mean_se": fit.mean_se,
            "tau": fit.tau,
            "tau_90": fit.tau_90,
            "omega": fit.omega,
        },
        "kept": pool is not None and not dry_run,
        "pool": None if pool is None else json.loads(pool.text()),
    }
