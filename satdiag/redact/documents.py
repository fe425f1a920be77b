"""The other files of a copy, each written anew from its typed form; what has none is left out."""

from __future__ import annotations

import json
import tomllib
from datetime import datetime, timedelta
from typing import Any

from satdiag.csv_text import csv_line
from satdiag.errors import SatdiagError
from satdiag.job import FEEDLINE, Job
from satdiag.redact.names import Names
from satdiag.ring_file import FILE as RING
from satdiag.sky.constellation import FROM_MEMORY, JOB_FILE, packaged_names
from satdiag.tables import HORIZON_COLUMNS, LINEUP_COLUMNS, OBSTACLE_COLUMNS
from satdiag.touchstone import parse_touchstone

DEGREES_DIGITS = 1
"""Positions to a tenth of a degree: 11 km north to south, and less east to west."""
HEIGHT_STEP_M = 100.0

Table = dict[str, Any]


def redacted_documents(job: Job, names: Names, job_id: str, shift_days: int) -> dict[str, bytes]:
    """The files of the copy but observations.csv. Raises SatdiagError."""
    texts = {"job.toml": _sheet(job, names, job_id, shift_days)}
    makers = {
        "lineup.csv": _lineup,
        "horizon.csv": _horizon,
        "obstacles.csv": _obstacles,
        JOB_FILE: _constellation,
        RING: _ring,
        FEEDLINE: _feedline,
    }
    for name in job.documents:
        made = makers[name](job, names) if name in makers else None
        if made is not None:
            texts[name] = made
        elif name != "job.toml":
            names.count(_kind_of(name))
    return {name: text.encode() for name, text in texts.items()}


def _kind_of(name: str) -> str:
    if name.endswith(".nmea"):
        return "captures"
    return "raw files" if name.endswith(".jsonl") else "other files"


# --- job.toml ----------------------------------------------------------------------------------------------------


def _sheet(job: Job, names: Names, job_id: str, shift_days: int) -> str:
    data = tomllib.loads(job.documents["job.toml"].decode())
    head = data["job"]
    for key in ("vehicle", "technician"):
        names.count(f"{key} texts", bool(head.pop(key, "")))
    head["id"] = job_id
    if "opened" in head:
        head["opened"] = _opened(head["opened"], shift_days)
    receiver = data.get("receiver", {})
    names.count("receiver identifiers", bool(receiver.pop("id", "")))
    for site in data.get("site", []):
        _blur(site, names)
    service = data.get("service", {})
    if service.get("package"):
        service["package"] = names.renamed("package", service["package"])
    if service.get("constellation") not in (*packaged_names(), JOB_FILE, None):
        del service["constellation"]
    if JOB_FILE in job.documents and _satellites(job) == [] and service.get("constellation") == JOB_FILE:
        del service["constellation"]
    return toml_text(data)


def _opened(moment: datetime, shift_days: int) -> datetime:
    try:
        return moment + timedelta(days=shift_days)
    except OverflowError:
        raise SatdiagError("The day the job was opened cannot be shifted so far. Shift by less.") from None


def _blur(site: Table, names: Names) -> None:
    site["name"] = names.renamed("site", site["name"])
    for key in ("latitude_deg", "longitude_deg"):
        site[key] = round(float(site[key]), DEGREES_DIGITS)
    names.count("positions")
    if "height_m" in site:
        site["height_m"] = min(max(round(site["height_m"] / HEIGHT_STEP_M) * HEIGHT_STEP_M, -500.0), 9000.0)


# --- tables ------------------------------------------------------------------------------------------------------


def _lineup(job: Job, names: Names) -> str:
    lines = [csv_line(LINEUP_COLUMNS)]
    for one in job.lineup or ():
        names.count("channel names", bool(one.name))
        category = names.renamed("category", one.category) if one.category else ""
        packages = " ".join(sorted(names.renamed("package", word) for word in one.packages))
        lines.append(csv_line([str(one.channel), "", category, packages]))
    return "\n".join(lines) + "\n"


def _horizon(job: Job, names: Names) -> str:
    lines = [csv_line([f"{one.azimuth_deg:g}", f"{one.elevation_deg:g}"]) for one in job.horizon or ()]
    return "\n".join([csv_line(HORIZON_COLUMNS), *lines]) + "\n"


def _obstacles(job: Job, names: Names) -> str:
    lines = [csv_line(OBSTACLE_COLUMNS)]
    for one in job.obstacles or ():
        names.count("notes", bool(one.note))
        numbers = (one.azimuth_from_deg, one.azimuth_to_deg, one.distance_m, one.height_m)
        lines.append(csv_line([*(f"{number:g}" for number in numbers), ""]))
    return "\n".join(lines) + "\n"


def _feedline(job: Job, names: Names) -> str:
    return parse_touchstone(job.documents[FEEDLINE], FEEDLINE).plain_text()


# --- constellation and ring --------------------------------------------------------------------------------------


def _satellites(job: Job) -> list[Table]:
    data = tomllib.loads(job.documents[JOB_FILE].decode())
    return [one for one in data.get("satellite", []) if isinstance(one, dict) and "longitude_deg" in one]


def _constellation(job: Job, names: Names) -> str | None:
    """The satellites that stand still; element sets hold text of their own and are left out."""
    data = tomllib.loads(job.documents[JOB_FILE].decode())
    still = _satellites(job)
    names.count("orbits", len(data.get("satellite", [])) - len(still))
    if not still:
        return None
    kept: Table = {"name": "constellation", **{key: value for key, value in data.items() if not _is_text(value)}}
    kept["satellite"] = [_satellite(one, names) for one in still]
    return toml_text(kept)


def _satellite(one: Table, names: Names) -> Table:
    kept = {key: value for key, value in one.items() if not _is_text(value)}
    status = {"status": FROM_MEMORY} if one.get("status") == FROM_MEMORY else {}
    return {"name": names.renamed("satellite", str(one["name"])), **kept, **status}


def _is_text(value: Any) -> bool:
    return isinstance(value, (str, dict)) or (isinstance(value, list) and any(_is_text(one) for one in value))


def _ring(job: Job, names: Names) -> str:
    data = tomllib.loads(job.documents[RING].decode())
    return toml_text({name: _ring_part(name, part, names) for name, part in data.items()})


def _ring_part(name: str, part: Any, names: Names) -> Any:
    if isinstance(part, list):
        return [_ring_table(name, one, names) for one in part]
    return _ring_table(name, part, names)


def _ring_table(name: str, table: Table, names: Names) -> Table:
    kept: Table = {}
    for key, value in table.items():
        if key in ("role", "supply"):
            names.count("notes", bool(value))
        elif key == "outputs_row" or not _is_text(value):
            kept[key] = value
        elif isinstance(value, list):
            kept[key] = [names.renamed("node", one) for one in value]
        else:
            kept[key] = _ring_name(name, key, value, names)
    return kept


def _ring_name(table: str, key: str, value: str, names: Names) -> str:
    is_block = key == "block" or table == "block" or (table == "bridge" and key in ("from", "to"))
    if is_block:
        return names.renamed("block", value)
    if key in ("upper", "lower"):
        owner, _, side = value.rpartition(".")
        return f"{names.renamed('node', owner)}.{side}"
    return names.renamed("node", value)


# --- TOML --------------------------------------------------------------------------------------------------------


def toml_text(data: Table) -> str:
    """A document of plain keys, tables and lists of tables as TOML."""
    lines = [f"{key} = {_toml(value)}" for key, value in data.items() if not _is_table(value)]
    for name, value in data.items():
        if not _is_table(value):
            continue
        head = f"[[{name}]]" if isinstance(value, list) else f"[{name}]"
        for table in value if isinstance(value, list) else [value]:
            lines += ["", head, *(f"{key} = {_toml(one)}" for key, one in table.items())]
    return "\n".join(lines).lstrip("\n") + "\n"


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and any(isinstance(one, dict) for one in value))


def _toml(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.isoformat()
    return "[" + ", ".join(_toml(one) for one in value) + "]" if isinstance(value, list) else repr(value)
