"""The parsers of what is recorded, typed, pasted, or logged by foreign instruments."""

from __future__ import annotations

import json
from datetime import date
from functools import lru_cache
from zoneinfo import ZoneInfo

from satdiag.csv_text import decode
from satdiag.job import Job
from tests.bad_folders import SOUND
from tests.hardening.fuzz_changes import JSON, TABLE
from tests.hardening.fuzz_engine import Parser
from tests.hardening.fuzz_texts import DOCUMENTS, ROOT, job_with
from tests.recorder.line_fuzz import SAMPLES


def _profile(data: bytes) -> str:
    from satdiag.recorder.profile import parse_profile

    profile = parse_profile(decode(data, "p.toml"), "p.toml")
    for lines in SAMPLES.values():
        for line in lines:
            found = profile.read_line(line)
            assert isinstance(found.why, str)
            assert found.why.isprintable()
    profile.framer().feed(b"x\ny")
    return f"profile {profile.kind}"


def _profiles() -> list[bytes]:
    return [place.read_bytes() for place in sorted((ROOT / "satdiag/recorder/profiles").glob("*.toml"))]


def _raw_lines(data: bytes) -> str:
    from satdiag.recorder.raw_lines import kept_lines

    return f"{min(len(kept_lines(job_with('raw-r1.jsonl', data))), 9)} lines"


RAW = b"".join(
    json.dumps(line, separators=(",", ":")).encode() + b"\n"
    for line in (
        {"n": 1, "time": "2031-05-03T13:40:00Z", "elapsed_s": "1.5", "source": "serial:x", "line": "a b", "rows": []},
        {
            "n": 2,
            "time": "2031-05-03T13:40:01Z",
            "elapsed_s": "2.5",
            "source": "serial:x",
            "hex": "00ff",
            "rows": ["r1-1"],
        },
        {
            "n": 3,
            "time": "2031-05-03T13:40:02Z",
            "elapsed_s": "3",
            "source": "serial:x",
            "line": "é",
            "rows": [],
            "why": "x",
        },
        {
            "n": 4,
            "time": "2031-05-03T13:40:03Z",
            "elapsed_s": "4",
            "source": "serial:x",
            "line": "b",
            "rows": [],
            "of": ["raw-r1.jsonl", 1],
        },
    )
)


def _spec(data: bytes) -> str:
    from satdiag.recorder.spec import parse_spec

    return parse_spec(data.decode("utf-8", "replace")).kind


_SPECS = (
    *(b"serial:/dev/ttyUSB0?profile=bench-lines", b"gnss:COM3?baud=9600", b"replay:job.satjob?speed=60"),
    *(b"serial:socket://host:99?x=1&profile=p.toml", b"replay:C:\\jobs\\demo?speed=max", b"gnss:log.nmea"),
)


@lru_cache(maxsize=1)
def _sound_job() -> Job:
    return job_with("job.toml", DOCUMENTS["job.toml"])


def _hand(data: bytes) -> str:
    from satdiag.recorder.hand import HandEntry

    hand, last = HandEntry.of_job(_sound_job()), ""
    for line in data.decode("utf-8", "replace").split("\n")[:50]:
        found = hand.enter(line)
        assert found.ok or found.say
        hand.complete(line)
        last = f"{len(found.readings)} readings {found.ok}"
    return last


_HAND = (
    b"31 refused\n2,5,9-12 authorised\nsite yard # gate\nplace vehicle open-sky\nnote it rains\nlevel any 11.2 dB",
    b"tune 31\naudio\ntitle\nundo\nhelp\nhelp channel\nsignal satellite:east 11,5 dB\naccount service confirmed",
)


def _paper(data: bytes) -> str:
    from satdiag.handover.paper_lines import PaperReader, doubts

    job = _sound_job()
    reader = PaperReader(job, date(2031, 3, 9), ZoneInfo("America/Chicago"))
    lines = reader.read(data.decode("utf-8", "replace").split("\n"))
    assert isinstance(doubts(job, lines), list)
    return f"{min(sum(len(line.rows) for line in lines), 9)} rows"


_PAPER = (
    b"14:05 31+ 32-\n14:06:30 place open-sky\nzone UTC\n23:59 power off",
    b"14:05 31+",
    b"14:05 31+ 32- 33?\n14:06 31-32x\n14:06:30 place open-sky\ndate 2031-11-02\nzone UTC\n23:59 31+ # remark",
    b"date 2031-03-09\n1:59 31+\n3:00 31-\ndate 9998-12-31\nzone Asia/Kathmandu\n0:00 tune 31 sound 4.5\n9:10 31+",
)


# --- foreign logs ------------------------------------------------------------------------------------------------


def _map(data: bytes) -> str:
    from satdiag.mapping import convert, parse_map

    made = convert(_FOREIGN[1], "f.csv", parse_map(decode(data, "m.toml"), "m.toml"))
    return f"{min(len(made.rows), 3)} rows, {min(len(made.problems), 3)} problems"


def _foreign(data: bytes) -> str:
    from satdiag.mapping import check_made, convert

    made = convert(data, "f.csv", _full_map(), "i1-")
    problems = check_made(made, "f.csv", (), None, ())
    for one in problems:
        assert one.what
        assert str(one).isprintable(), one
    return f"{min(len(made.rows), 3)} rows, {min(len(problems), 3)} problems"


_FOREIGN = (
    b" Day;Clock;a;b;c;d\n3.5.2031;14:05;E ;1.112,5 dB;db;x\n09.03.2031;02:30;W;max;db;y\n02.11.2031;01:30;E;--;db;x",
    b"x\ny\n03.05.2031\t14:05\tE \t1.112,5 dB\tdb\tx\t\n09.03.2031\t01:30\tW\tmax\tdb\ty\t\n# r\n"
    b"03.05.2031\t14:06\tE\t--\tdb\tboot\t\n",
)


@lru_cache(maxsize=1)
def _full_map() -> object:
    from satdiag.mapping import parse_map
    from tests.mapping.test_map_file import FULL

    return parse_map(FULL, "m.toml")


def _maps() -> list[bytes]:
    from tests.mapping.test_map_file import FULL, ROW, TIME

    return [FULL.encode(), (TIME + ROW).encode(), (TIME.replace("iso", "unix_ms") + ROW).encode()]


def _pasted(data: bytes) -> str:
    from satdiag.live.pasted import read_channels

    found = read_channels(data.decode("utf-8", "replace"))
    assert all(one.name.isprintable() and 0 <= one.number <= 9_999_999 for one in found.channels)
    assert all(one.why for one in found.left_out) if found.left_out and hasattr(found.left_out[0], "why") else True
    return f"{min(len(found.channels), 5)} channels, {min(len(found.left_out), 3)} left out"


def _sheet_change(data: bytes) -> str:
    """JSON of changes to a sheet, as the page sends it."""
    from satdiag.live.sheet_edit import edited
    from satdiag.sheet import parse_sheet

    try:
        changes = json.loads(data)
    except (ValueError, RecursionError):
        return "no JSON"
    if not isinstance(changes, dict) or any(not isinstance(key, str) for key in changes):
        return "no changes"
    made = edited(SOUND["job.toml"], changes)
    parse_sheet(made.text)
    return f"{min(len(made.words), 3)} changes"


_CHANGES = json.dumps(
    {
        "job.vehicle": "demo bus",
        "receiver.level_floor": 2.5,
        "receiver.second_hand": True,
        "receiver.bias_normal_ma": [15, 80],
        "service.package": "music",
        "site": {"name": "demo", "latitude_deg": 1, "longitude_deg": 2, "height_m": 3, "timezone": "UTC"},
    }
).encode()


RECORDED_PARSERS: tuple[Parser, ...] = (
    Parser("profile", _profiles, _profile),
    Parser("raw-lines", lambda: [RAW], _raw_lines, JSON),
    Parser("source-name", lambda: _SPECS, _spec),
    Parser("hand-lines", lambda: _HAND, _hand),
    Parser("paper-lines", lambda: _PAPER, _paper),
    Parser("column-map", _maps, _map),
    Parser("foreign-csv", lambda: _FOREIGN, _foreign, TABLE),
    Parser("pasted-channels", lambda: [DOCUMENTS["lineup.csv"], b"7 Demo One\n9\tDemo Two\n"], _pasted, TABLE),
    Parser("sheet-change", lambda: [_CHANGES], _sheet_change, JSON),
)
