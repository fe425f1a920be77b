"""The section on how the report was made: the method, the settings of the analysis, the versions, rows taken back."""

from __future__ import annotations

import platform
from collections.abc import Collection
from importlib.metadata import PackageNotFoundError, version

from satdiag.findings import Findings
from satdiag.folder import job_hash
from satdiag.job import Job
from satdiag.language import listed, mark, tell, tell_many, translated
from satdiag.report.figure import Cell, Table, table
from satdiag.report.local_time import LocalTime, utc
from satdiag.report.section import Section

LIBRARIES = ("numpy", "scipy", "pandas", "plotly")
AIMS = {"repair": mark("the least work in all"), "proof": mark("a verdict that is sure")}
METHOD = (
    mark(
        "Every figure comes from the log alone; the tool only listens. Ranges in brackets are meant to hold the true "
        "value nine times in ten."
    ),
    mark(
        "Time listened counts only while the receiver was awake and received, as far as the log proves it: channel "
        "authorisations reach it at no other time."
    ),
    mark(
        "Waits come from a model of channels that arrive one after another, some of which never will; a wait runs on "
        "listening time."
    ),
    mark(
        "Causes are weighed by probability against each other, alone and in pairs, with what each would show. Their "
        "starting values are judgements of the trade."
    ),
)


def method_section(job: Job, findings: Findings, local: LocalTime, can: Collection[str] | None = None) -> Section:
    """How the report was made, of what, with which settings and by which versions.

    `can`: what the person said they have or can do (see `satdiag.analyse`); None: not said.
    """
    withdrawn = _withdrawn(job, local)
    tables = (_settings(findings, can), _made_of(job, findings), *((withdrawn,) if withdrawn else ()))
    title = tell("How this was worked out")
    return Section("method", title, tuple(translated(text) for text in METHOD), tables=tables)


def _settings(findings: Findings, can: Collection[str] | None) -> Table:
    """The choices that move an analysis, whether they were made or left as packaged."""
    jobs = findings.diagnosis.learned_jobs
    beside = findings.diagnosis.beside
    kept = any(path.expected_from == "remembered" for path in findings.signal.paths.values())
    learned = (
        tell_many("moved by {n} closed job learned from", "moved by {n} closed jobs learned from", jobs)
        if jobs
        else tell("as packaged, nothing learned")
    )
    others = findings.entitlement.wait_prior_jobs
    waits = tell_many("with what {n} other job showed", "with what {n} other jobs showed", others)
    rows = [
        (tell("figures of the diagnosis"), learned),
        *([(tell("how long channels take"), waits)] if others else []),
        (tell("receiver beside"), beside.reference or tell("not known") if beside else tell("none")),
        (tell("levels under an open sky from other jobs"), tell("used") if kept else tell("not used")),
        (tell("tests offered"), tell("all") if can is None else tell("with: {what}", what=listed(sorted(can)))),
        (tell("tests chosen for"), translated(AIMS[findings.diagnosis.aim])),
        (tell("faults at once, at most"), str(findings.diagnosis.sets_up_to)),
    ]
    return table(tell("The settings of the analysis."), (tell("setting"), tell("value")), rows)


def _made_of(job: Job, findings: Findings) -> Table:
    rows = [
        ("satdiag", findings.satdiag),
        (tell("schema of the findings"), str(findings.schema)),
        ("Python", platform.python_version()),
        *((name, _version(name)) for name in LIBRARIES),
        (tell("rows in the log"), str(len(job.rows))),
        (tell("rows overridden by a later one"), str(job.overridden_rows)),
        (tell("fingerprint of the log (SHA-256)"), job_hash(job)),
    ]
    return table(tell("What this report was made with and from."), (tell("what"), tell("value")), rows)


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return tell("not known")


def _withdrawn(job: Job, local: LocalTime) -> Table | None:
    """Rows taken back: kept and shown, struck through."""
    frame = job.observations
    taken = frame[frame["withdrawn"]]
    if taken.empty:
        return None
    parts = zip(taken["time"].to_numpy(), taken["kind"], taken["subject"], taken["value"], strict=True)
    rows: list[tuple[str | Cell, ...]] = [
        (
            f"{local.wall(utc(at)):%Y-%m-%d %H:%M:%S}",
            *(Cell(str(part), struck=True) for part in (kind, subject, value)),
        )
        for at, kind, subject, value in parts
    ]
    heads = (tell("time"), tell("kind"), tell("of"), tell("value"))
    return table(tell("Rows that were withdrawn and not used."), heads, rows)
