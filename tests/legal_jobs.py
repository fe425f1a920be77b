"""Hypothesis strategies for any legal job folder: every kind, subject, state and unit, oddly but rightly written."""

from __future__ import annotations

import json
from datetime import datetime

from hypothesis import strategies as st

from satdiag.rows import OPTIONAL_COLUMNS, REQUIRED_COLUMNS
from satdiag.vocabulary import FAULTS, REASONS, TABLE, TEMPLATES, UNREADABLE, takes_unreadable

TEXT = st.text(
    st.one_of(st.sampled_from(",\"\n\t=+-@' ;€ä文😀"), st.characters(exclude_categories=("Cs", "Cc"))), max_size=12
)
WORDS = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,8}", fullmatch=True)
NUMBERS = st.one_of(
    st.integers(0, 90).map(str),
    st.decimals(0, 90, places=2).map(str),
    st.sampled_from(["0.0", "+5", ".5", "7.", "00012.50", "1e1", "2.5E+1", "3e-3"]),
)
PATHS = ("satellite", "satellite:east", "satellite:w.2", "repeater", "any")


def _subject(template: str) -> st.SearchStrategy[str]:
    head, colon, tail = template.rpartition(":")
    found = {
        "NAME": WORDS,
        "PATH": st.sampled_from(["satellite", "repeater"]),
        "CHANNEL": st.integers(0, 9_999_999).map(str),
        "SOURCE": st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._:/-]{0,9}", fullmatch=True),
        "FAULT": st.sampled_from([*FAULTS, "none", "other"]),
        "ANY": TEXT,
    }.get(tail)
    assert (tail in TEMPLATES) == (found is not None)
    return st.just(template) if found is None else found.map(lambda name: head + colon + name)


@st.composite
def _value_and_unit(draw, entry, path_units, subject, sites):
    if takes_unreadable(entry.kind) and draw(st.integers(0, 5)) == 0:
        return UNREADABLE, ""
    if entry.value == "state":
        return draw(st.sampled_from(entry.states)), ""
    if entry.value == "site":
        return (draw(st.sampled_from(sites)), "") if sites else (UNREADABLE, "")
    if entry.value == "text":
        return draw(TEXT), ""
    if entry.value == "whole":
        return str(draw(st.integers(0, 40))), ""
    unit = draw(st.sampled_from(entry.units))
    if entry.kind == "signal":
        unit = path_units.setdefault(subject, draw(st.sampled_from(["dB", "dB-Hz", "percent", "bars/5", "bars/127"])))
    if unit.startswith("bars/"):
        return str(draw(st.integers(0, int(unit[5:])))), unit
    sign = "-" if entry.minimum is None and unit != "percent" and draw(st.booleans()) else ""
    return sign + draw(NUMBERS).removeprefix("+" if sign else ""), unit


@st.composite
def _time(draw, naive):
    moment = draw(st.datetimes(datetime(2031, 1, 1), datetime(2031, 12, 31)))
    digits = draw(st.integers(0, 6))
    text = moment.strftime("%Y-%m-%dT%H:%M:%S") + (f".{moment.microsecond:06d}"[: digits + 1] if digits else "")
    offset = draw(st.sampled_from(["Z", "+00:00", "-05:00", "+05:45", "-00:00"]))
    return text if naive and draw(st.booleans()) else text + offset


@st.composite
def _rows(draw, extra, naive, sites):
    path_units: dict[str, str] = {}
    ids: list[str] = []
    rows = []
    for number in range(draw(st.integers(0, 8))):
        entry = draw(st.sampled_from([entry for entry in TABLE if entry.kind != "withdraw" or ids]))
        subject = draw(st.sampled_from(PATHS) if entry.kind in ("signal", "lock") else _any_subject(entry))
        if entry.value == "row-id":
            value, unit = draw(st.sampled_from(ids)), ""
        else:
            value, unit = draw(_value_and_unit(entry, path_units, subject, sites))
        source = draw(st.sampled_from(["", "hand", "page", "serial:bench", "import"]))
        row = [draw(_time(naive)), entry.kind, subject, value, unit, source, draw(TEXT)]
        timed = draw(st.booleans())
        more = {
            "span_s": draw(st.one_of(st.just(""), NUMBERS)),
            "run": draw(WORDS) if timed else "",
            "elapsed_s": draw(NUMBERS) if timed and "run" in extra else "",
            "id": draw(st.one_of(st.just(""), st.just(f"row-{number}"))),
        }
        ids += [more["id"]] if more["id"] and "id" in extra else []
        rows.append(row + [more[name] for name in extra])
    return rows


def _any_subject(entry):
    return st.one_of([_subject(template) for template in entry.subjects])


@st.composite
def _csv(draw, records):
    """Records as CSV in which any field may be in quotes, whether it needs them or not."""
    lines = []
    for fields in records:
        written = []
        for text in fields:
            must = any(mark in text for mark in ',"\n') or (len(fields) == 1 and not text)
            quotes = must or draw(st.integers(0, 3)) == 0
            written.append('"' + text.replace('"', '""') + '"' if quotes else text)
        lines.append(",".join(written))
    return "\n".join(lines) + "\n"


@st.composite
def _sheet(draw, naive, sites, package):
    comment = draw(st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=10))
    lines = [f"# {comment}", "[job]", f"id = {json.dumps(f'x{draw(WORDS)}x')} # {comment}"]
    if draw(st.booleans()):
        lines.append("opened = 2031-05-03T13:40:00Z")
    lines.append(f"reason = {json.dumps(draw(st.sampled_from(REASONS)))}")
    lines.append(f"vehicle = {json.dumps(draw(TEXT), ensure_ascii=False)}")
    lines += [f'naive_times = "{naive}"'] if naive else []
    for name in sites:
        lines += ["", "[[site]]", f"name = {json.dumps(name, ensure_ascii=False)}", "latitude_deg = 41"]
        lines += [f"longitude_deg = {draw(st.floats(-180, 180))!r}", 'timezone = "America/Chicago"']
    lines += ["[receiver]", 'level_scale = "bars/5"', "bias_normal_ma = [15, 80.5]", "[service]"]
    lines += [f'package = "{package}"'] if package else []
    return "\n".join(lines) + "\n"


@st.composite
def _tables(draw, package):
    files = {}
    if package or draw(st.booleans()):
        channels = draw(st.lists(st.integers(0, 9_999_999), max_size=5, unique=True))
        records = [["channel", "name", "category", "packages"]]
        packages = st.sampled_from(["", "open", "music talk", "sport"])
        records += [[str(channel), draw(TEXT), draw(TEXT), draw(packages)] for channel in channels]
        records += [["12345678"[:7], "x", "y", package]] if package and 1234567 not in channels else []
        files["lineup.csv"] = draw(_csv(records))
    if draw(st.booleans()):
        points = draw(st.lists(st.tuples(st.integers(0, 360).map(str), NUMBERS), max_size=4))
        files["horizon.csv"] = draw(_csv([["azimuth_deg", "elevation_deg"], *map(list, points)]))
    if draw(st.booleans()):
        head = ["azimuth_from_deg", "azimuth_to_deg", "distance_m", "height_m", "note"]
        files["obstacles.csv"] = draw(_csv([head, ["10", "20.5", "12", "-3", draw(TEXT)]]))
    for name in ("truth.toml", "elements.tle"):
        if draw(st.integers(0, 3)) == 0:
            files[name] = draw(TEXT) + "\n"
    return files


RING = """[ring]
wanted = ["head-unit", "receiver"]
[[block]]
name = "main"
positions = 2
outputs_row = "upper"
[[node]]
name = "head-unit"
role = {role}
[[node]]
name = "receiver"
[[plug]]
position = 1
upper = "head-unit.out"
"""
SWEEPS = (b"# Hz S RI R 50\n1e6 0 0\n", b"\xef\xbb\xbf! 20 \xb0C\r\n#\r\n0.1 .5 -90 ! first\r\n0.2 5e-1 9.0")


@st.composite
def legal_folders(draw) -> dict[str, bytes]:
    """The files of a legal job folder by name, as they may come from any editor."""
    extra = [name for name in OPTIONAL_COLUMNS if draw(st.booleans())]
    if "elapsed_s" in extra and "run" not in extra:
        extra.remove("elapsed_s")
    naive = draw(st.sampled_from(["", "Z", "-05:00", "+09:30"]))
    sites = draw(st.lists(TEXT.filter(bool), max_size=2, unique=True))
    package = draw(st.sampled_from(["", "music-2"]))
    rows = draw(_rows(extra, naive, sites))
    texts = draw(_tables(package))
    texts["observations.csv"] = draw(_csv([[*REQUIRED_COLUMNS, *extra], *rows]))
    texts["job.toml"] = draw(_sheet(naive, sites, package))
    files = {name: _as_edited(draw, text) for name, text in texts.items()}
    if draw(st.integers(0, 3)) == 0:
        files["ring.toml"] = _as_edited(draw, RING.format(role=json.dumps(draw(TEXT), ensure_ascii=False)))
    for name in ("gnss.nmea", "gnss-2.nmea", "raw1.jsonl"):
        if draw(st.integers(0, 3)) == 0:
            files[name] = draw(st.binary(max_size=40))
    if draw(st.integers(0, 3)) == 0:
        files["feedline.s1p"] = draw(st.sampled_from(SWEEPS))
    return files


def _as_edited(draw, text: str) -> bytes:
    if draw(st.booleans()):
        text = text.removesuffix("\n")
    if draw(st.booleans()):
        text = text.replace("\n", "\r\n")
    return (b"\xef\xbb\xbf" if draw(st.booleans()) else b"") + text.encode()


def as_normalised(files: dict[str, bytes]) -> dict[str, bytes]:
    """What an export must give back: LF, a last line end, no BOM in text files; all else byte for byte."""
    found = {}
    for name, data in sorted(files.items()):
        if name.endswith((".toml", ".csv", ".tle")):
            data = data.removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n")
            data = data if data.endswith(b"\n") or not data else data + b"\n"
        found[name] = data
    return found
