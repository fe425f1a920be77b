"""Why a job could not be analysed, without its path: what is alike for many jobs is one reason."""

from __future__ import annotations

import re

_ABOVE = r"(?:/|[A-Za-z]:[/\\])(?:[^\n:]*[/\\])?"
"""The folders above a path that was given as seen from one of them."""


def reason_of(error: str, source: str) -> str:
    """The error of a job without the path of the job, for which '…' stands where it is not left out at the start."""
    for path in (source, source.replace("/", "\\"), source.replace("\\", "/")):
        path = path.removeprefix("./").removeprefix(".\\")
        if path:
            error = re.sub(rf"^({_ABOVE})?{re.escape(path)}(?=[:/\\]|$)", "…", error)
        if "/" in path or "\\" in path:
            error = re.sub(rf"(?<![\w.-]){re.escape(path)}(?![\w.-])", "…", error)
    return error.removeprefix("…: ")
