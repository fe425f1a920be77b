"""`satdiag note JOB KIND SUBJECT VALUE [UNIT]`: an observation by hand, or the withdrawal of one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import click

from satdiag.errors import bad_input
from satdiag.vocabulary import KINDS

if TYPE_CHECKING:
    from satdiag.rows import Row


@click.command(
    # A level may be negative: '-71.2' is a value, not an option.
    context_settings={"ignore_unknown_options": True},
    epilog=f"Kinds: {', '.join(KINDS)}. `satdiag docs log` says what each takes.",
)
@click.argument("job", type=click.Path(path_type=Path))
@click.argument("kind", required=False)
@click.argument("subject", required=False)
@click.argument("value", required=False)
@click.argument("unit", default="")
@click.option("--at", "at", metavar="TIME", help="When it was, e.g. 2031-05-03T08:40:00-05:00; default: now.")
@click.option("--span", "span_s", metavar="SECONDS", default="", help="It covers this many seconds before that time.")
@click.option("--source", default="hand", show_default=True, help="Who or what saw it.")
@click.option("--text", "text", default="", help="A remark to keep beside it.")
@click.option("--withdraw", metavar="ID", help="Take back the row with this id: it is kept, marked and not used.")
def note(
    job: Path,
    kind: str | None,
    subject: str | None,
    value: str | None,
    unit: str,
    at: str | None,
    span_s: str,
    source: str,
    text: str,
    withdraw: str | None,
) -> None:
    """Add what you see to JOB, a job file or a job folder: e.g. `satdiag note my-job channel 31 refused`.

    The new row's id is printed; name it to --withdraw if the row was a mistake.
    """
    from satdiag.rows import Row

    if withdraw is not None:
        if kind is not None:
            raise click.UsageError("--withdraw takes no KIND, SUBJECT and VALUE.")
        kind, subject, value = "withdraw", "row", withdraw
    if kind is None or subject is None or value is None:
        raise click.UsageError(_what_is_missing(kind, subject))
    time = at or datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    added = _add(job, Row(time, kind, subject, value, unit, source, text, span_s))
    words = " ".join(part for part in (added.kind, added.subject, added.value, added.unit) if part)
    click.echo(f"{added.id}: {added.time} {words}")


def _what_is_missing(kind: str | None, subject: str | None) -> str:
    from satdiag.vocabulary import entry_of, subjects_of, values_text

    if kind is None or kind not in KINDS:
        return f"Say what you saw: KIND SUBJECT VALUE [UNIT]. Kinds: {', '.join(KINDS)}."
    entry = entry_of(kind, subject) if subject is not None else None
    if subject is None or entry is None:
        return f"'{kind}' needs a SUBJECT and a VALUE. Subjects: {subjects_of(kind)}."
    units = f" in {', '.join(entry.units)}" if entry.units else ""
    return f"'{kind} {subject}' needs a VALUE. Allowed: {values_text(entry)}{units}."


def _add(job: Path, row: Row) -> Row:
    """Append the row with a fresh id 'hand-N'."""
    from satdiag.opening import add_rows, open_job

    rows = open_job(job).rows
    if row.kind == "withdraw":
        _refuse_idle(row.value, rows)
    taken = {old.id for old in rows}
    named = row._replace(id=next(text for n in count(1) if (text := f"hand-{n}") not in taken))
    add_rows(job, [named])
    return named


def _refuse_idle(named: str, rows: Sequence[Row]) -> None:
    """A withdrawal that would change nothing is refused: whoever makes it expects something else of it."""
    if any(old.kind == "withdraw" and old.value == named for old in rows):
        raise bad_input("the new row", f"{named} is taken back already", "Nothing is left to do.")
    if any(old.id == named and old.kind == "withdraw" for old in rows):
        mend = "What was taken back by mistake is noted anew, with --at for its time."
        raise bad_input("the new row", f"{named} takes a row back, and that cannot be undone", mend)
