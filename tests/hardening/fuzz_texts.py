"""The parsers of a job's own files, and of what a person keeps; each with sound inputs to start from."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

from satdiag.csv_text import decode
from satdiag.folder import export_files, job_hash, parse_observations
from satdiag.job import Job, build_job, normalised
from tests.bad_folders import SOUND
from tests.hardening.fuzz_changes import JSON, TABLE
from tests.hardening.fuzz_engine import Parser
from tests.legal_jobs import RING

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "sample_logs"
DOCUMENTS = {name: text.encode() for name, text in SOUND.items() if name != "observations.csv"}


def samples(name: str, most: int = 4000) -> list[bytes]:
    """That file of every sample log, long ones shortened to whole lines."""
    found = []
    for place in sorted(SAMPLE.glob(f"*/{name}")):
        data = place.read_bytes()
        found.append(data if len(data) <= most else data[: data.rindex(b"\n", 0, most) + 1])
    return found


# --- the files of a job ------------------------------------------------------------------------------------------


def job_with(name: str, data: bytes) -> Job:
    """The sound job with one file exchanged."""
    if name == "observations.csv":
        header, rows, lines = parse_observations(decode(data, name))
        return build_job(DOCUMENTS, rows, header, lines)
    header, rows, lines = parse_observations(SOUND["observations.csv"])
    return build_job({**DOCUMENTS, name: data}, rows, header, lines)


def there_and_back(name: str) -> Callable[[bytes], str]:
    """A reader of one file of a job: a job that was read comes out of its own export as it went in."""

    def read(data: bytes) -> str:
        job = job_with(name, data)
        files = export_files(job)
        again = job_with(name, files[name])
        assert job_hash(again) == job_hash(job), "the export is not the job"
        assert len(job.log) <= len(job.rows)
        return f"{min(len(job.rows), 9)} rows"

    return read


def _short_logs() -> list[bytes]:
    heads = samples("observations.csv", 900)
    naive = SOUND["observations.csv"].replace("Z,", "+05:45,")
    return [SOUND["observations.csv"].encode(), naive.encode(), *heads[:6]]


def _line_ups() -> list[bytes]:
    return [DOCUMENTS["lineup.csv"], *samples("lineup.csv", 800)[:3]]


def _sheets() -> list[bytes]:
    rare = b"""[job]\nid = 'x1'\nopened = 2031-05-03T13:40:00\nnaive_times = "-05:00"\n[receiver]\nid = "A1"
bias_normal_ma = [15, 80.5]\nbias_learnt_v = [8.0, 8.1, 8.2]\nantenna_gain_dbic = [2, 5]\nnoise_temperature_k = 90
[feed]\nseries_ohm = [1, 2]\n[feedline]\nvelocity_factor = 0.8\nvelocity_factor_range = [0.7, 0.9]\njoints_m = [1, 2]
[supply]\ncode = "A"\nawake_a = 1.5\nbattery_ah = 60\n"""
    return [DOCUMENTS["job.toml"], rare, *samples("job.toml")[:4]]


def _ring(data: bytes) -> str:
    from satdiag.ring_file import parse_ring
    from satdiag.wiring.ring.breaks import locate_break
    from satdiag.wiring.ring.check import check_ring
    from satdiag.wiring.ring.planner import plan_ring

    ring = parse_ring(normalised("ring.toml", data).decode())
    found, plan = check_ring(ring), plan_ring(ring)
    locate_break(ring, dict.fromkeys(ring.node_names[:2], 0))
    return f"{min(len(found.problems), 3)} problems, {min(len(plan.moves), 3)} moves"


def _rings() -> list[bytes]:
    from satdiag.ring_file.starter import starter_text

    started = starter_text(["head-unit", "receiver", "amplifier"], ["receiver"], 4)
    whole = re.sub(r"^# (?=\[\[|[a-z_]+ = )", "", started, flags=re.MULTILINE)
    return [RING.format(role='"head"').encode(), started.encode(), whole.encode()]


# --- what a person keeps -----------------------------------------------------------------------------------------


def _learned(data: bytes) -> str:
    from satdiag.diagnosis.lessons import lesson_from
    from satdiag.signal.open_sky import open_sky_from
    from satdiag.user_folder import parse_learned

    value = parse_learned(decode(data, "x.json"), "x.json")
    if "stays" in value:
        return f"{min(len(open_sky_from(value, 'x.json').stays), 3)} stays"
    lesson = lesson_from(value, "x.json")
    lesson.text().encode()
    return f"lesson {len(lesson.evidence)}"


def _learned_use(data: bytes) -> str:
    """A lesson that is taken also moves the model without breaking it."""
    from satdiag.diagnosis.learning import learned_model
    from satdiag.diagnosis.lessons import lesson_from
    from satdiag.diagnosis.model import load_model
    from satdiag.user_folder import parse_learned

    lesson = lesson_from(parse_learned(decode(data, "x.json"), "x.json"), "x.json")
    learned_model(load_model(), [lesson])
    return f"model {len(lesson.faults)}"


_LESSON = json.dumps(
    {
        "form": 1,
        "job": "demo-1",
        "hash": "0" * 64,
        "reason": "just-installed",
        "faults": ["antenna-open"],
        "evidence": {"bias_current": "none"},
    }
).encode()
_STAYS = json.dumps(
    {
        "form": 1,
        "receiver": "•••123",
        "stays": [
            {"job": "a", "path": "satellite:x", "unit": "dB", "level": 9.5, "error": 0.5, "by": "mask", "at": None}
        ],
    }
).encode()


def _receiver_values(data: bytes) -> str:
    from satdiag.user_folder import parse_receiver_values

    return f"{len(parse_receiver_values(decode(data, 'r.toml'), 'r.toml'))} keys"


TEXT_PARSERS: tuple[Parser, ...] = (
    Parser("observations", _short_logs, there_and_back("observations.csv"), TABLE),
    Parser("job.toml", _sheets, there_and_back("job.toml")),
    Parser("line-up", _line_ups, there_and_back("lineup.csv"), TABLE),
    Parser("horizon", lambda: [DOCUMENTS["horizon.csv"]], there_and_back("horizon.csv"), TABLE),
    Parser("obstacles", lambda: [DOCUMENTS["obstacles.csv"]], there_and_back("obstacles.csv"), TABLE),
    Parser("ring.toml", _rings, _ring),
    Parser("learned", lambda: [_LESSON, _STAYS], _learned, JSON),
    Parser("lesson-used", lambda: [_LESSON], _learned_use, JSON),
    Parser(
        "receiver-values", lambda: [b'[receiver]\nlevel_scale = "dB"\nbias_normal_ma = [15, 80]\n'], _receiver_values
    ),
)
