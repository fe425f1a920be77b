"""Every figure of the report as a picture, each with a text beside it that says what it shows and in which units.

Drawn by kaleido in a browser that is installed here; nothing is fetched from the net.
"""

from __future__ import annotations

import html
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from satdiag.errors import SatdiagError
from satdiag.findings import Findings
from satdiag.handover.drawing import ORDER
from satdiag.handover.extras import needed
from satdiag.handover.masking import Clean, clean_document, cleaner
from satdiag.job import Job
from satdiag.language import tell
from satdiag.report.figure import Figure
from satdiag.report.local_time import local_time_of
from satdiag.report.sections import sections_of

Format = Literal["png", "svg"]
FORMATS: tuple[Format, ...] = ("png", "svg")
WIDTH_PX = 960
SCALE = {"png": 2, "svg": 1}
"""PNG is drawn twice as dense, so that it prints well."""

ONE_S, START_S = 60, 60
"""How long one figure, and the start of the browser, may take."""


@dataclass(frozen=True)
class Picture:
    """A figure as a file: its name without ending, the picture, and the text that goes with it."""

    name: str
    data: bytes
    text: str


def pictures(
    job: Job, findings: Findings, kind: Format, browser: Path | None, full_id: bool = False
) -> list[Picture]:
    """All figures of the report in the order of the page, in the language in use.

    `browser`: the program to draw with; None: none is installed. Raises MissingPart, SatdiagError.
    """
    needed("kaleido", "figures", "A figure as a file")
    if browser is None:
        raise SatdiagError(
            "Figures as files are drawn by a browser, and none was found. Install Chromium, Chrome or Edge, or name "
            "its program in the environment variable SATDIAG_BROWSER. The report itself "
            "(`satdiag analyse JOB --report FILE.html`) needs none."
        )
    clean = cleaner(job, full_id)
    figures = report_figures(job, findings)
    drawn = _drawn([_spec(figure, clean) for figure in figures], kind, browser)
    about = local_time_of(job).sentence
    return [
        Picture(f"{number:02d}-{figure.name}", data, clean(caption_text(figure, job.sheet.id, about)))
        for number, (figure, data) in enumerate(zip(figures, drawn, strict=True), 1)
    ]


def report_figures(job: Job, findings: Findings) -> list[Figure]:
    """The figures of the report, in the order of the page."""
    sections = sections_of(job, findings, local_time_of(job))
    return [figure for section in sections for figure in section.figures]


def caption_text(figure: Figure, job: str, times: str) -> str:
    """What a figure shows, its axes with their units, and what stands in the tables behind it."""
    axes = list(_axes(figure.spec))
    lines = [figure.caption, "", figure.alt, ""]
    lines += [tell("Axes and units: {axes}.", axes="; ".join(axes))] if axes else []
    lines += [times, tell("Job {job}.", job=job)]
    for table in figure.tables:
        lines += ["", table.caption, " | ".join(table.heads)]
        lines += [" | ".join(cell.text for cell in row) for row in table.rows]
    return "\n".join(lines) + "\n"


def _axes(spec: Mapping[str, Any]) -> Iterator[str]:
    """The titles of a figure's axes, which name their units; without any, the words set beside its parts."""
    layout = spec.get("layout", {})
    titles = [part.get("title") for key, part in layout.items() if "axis" in key and isinstance(part, dict)]
    texts = [str(title.get("text", "") if isinstance(title, dict) else title or "") for title in titles]
    if not any(texts):
        texts = [str(note.get("text", "")) for note in layout.get("annotations", ())]
    yield from dict.fromkeys(html.unescape(re.sub(r"<[^>]*>", " ", text)).strip() for text in texts if text)


def _spec(figure: Figure, clean: Clean) -> dict[str, Any]:
    """The drawing on white ground at a fixed width."""
    spec: dict[str, Any] = clean_document(figure.spec, clean)
    look = {"width": WIDTH_PX, "autosize": False, "paper_bgcolor": "#ffffff"}
    return {**spec, "layout": {**spec.get("layout", {}), **look}}


def _drawn(specs: Sequence[dict[str, Any]], kind: Format, browser: Path) -> list[bytes]:
    """The drawings, made by a process of its own that is ended when its time is over. Raises SatdiagError."""
    order = {"specs": specs, "format": kind, "scale": SCALE[kind], "browser": str(browser), "one_s": ONE_S}
    try:
        with tempfile.TemporaryDirectory(prefix="satdiag-figures-", ignore_cleanup_errors=True) as name:
            folder = Path(name)
            (folder / ORDER).write_text(json.dumps(order), encoding="utf-8")
            why = _run(folder, START_S + ONE_S * len(specs))
            made = [folder / f"{number}.{kind}" for number in range(len(specs))]
            if not why and all(place.is_file() for place in made):
                return [place.read_bytes() for place in made]
    except OSError as error:
        why = error.strerror or str(error)
    raise SatdiagError(
        f"The figures could not be drawn with {browser} ({why or 'not all were made'}). Nothing was written. Does "
        "the browser start when you open it by hand? Another one may be named in SATDIAG_BROWSER."
    )


def _run(folder: Path, limit_s: float) -> str:
    """Draw what is ordered in the folder; why that failed, blank if it did not. All that was started ends with it."""
    command = [sys.executable, "-m", "satdiag.handover.drawing", str(folder)]
    said = folder / "said.txt"
    with said.open("wb") as out:
        process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT, start_new_session=os.name != "nt"
        )
        try:
            code = process.wait(limit_s)
        except subprocess.TimeoutExpired:
            return f"it did not finish within {limit_s:.0f} s"
        finally:
            _stop(process)
    lines = said.read_text("utf-8", errors="replace").strip().splitlines()
    return "" if code == 0 else " ".join(lines[-1].split())[:200] if lines else f"it ended with code {code}"


def _stop(process: subprocess.Popen[bytes]) -> None:
    """End the process and what it started, if it has not ended by itself."""
    if process.poll() is None:
        if sys.platform == "win32":
            subprocess.run(["taskkill", "/T", "/F", "/PID", str(process.pid)], capture_output=True, check=False)
        else:
            os.killpg(process.pid, signal.SIGKILL)
    process.wait()
