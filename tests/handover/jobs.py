"""A small made-up job with all that is awkward to hand over: formulas, blanks, withdrawn rows, the identifier."""

from __future__ import annotations

from functools import cache

from satdiag.analysis import analyse
from satdiag.findings import Findings
from satdiag.job import Job, build_job, extra_columns
from satdiag.rows import Row

RECEIVER_ID = "DEMO0000A7"
SHEET = f"""\
[job]
id = "demo-0007"
opened = 2031-05-03T13:40:00Z
reason = "just-installed"
vehicle = "demo saloon, roof antenna"

[[site]]
name = "yard"
latitude_deg = 41.2
longitude_deg = -96.1
timezone = "America/Chicago"

[receiver]
id = "{RECEIVER_ID}"
level_scale = "dB"

[service]
constellation = "demo-pair"
package = "music"
"""
LINEUP = """\
channel,name,category,packages
31,Copper Lamp,Music,music all
32,=1+1,Music,music all
40,North Ladder,Talk,all
41,Plain Barn,Talk,open
"""
FORMULAS = (
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\ttab",
    "\nline",
    '=HYPERLINK("http://demo.invalid","x")',
    "=cmd|' /C calc'!A0",
)
"""Texts that a spreadsheet program may take for a formula (OWASP, 'CSV Injection')."""


def rows() -> list[Row]:
    """The rows of the job."""
    notes = [Row("2031-05-03T14:20:00Z", "note", text, text, note=text, source="hand") for text in FORMULAS]
    day = "2031-05-03T"
    bench = {"source": "serial:bench", "run": "r"}
    return [
        Row(f"{day}08:40:00-05:00", "place", "vehicle", "open-sky", source="page", id="a-1"),
        Row(f"{day}08:41:00.250-05:00", "signal", "satellite:east", "12.10", "dB", elapsed_s="1.5", **bench),
        Row(f"{day}08:41:01-05:00", "signal", "satellite:east", "-0.5", "dB", elapsed_s="2.5", **bench),
        Row(f"{day}08:42:00-05:00", "signal", "satellite:west", "unreadable", source="serial:bench"),
        Row(f"{day}08:43:00-05:00", "channel", "31", "authorised", source="page", span_s="30", id="a-2"),
        Row(f"{day}08:44:00-05:00", "channel", "32", "refused", source="page", id="a-3"),
        Row(f"{day}08:44:30-05:00", "withdraw", "row", "a-3", source="page", id="a-4"),
        Row(f"{day}08:45:00-05:00", "note", "", f"label says {RECEIVER_ID.lower()}", source="page"),
        Row(f"{day}08:46:00-05:00", "note", "", "_x0041_ and 00123 and 1e5", source="page"),
        *notes,
    ]


def job(*more: Row, sheet: str = SHEET, lineup: str | None = LINEUP, base: bool = True) -> Job:
    """The job with more rows at its end, or with these alone."""
    documents = {"job.toml": sheet.encode()}
    if lineup is not None:
        documents["lineup.csv"] = lineup.encode()
    all_rows = [*(rows() if base else ()), *more]
    extra = extra_columns(all_rows)
    return build_job(documents, all_rows, ",".join(("time,kind,subject,value,unit,source,note", *extra)))


@cache
def job_and_findings() -> tuple[Job, Findings]:
    """The job and what is found of it, made once."""
    made = job()
    return made, analyse(made)
