"""The job's own rows, for the table at the end of the report: every one of them, at the place's own time; of a very
long log the first and the last.

The page holds all rows as JSON and its script shows them in parts; the first few stand in the HTML itself, so that
they are there without a script too.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from satdiag.job import Job
from satdiag.language import mark, spoken, tell, translated
from satdiag.report.local_time import LocalTime

SHOWN_WITHOUT_SCRIPT = 50
SHOWN_AT_ONCE = 50
PRINTED = 200
MOST_ROWS = 200_000
"""In one page, which is some 15 MB with them."""

SAID = {
    "shown": mark("Rows {first} to {last} of {found} that fit; the log has {all}."),
    "none": mark("No row fits; the log has {all}."),
    "printed": mark("Printed here: {printed} of {found} rows. The job file holds all of them."),
}


@dataclass(frozen=True)
class Appendix:
    """Rows as `heads` name them, with 1 at the end of a row that was withdrawn; `all` are in the log.

    `kinds` and `places` are there to choose from; `said` are the sentences that the page's script fills in.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str | int, ...], ...]
    kinds: tuple[str, ...]
    places: tuple[str, ...]
    said: Mapping[str, str]
    language: str
    all: int

    @property
    def data(self) -> dict[str, object]:
        """What the page's script reads."""
        sizes = {"atOnce": SHOWN_AT_ONCE, "printed": PRINTED}
        texts = {"said": self.said, "language": self.language}
        return {"heads": self.heads, "rows": self.rows, "all": self.all, **texts, **sizes}

    @property
    def first(self) -> tuple[tuple[str | int, ...], ...]:
        """The rows that stand in the HTML."""
        return self.rows[:SHOWN_WITHOUT_SCRIPT]


def appendix_of(job: Job, local: LocalTime, clean: Callable[[str], str]) -> Appendix | None:
    """The rows of a job in the order of its file, every text masked by `clean`; None without rows."""
    frame = job.observations
    if frame.empty:
        return None
    count, places = len(frame), _places(job, frame)
    if count > MOST_ROWS:
        kept = np.concatenate([np.arange(MOST_ROWS // 2), np.arange(count - MOST_ROWS // 2, count)])
        frame, places = frame.iloc[kept], [places[number] for number in kept]
    columns = (
        _clock(frame, local),
        frame["subject"],
        frame["kind"].astype(str),
        frame["value"],
        frame["unit"].astype(str),
        places,
        frame["note"],
    )
    texts = [[clean(str(text)) for text in column] for column in columns]
    rows = tuple(zip(*texts, frame["withdrawn"].astype(int).tolist(), strict=True))
    said = {name: translated(text) for name, text in SAID.items()}
    return Appendix(_heads(), rows, _each(texts[2]), _each(texts[5]), said, spoken(), count)


def _heads() -> tuple[str, ...]:
    return (
        tell("time"),
        tell("of"),
        tell("kind"),
        tell("value"),
        tell("unit"),
        tell("place"),
        tell("note"),
    )


def _each(texts: Sequence[str]) -> tuple[str, ...]:
    return tuple(sorted(set(texts) - {""}))


def _clock(frame: pd.DataFrame, local: LocalTime) -> list[str]:
    """Each row's time of the place, with milliseconds where the row has them."""
    wall = pd.DatetimeIndex(frame["time"]).tz_localize("UTC").tz_convert(local.zone)
    whole = wall.strftime("%Y-%m-%d %H:%M:%S")
    return [
        f"{text}.{part:03d}" if part else text for text, part in zip(whole, wall.microsecond // 1000, strict=True)
    ]


def _places(job: Job, frame: pd.DataFrame) -> list[str]:
    """Where the vehicle stood at each row: by the last `site` row until then, at first the sheet's first site."""
    first = job.sheet.sites[0].name if job.sheet.sites else ""
    moves = frame[(frame["kind"] == "site").to_numpy() & ~frame["withdrawn"].to_numpy()].sort_values("time")
    at = np.searchsorted(moves["time"].to_numpy(), frame["time"].to_numpy(), side="right")
    names = [first, *(str(name) for name in moves["value"])]
    return [names[index] for index in at]
