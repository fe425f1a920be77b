"""The errors that may leave a room. Everything a user can mend is a `SatdiagError`; anything else is our fault."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SHOWN_PROBLEMS = 20


@dataclass(frozen=True)
class Problem:
    """One thing wrong with an input: where it stands, what was found, and how to mend it."""

    file: str
    what: str
    mend: str
    line: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        where = self.file
        if self.line is not None:
            where += f", line {self.line}"
        if self.column is not None:
            where += f", column '{self.column}'"
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
