"""`satdiag learn`: let closed jobs move what the diagnosis believes, see what they moved, and take them back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from satdiag.cli.words import moved_share
from satdiag.language import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from satdiag.diagnosis.lessons import Lesson

MOST_SHOWN = 8
WORTH_SHOWING = 0.002


@click.command()
@click.argument("paths", type=click.Path(path_type=Path), nargs=-1, metavar="[JOBS]...")
@click.option("--forget", metavar="ID", multiple=True, help="Take back what the job of that id taught.")
@click.option("--forget-all", is_flag=True, help="Take back everything that was learned.")
@click.option("--json", "as_json", is_flag=True, help="Print what was learned as JSON on standard output.")
def learn(paths: tuple[Path, ...], forget: tuple[str, ...], forget_all: bool, as_json: bool) -> None:
    """Learn from closed jobs: how often each fault comes, and what it looks like.

    JOBS are job folders or job files in which somebody wrote down what it turned out to be (`satdiag note JOB finding
    FAULT confirmed`; `none confirmed` where nothing was wrong). A verdict of satdiag's own teaches nothing. What is
    learned is kept in your user folder and used by `satdiag analyse`. Without JOBS: show what was learned so far.
    """
    from satdiag.kept import lesson_name, lessons_kept
    from satdiag.user_folder import remove

    for name in [*forget, *(lesson.job for lesson in lessons_kept() if forget_all)]:
        remove("learned", lesson_name(name))
    said = [_learn_from(path) for path in paths]
    for text in said:
        click.echo(text, err=True)
    kept = lessons_kept()
    document = _document(kept)
    if as_json:
        click.echo(json.dumps(document, indent=1, ensure_ascii=False))
    else:
        _show(document)


def _learn_from(path: Path) -> str:
    """Keep the lesson of a job; what happened, in a sentence. Raises BadInput, SatdiagError."""
    import satdiag
    from satdiag.analysis import lesson_of
    from satdiag.kept import lesson_name, lessons_kept
    from satdiag.user_folder import keep

    job = satdiag.open_job(path)
    lesson = lesson_of(job)
    if lesson is None:
        mend = f"`satdiag note {path} finding FAULT confirmed` closes it"
        return f"{job.sheet.id}: not closed, nothing learned ({mend})."
    before = next((one for one in lessons_kept() if one.job == lesson.job), None)
    if before == lesson:
        return f"{lesson.job}: known already."
    keep("learned", f"{lesson_name(lesson.job)}.json", lesson.text().encode(), {}, replace=True)
    again = "" if before is None else " (in the place of what it taught before)"
    return f"{lesson.job}: learned: {', '.join(sorted(lesson.faults)) or 'nothing was wrong'}{again}."


def _document(kept: Sequence[Lesson]) -> dict[str, Any]:
    """What was learned: counts, and how far it moved what is believed."""
    from satdiag.diagnosis.learning import learned_model, moved_priors, moved_rows, moved_shares
    from satdiag.diagnosis.model import load_model

    model = load_model()
    learned = learned_model(model, kept)
    counts: dict[str, int] = {}
    for lesson in kept:
        for fault in lesson.faults or {"none"}:
            counts[fault] = counts.get(fault, 0) + 1
    moved = learned.model or model
    return {
        "jobs": learned.jobs,
        "weight": round(learned.weight, 2),
        "found": dict(sorted(counts.items(), key=lambda one: (-one[1], one[0]))),
        "priors": [vars(one) for one in moved_priors(model, moved)],
        "kinds": [vars(one) for one in moved_shares(model, moved)],
        "rows": [vars(one) for one in moved_rows(model, moved)],
        "lessons": [
            {"job": one.job, "hash": one.hash, "reason": one.reason, "faults": sorted(one.faults)} for one in kept
        ],
    }


def _show(document: dict[str, Any]) -> None:
    from rich.console import Console

    console = Console(highlight=False, soft_wrap=True)
    if not document["jobs"]:
        console.print("Nothing was learned yet: the packaged figures stand. Name closed jobs to learn from them.")
        return
    worth = f"counted as {document['weight']:g}, since a finding that its evidence denies may be wrong"
    console.print(f"{counted(document['jobs'], 'closed job')}; {worth}.", markup=False)
    for fault, count in document["found"].items():
        console.print(f"  {count:4d}  {fault}", markup=False)
    for title, key, line in (
        ("How often it comes (before, now)", "priors", "{reason}: {fault} {moved}"),
        ("In which kind it comes (before, now)", "kinds", "{fault}: {kind} {moved}"),
        ("What it looks like (before, now)", "rows", "{item} '{state}' given {fault}: {moved}"),
    ):
        moved = [one for one in document[key] if abs(one["now"] - one["before"]) >= WORTH_SHOWING]
        if moved:
            console.print(f"\n{title}", style="bold", markup=False)
        for one in moved[:MOST_SHOWN]:
            console.print("  " + line.format(**one, moved=moved_share(one)), markup=False)
    console.print("\n`satdiag learn --forget ID` takes one back, `--forget-all` all of them.", markup=False)
