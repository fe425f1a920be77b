"""The errors that may leave a room. Everything a user can mend is a `SatdiagError`; anything else is our fault."""

from __future__ import annotations

import sys
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

SHOWN_PROBLEMS = 20


def shown(text: str, most: int = 60) -> str:
    """A text from an input for messages: a long one cut short, what cannot be seen as an escape."""
    cut = text if len(text) <= most else text[: most - 10] + "..."
    return "".join(mark if mark.isprintable() else mark.encode("unicode_escape").decode() for mark in cut)


def named(names: Collection[str], most: int = 20) -> str:
    """Names from an input for messages: the first ones, and how many more there are; 'none' of none."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(shown(name) for name in islice(names, most)) + more or "none"


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input: where it stands, what was found, and how to mend it."""

    file: str
    what: str
    mend: str
    line: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        where = shown(self.file, 300)
        if self.line is not None:
            where += f", line {self.line}"
        if self.column is not None:
            where += f", column '{shown(self.column)}'"
        return f"{where}: {self.what}. {self.mend}"


class SatdiagError(Exception):
    """Something the user can mend. The command line prints it in one piece and exits with code 2."""


class BadInput(SatdiagError):
    """A file that cannot be taken as it is. Example: a level of 'eleven' in observations.csv."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(str(self))

    def __str__(self) -> str:
        lines = [str(problem) for problem in self.problems[:SHOWN_PROBLEMS]]
        if len(self.problems) > SHOWN_PROBLEMS:
            lines.append(f"... and {len(self.problems) - SHOWN_PROBLEMS} more; {len(self.problems)} in all.")
        return "\n".join(lines)


def bad_input(file: str, what: str, mend: str, line: int | None = None, column: str | None = None) -> BadInput:
    """A `BadInput` with a single problem."""
    return BadInput([Problem(file, what, mend, line, column)])


class NotAJob(SatdiagError):
    """The path is neither a job folder nor a job file. Example: a picture, or a folder without job.toml."""


class StoreProblem(SatdiagError):
    """A job file cannot be opened, is not whole, or cannot be written. Example: a newer schema, a full disk."""


class StoreWaits(StoreProblem):
    """A job file cannot be written just now; nothing was lost, and the same may be tried again.

    Example: a full disk, while the recording goes on.
    """


class MissingPart(SatdiagError):
    """An optional part is not installed. Example: the page without the extra 'page'."""


def how_to_install(extra: str) -> str:
    """How to install an optional part: by the pip of the Python that runs satdiag, not just any."""
    return f'Install it with: pip install "satdiag[{extra}]" (the pip in {Path(sys.executable).parent})'
