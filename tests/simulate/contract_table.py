"""The observation-log contract typed once more, by hand, for checking made-up jobs.

Source: the project's published description of the observation log (docs, 'observations.csv' table). It is typed here
independently of satdiag.vocabulary, so that a slip in either shows.
"""

from __future__ import annotations

import csv
import io
import re
from datetime import datetime

PATH = r"(satellite|satellite:[\w-]+|repeater|any)"
NUMBER = r"-?\d+(\.\d+)?"
CHANNEL = r"(0|[1-9]\d{0,6})"
# kind, subject, value, units
TABLE = [
    ("power", "receiver", "off|standby|awake", [""]),
    ("supply", "receiver|receiver-minimum", NUMBER, ["V"]),
    ("signal", PATH, NUMBER, ["dB", "dB-Hz", "percent", r"bars/\d+"]),
    ("lock", PATH, "yes|no", [""]),
    ("errors", PATH, NUMBER, ["percent"]),
    ("noise", "receiver", NUMBER, ["dB"]),
    ("listing", "source", "yes|no", [""]),
    ("channel", CHANNEL, "authorised|refused|missing|no-signal", [""]),
    ("tune", CHANNEL, "requested|audio|title|refused|abandoned", [""]),
    ("audio", "output", "playing|muted|broken", [""]),
    ("account", "service", "submitted|confirmed|resend-requested|resend-confirmed|rejected|lapsed|none", [""]),
    ("bias", "voltage(:(satellite|repeater))?", NUMBER, ["V"]),
    ("bias", "current(:(satellite|repeater))?", NUMBER, ["mA"]),
    ("feed", "bias", "on|off", [""]),
    ("ring", "bus", "closed|open", [""]),
    ("ring", r"node:[\w-]+", "present|absent", [""]),
    ("ring", r"position:[\w-]+", r"-?\d+", [""]),
    ("ring", "other-sources", "working|lost", [""]),
    ("configuration", r"readback(:[\w-]+)?", "matches|differs", [""]),
    ("identity", "receiver-id", "match|mismatch", [""]),
    ("place", "vehicle", "open-sky|street|canopy|indoors|underground", [""]),
    ("site", "vehicle", r"[\w-]+", [""]),
    ("heading", "vehicle", NUMBER, ["deg"]),
    ("swap", "antenna|lead|receiver|place", "better|same|worse", [""]),
    ("reset", "receiver", "seen", [""]),
    ("gap", r"[\w:-]+", "lost|silent|overflow", [""]),
    ("clock", "recorder", NUMBER, ["s"]),
    ("withdraw", "row", r"\S+", [""]),
    ("note", "", r".+", [""]),
]
NEVER_UNREADABLE = {"note", "gap", "clock", "withdraw"}
BASE = ["time", "kind", "subject", "value", "unit", "source", "note"]
EXTRA = ["span_s", "run", "elapsed_s", "id"]
FILES = {
    "job.toml",
    "observations.csv",
    "truth.toml",
    "lineup.csv",
    "horizon.csv",
    "obstacles.csv",
    "constellation.toml",
}
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?(Z|[+-]\d\d:\d\d)?")


def read_rows(data: bytes) -> list[dict[str, str]]:
    """Rows of observations.csv as dictionaries; the header must be the contract's."""
    reader = csv.reader(io.StringIO(data.decode("utf-8"), newline=""), strict=True)
    header = next(reader)
    extra = header[len(BASE) :]
    assert header[: len(BASE)] == BASE
    assert extra == [name for name in EXTRA if name in extra], "optional columns keep their order"
    rows = []
    for line, cells in enumerate(reader, 2):
        assert len(cells) == len(header), f"line {line}: {len(cells)} cells"
        rows.append(dict(zip(header, cells, strict=True)))
    return rows


def row_complaints(row: dict[str, str], scale: str, sites: set[str]) -> list[str]:
    """What the contract would hold against one row."""
    kind, subject, value, unit = row["kind"], row["subject"], row["value"], row["unit"]
    told = []
    if not TIME.fullmatch(row["time"]):
        told.append("time")
    lines = [line for line in TABLE if line[0] == kind and re.fullmatch(line[1], subject)]
    if not lines:
        return [*told, f"kind and subject {kind},{subject}"]
    if value == "unreadable":
        if kind in NEVER_UNREADABLE or unit:
            told.append("unreadable")
        return told
    if not any(re.fullmatch(line[2], value) and any(re.fullmatch(u, unit) for u in line[3]) for line in lines):
        told.append(f"value or unit {kind},{subject},{value},{unit}")
    if kind == "signal":
        if unit != scale:
            told.append("unit differs from the sheet's level_scale")
        elif unit.startswith("bars/") and not 0 <= int(value) <= int(unit[5:]):
            told.append("bars out of range")
        elif unit == "percent" and not 0 <= float(value) <= 100:
            told.append("percent out of range")
    if kind == "site" and value not in sites:
        told.append("unknown site")
    if kind == "gap" and not row.get("span_s"):
        told.append("gap without span_s")
    if not row["source"]:
        told.append("no source")
    return told


def instant(row: dict[str, str], naive: str | None) -> datetime:
    """A row's time; `naive` is the sheet's naive_times, needed for a time without an offset."""
    text = row["time"].replace("Z", "+00:00")
    if not re.search(r"[+-]\d\d:\d\d$", text):
        assert naive, "a time without an offset and no naive_times on the sheet"
        text += naive
    return datetime.fromisoformat(text)
