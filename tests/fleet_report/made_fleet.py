"""Data sets made directly with the tables' schemas: they prove the code against our own model only."""

import hashlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from satdiag.diagnosis.model import load_model
from satdiag.fleet.columns import CLASSES
from satdiag.fleet.dataset import SCHEMAS, arrow, parquet
from satdiag.vocabulary import CLASS_OF, FAULTS

START = datetime(2031, 1, 3, 9, tzinfo=UTC)
PACKAGES = {"demo-music": 0.0, "demo-talk": 0.6, "demo-all": -0.5}
"""How far the log wait of each package lies from the mean."""

MEAN_LOG_S, TAU = float(np.log(900.0)), 0.5


def job(number: int, **own) -> dict:
    """One row of jobs: a job that works, with a fill-in; what is named takes the place of it."""
    started = START + timedelta(days=number)
    text = f"demo-{number}"
    digest = hashlib.sha256(text.encode()).hexdigest()
    row = {
        "key": f"{digest}:test",
        "written": START,
        "analysis": "0/test/0",
        "hash": digest,
        "source": f"fleet/{text}.satjob",
        "place": digest[:24],
        "stamp": digest[:24],
        "bytes": digest,
        "job": text,
        "started": started,
        "ended": started + timedelta(hours=3),
        "region": "America/Chicago",
        "package": "demo-music",
        "receiver": "DE…01",
        "reason": "just-installed",
        "state": "works",
        "class": "none",
        "fault": "none",
        "probability": 0.97,
        "sure": True,
        "conflict_bits": 0.5,
        "arrivals": 12,
        "wait_prior_jobs": 0,
        "learned_jobs": 0,
        "cpu_s": 1.0,
    }
    return {**row, **times(0.2, 0.1), **chances("none", 0.97), **own}


def bad(number: int, error: str = "the header is missing a column", **own) -> dict:
    """One row of jobs that could not be analysed."""
    kept = ("key", "written", "analysis", "hash", "source", "place", "stamp", "bytes", "cpu_s")
    whole = job(number)
    return {
        **{name: whole[name] for name in kept},
        "error": error,
        "error_file": "observations.csv",
        "error_line": 1,
        **own,
    }


def times(hours: float, se: float) -> dict:
    """Columns of the times, all alike: a median in hours whose logarithm has that standard error."""
    low, high = hours * np.exp(-1.6449 * se), hours * np.exp(1.6449 * se)
    names = ("hours_to_half", "hours_to_90", "hours_typical_wait")
    return {f"{name}{end}": float(v) for name in names for end, v in (("", hours), ("_low", low), ("_high", high))}


def chances(class_: str, p: float) -> dict:
    """Columns of the classes: one with p, the others share the rest."""
    return {f"p_{name}": p if name == class_ else (1 - p) / (len(CLASSES) - 1) for name in CLASSES}


def verdict(fault: str, p: float, sure: bool = False) -> dict:
    """Columns of a verdict that names a fault."""
    class_ = CLASS_OF.get(fault, fault)
    state = "works" if fault == "none" else "fault"
    return {"state": state, "class": class_, "fault": fault, "probability": p, "sure": sure, **chances(class_, p)}


def write(directory: Path, jobs: list[dict], evidence: list[dict] = ()) -> Path:
    """The data set in a folder, one file a month and table."""
    parts: dict[tuple[str, str], list[dict]] = {}
    months = {}
    for row in jobs:
        month = "unknown" if row.get("started") is None else f"{row['started']:%Y-%m}"
        months[row["key"]] = month
        parts.setdefault(("jobs", month), []).append(row)
    for row in evidence:
        parts.setdefault(("evidence", months[row["key"]]), []).append(row)
    (directory / "jobs").mkdir(parents=True, exist_ok=True)
    for (name, month), rows in parts.items():
        folder = directory / name / f"month={month}"
        folder.mkdir(parents=True, exist_ok=True)
        parquet.write_table(arrow.Table.from_pylist(rows, schema=SCHEMAS[name]), folder / "made.parquet")
    return directory


def fleet_with_waits(number: int, seed: int) -> list[dict]:
    """Jobs whose log waits are drawn from packages' means, with errors of known size."""
    rng = np.random.default_rng(seed)
    rows = []
    for k in range(number):
        package = sorted(PACKAGES)[k % 3]
        truth = MEAN_LOG_S + PACKAGES[package] + TAU * rng.standard_normal()
        se = float(rng.uniform(0.1, 0.6))
        measured = float(np.exp(truth + se * rng.standard_normal()))
        own = {
            "package": package,
            "region": ("America/Chicago", "America/Denver")[k % 2],
            "receiver": f"DE…{k % 7:02d}",
        }
        rows.append(job(k, **own, **times(measured / 3600.0, se)))
    return rows


def closed_fleet(number: int, seed: int, favourite: str = "antenna-open", often: float = 0.6):
    """Closed jobs, evidence drawn from the packaged rows: one fault comes far more often than packaged priors say."""
    rng = np.random.default_rng(seed)
    model = load_model()
    jobs, evidence = [], []
    for k in range(number):
        fault = favourite if rng.random() < often else str(rng.choice([*FAULTS, "none"]))
        found = [] if fault == "none" else [fault]
        row = job(k, reason="complaint", confirmed_fault=found, **verdict(fault, float(rng.uniform(0.5, 0.99))))
        jobs.append(row)
        for item in list(model.items.values())[:6]:
            states = item.given.get(fault, item.healthy)
            state = item.states[int(rng.choice(len(states), p=states / states.sum()))]
            own = {"item": item.name, "state": state, "family": item.family, "weight_bits": 1.0, "for_fault": fault}
            evidence.append({"key": row["key"], "written": START, "job": row["job"], "soft": None, **own})
    return jobs, evidence
