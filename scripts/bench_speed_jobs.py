"""Made-up jobs of any length for the figures of speed: a log as the recorder writes it, every estimator given work.

The vehicle is driven eight hours a day, in two stretches with a night between them. While it is awake a readout gives
`rows_per_s` rows: levels of three paths from a chain of clear, shadowed and blocked stretches, locks, block errors,
noise and supply. Beside it a person checks channels, changes them, says where the vehicle stands, measures the
antenna's feed and writes notes, at a pace that does not grow with the rate of the readout. Row identifiers, the
recorder's run and its elapsed time stand in each row. The same seed gives the same bytes. Nothing here is a claim
about real vehicles; it is a load.
"""

import csv
import heapq
from datetime import UTC, datetime, timedelta

BEGIN = datetime(2031, 5, 1, 11, tzinfo=UTC)
DRIVES_H = ((0.0, 4.0), (10.0, 14.0))
PATHS = ("satellite:east", "satellite:west", "repeater")
CHANNELS = tuple(range(2, 122, 2))
OPEN_FROM_S = 2400.0
SHEET = """[job]
id = "demo-load"
opened = 2031-05-01T11:00:00Z
reason = "just-installed"
vehicle = "demo van, made for the figures of speed"

[[site]]
name = "depot"
latitude_deg = 45.0
longitude_deg = -93.3
height_m = 256.0
timezone = "America/Chicago"

[receiver]
id = "DEMO0000AA"
second_hand = false
antenna_lead = "single"
adaptor = "none"
level_scale = "dB"
level_floor = 0.0

[service]
package = "music"
"""
OF_READOUT = ("signal", "lock", "errors", "noise", "supply")
COLUMNS = ["time", "kind", "subject", "value", "unit", "source", "note", "span_s", "run", "elapsed_s", "id"]


def stretches_s(hours):
    """The drives that make up so many hours awake: (start, end) in seconds since the first row."""
    found, left, day = [], hours, 0
    while left > 1e-9:
        for begin, end in DRIVES_H:
            span = min(end - begin, left)
            if span > 1e-9:
                start = (24.0 * day + begin) * 3600.0
                found.append((start, start + span * 3600.0))
            left -= span
        day += 1
    return found


def readout(random, start, end, rows_per_s):
    """Rows of the readout in one drive: (seconds, kind, subject, value, unit)."""
    import numpy as np

    count = round((end - start) * rows_per_s)
    at = start + (np.arange(count) + 0.2) / rows_per_s
    what = random.choice(5, count, p=(0.6, 0.2, 0.08, 0.06, 0.06))
    path = random.integers(0, 3, count)
    state = np.stack([chain(random, at) for _ in PATHS], axis=1)[np.arange(count), path]
    level = np.round(2.0 * (np.array((0.0, 6.0, 12.0))[state] + random.normal(0.0, 1.2, count)).clip(0.0)) / 2.0
    small = random.random(count)
    for t_s, kind, p, s, db, u in zip(*(one.tolist() for one in (at, what, path, state, level, small)), strict=True):
        if kind == 0:
            yield t_s, "signal", PATHS[p], f"{db if s else 0.0:.1f}", "dB"
        elif kind == 1:
            yield t_s, "lock", PATHS[p], "yes" if s else "no", ""
        elif kind == 2:
            yield t_s, "errors", PATHS[p], f"{100.0 * u if s < 2 else 2.0 * u:.1f}", "percent"
        elif kind == 3:
            yield t_s, "noise", "receiver", f"{40.0 + 2.0 * u:.1f}", "dB"
        else:
            yield t_s, "supply", "receiver", f"{13.4 + u:.2f}", "V"


def chain(random, at):
    """The state at each time: 2 clear for about a minute, 1 shadowed for 5 s, 0 blocked for 12 s, in turn."""
    import numpy as np

    lasts = np.array((60.0, 5.0, 12.0, 5.0))
    span = at[-1] - at[0] + 1.0
    turns = 4 * (int(span / lasts.sum()) + 40)
    edges = np.cumsum(random.exponential(np.tile(lasts, turns // 4)))
    return np.array((2, 1, 0, 1))[np.searchsorted(edges, at - at[0]) % 4]


def by_hand(random, start, end):
    """What a person and the vehicle add in one drive: checks, changes of channel, the feed, a note."""
    import numpy as np

    yield start, "power", "receiver", "awake", ""
    yield start + 1.0, "site", "vehicle", "depot", ""
    yield start + 2.0, "place", "vehicle", "open-sky", ""
    yield start + 3.0, "heading", "vehicle", "90", "deg"
    yield start + 4.0, "bias", "voltage", "5.02", "V"
    yield start + 5.0, "bias", "current", f"{48.0 + random.random():.1f}", "mA"
    yield start + 6.0, "ring", "bus", "closed", ""
    yield start + 7.0, "note", "feed", 'read at the plug, "warm"; all well', ""
    for t_s in np.arange(start + 30.0, end - 30.0, 57.0).tolist():
        channel = CHANNELS[int(random.integers(len(CHANNELS)))]
        heard = t_s > OPEN_FROM_S * (0.3 + channel / 60.0)
        yield t_s, "channel", str(channel), "authorised" if heard else "refused", ""
    for t_s in np.arange(start + 40.0, end - 30.0, 171.0).tolist():
        channel = str(CHANNELS[int(random.integers(len(CHANNELS)))])
        yield t_s, "tune", channel, "requested", ""
        yield t_s + float(random.lognormal(0.6, 0.4)), "tune", channel, "audio", ""
        yield t_s + 15.0 + float(random.random()), "tune", channel, "title", ""
    yield end - 1.0, "power", "receiver", "standby", ""


def rows(hours, rows_per_s, seed=1):
    """The log as records, in the order of time: `COLUMNS` each."""
    import numpy as np

    random = np.random.default_rng(seed)
    number, once = 0, [(0.5, "account", "service", "confirmed", ""), (0.6, "identity", "receiver-id", "match", "")]
    for run, (start, end) in enumerate(stretches_s(hours), 1):
        spoken = sorted([*once, *by_hand(random, start, end)])
        once = []
        told = readout(random, start, end, rows_per_s)
        for t_s, kind, subject, value, unit in heapq.merge(told, spoken, key=lambda row: row[0]):
            number += 1
            time = (BEGIN + timedelta(seconds=float(t_s))).isoformat(timespec="milliseconds").replace("+00:00", "Z")
            source = "serial:levels" if kind in OF_READOUT else "hand"
            note = 'read at the plug, "warm"; all well, dry' if kind == "bias" else ""
            recorded = f"r{run}", f"{t_s - start:.6f}", f"r{run}-{number}"
            yield time, kind, subject, value, unit, source, note, "", *recorded


def write_job(folder, hours, rows_per_s, seed=1):
    """Write a job folder; returns how many observations it holds."""
    folder.mkdir(parents=True)
    channels = "".join(f"{one},demo {one},demo,music\n" for one in CHANNELS)
    (folder / "job.toml").write_text(SHEET, "utf-8", newline="\n")
    (folder / "lineup.csv").write_text("channel,name,category,packages\n" + channels, "utf-8", newline="\n")
    count = 0
    with (folder / "observations.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for row in rows(hours, rows_per_s, seed):
            writer.writerow(row)
            count += 1
    return count
