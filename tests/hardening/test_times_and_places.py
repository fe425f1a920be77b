"""Days at the ends of calendars and clocks, and other computers' languages and time zones."""

import contextlib
import io
import os
import shutil
import subprocess
import sys
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from satdiag.cli import run
from satdiag.errors import BadInput
from satdiag.folder import job_hash, read_folder, write_folder
from satdiag.gnss.bulk import read_sky
from satdiag.gnss.read import read_nmea
from satdiag.handover.paper_lines import PaperReader
from satdiag.job import KNOWN_FILES
from satdiag.rows import YEARS, Row, check_row, parse_time_us
from satdiag.sheet import parse_sheet
from tests.hardening.fuzz_sky import summed
from tests.helpers import make_job

ROOT = Path(__file__).resolve().parents[2]
SHEET = """[job]\nid = "demo-9"\n[[site]]\nname = "yard"\nlatitude_deg = 41.2\nlongitude_deg = -96.1
timezone = "{zone}"
[receiver]\nlevel_scale = "dB"\n[service]\nconstellation = "north-america-2300"\n"""
LINEUP = "channel,name,category,packages\n31,A,music,music\n32,B,talk,talk\n"
COMMANDS = [
    ["analyse", "JOB", "--json"],
    ["analyse", "JOB", "--report", "r.html"],
    ["confirm", "JOB", "--record", "rec.html"],
    ["letter", "JOB", "--for", "provider"],
    ["sky", "JOB", "--report", "s.html"],
    ["export", "JOB", "--spreadsheet", "x.xlsx"],
    ["export", "JOB", "--parquet", "x.parquet"],
    ["checklist", "JOB"],
    ["compare", "JOB", "JOB"],
    ["redact", "JOB", "red"],
    ["bundle", "JOB", "b.zip", "--no-pdf"],
    ["paper", "JOB", "--out", "p.html"],
    ["note", "JOB", "account", "service", "confirmed"],
]
DAYS = {
    "before 1970": ("1969-12-31T23:55:00", "Pacific/Apia"),
    "32 bits of seconds end": ("2038-01-19T03:10:00", "Asia/Kathmandu"),
    "no leap day in 2100": ("2100-02-28T23:50:00", "America/St_Johns"),
    "64 bits of nanoseconds end": ("2262-04-11T23:40:00", "Asia/Kathmandu"),
    "the last year": (f"{YEARS[1]}-12-31T23:40:00", "Pacific/Kiritimati"),
    "the first year": (f"{YEARS[0]}-01-01T00:00:00", "America/St_Johns"),
    "a day that is left out": ("2011-12-30T09:55:00", "Pacific/Apia"),
    "clocks go on": ("2031-03-09T07:50:00", "America/Chicago"),
    "clocks go back": ("2031-11-02T06:50:00", "America/Chicago"),
}
"""When a log begins, UTC, and the zone of its site. Pacific/Apia had no 30 December 2011 (IANA tzdata)."""


def _log(begin):
    rows = ["time,kind,subject,value,unit,source,note"]

    def add(after_s, *fields):
        rows.append(
            ",".join([f"{(begin + timedelta(seconds=after_s)).isoformat()}Z", *fields, *[""] * (6 - len(fields))])
        )

    add(0, "power", "receiver", "awake")
    add(1, "site", "vehicle", "yard")
    add(2, "place", "vehicle", "open-sky")
    for turn in range(6):
        add(10 + 60 * turn, "signal", "satellite:east", str(5 + turn), "dB")
        add(11 + 60 * turn, "channel", "31", "refused")
        add(12 + 60 * turn, "supply", "receiver", "12.5", "V")
    add(600, "tune", "31", "requested")
    add(603, "tune", "31", "audio")
    add(900, "account", "service", "confirmed")
    return "\n".join(rows) + "\n"


def _job_at(place, name):
    begin, zone = DAYS[name]
    text = _log(datetime.fromisoformat(begin))
    last = f"{YEARS[1]}-12-31T23:59:59Z"
    kept = [line for line in text.splitlines() if line[:20] <= last or line.startswith("time")]
    files = {"job.toml": SHEET.format(zone=zone), "lineup.csv": LINEUP, "observations.csv": "\n".join(kept) + "\n"}
    write_folder({key: value.encode() for key, value in files.items()}, place)
    return place


@pytest.mark.parametrize("every", [False, pytest.param(True, marks=pytest.mark.long)])
@pytest.mark.parametrize("name", DAYS)
def test_every_command_works_on_a_job_of_that_day(name, every, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PATH", str(tmp_path))
    place = _job_at(tmp_path / "job", name)
    number = sorted(DAYS).index(name)
    for words in COMMANDS if every else COMMANDS[number % 4 :: 4]:
        said = io.StringIO()
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
            code = run([str(place) if word == "JOB" else word for word in words])
        is_out_of_reach = (
            words[0] == "note" and code == 2
        )  # today is years from that day: one log, one visit, no limit
        assert code in (0, 1) or is_out_of_reach, (words, said.getvalue())


def test_an_analysis_does_not_depend_on_when_it_was(tmp_path):
    """The same log moved to another century is judged alike (our own model only)."""
    from satdiag.analysis import analyse

    found = []
    for day in ("2031-05-03", "2038-01-18", "2101-05-03"):
        text = _log(datetime.fromisoformat(f"{day}T10:00:00")).replace(
            ",channel,31,refused", ",channel,31,authorised"
        )
        files = {"job.toml": SHEET.format(zone="UTC").replace('constellation = "north-america-2300"\n', "")}
        write_folder({**{k: v.encode() for k, v in files.items()}, "observations.csv": text.encode()}, tmp_path / day)
        verdict = analyse(read_folder(tmp_path / day)).verdict
        found.append((verdict.state, verdict.class_, round(verdict.probability, 6)))
    assert len(set(found)) == 1


# --- times as they are written -----------------------------------------------------------------------------------


def _wrong(text, naive=None):
    row = Row(text, "power", "receiver", "awake")
    return [one.what for one in check_row(row, naive, ()) if one.column == "time"]


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("1970-01-01T00:00:00Z", 0),
        ("1969-12-31T23:59:59.999999Z", -1),
        ("2038-01-19T03:14:08Z", 2**31 * 1_000_000),  # IEEE 1003.1: time_t of 32 bits ends one second before
        ("2106-02-07T06:28:16Z", 2**32 * 1_000_000),
        ("2262-04-11T23:47:16.854776Z", 9_223_372_036_854_776),  # one microsecond behind 2**63 nanoseconds
        ("2031-05-03T13:40:00+05:45", 1_935_561_300_000_000),
        ("2031-05-03T13:40:00-03:30", 1_935_594_600_000_000),
        ("2000-02-29T00:00:00Z", 951_782_400_000_000),
    ],
)
def test_instants_at_the_ends_of_clocks(text, us):
    assert parse_time_us(text, None) == us
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)
    assert datetime.fromisoformat(text) == moment, "the standard library agrees"
    assert _wrong(text) == []


@pytest.mark.parametrize(
    "text",
    [
        "2016-12-31T23:59:60Z",  # a leap second (IERS Bulletin C 52): no instant of the log's scale
        "2100-02-29T00:00:00Z",
        "2031-05-03T24:00:00Z",
        "2031-05-03T13:40:00+24:00",
        "2031-05-03T13:40:00",
        "1899-12-31T23:59:59Z",
        "0001-01-01T00:00:00Z",
        "9901-01-01T00:00:00Z",
        "9999-12-31T23:59:59-12:00",
        "-0001-01-01T00:00:00Z",
        "12031-05-03T13:40:00Z",
    ],
)
def test_what_is_no_time_of_the_log_is_said(text):
    assert len(_wrong(text)) == 1
    assert parse_time_us(text, None) is None


def test_the_year_is_named_where_it_is_what_is_wrong():
    assert "in no year we know" in _wrong("9999-12-31T23:59:59Z")[0]
    assert "in no year we know" in _wrong("0203-05-03T13:40:00Z")[0]


@pytest.mark.parametrize(
    ("zone", "day", "clock", "told"),
    [
        ("America/Chicago", date(2031, 3, 9), "02:30", "2031-03-09"),  # the hour is left out
        ("America/Chicago", date(2031, 11, 2), "01:30", "2031-11-02"),  # the hour stands twice
        (
            "America/St_Johns",
            date(2010, 11, 7),
            "00:00:30",
            "00:00 came twice",
        ),  # clocks went back at 00:01 (IANA tzdata)
        ("Pacific/Apia", date(2011, 12, 30), "12:00", "2011-12-30"),
    ],
)
def test_a_line_of_the_form_at_an_hour_that_is_not_certain_is_refused(zone, day, clock, told):
    job = make_job("0:00 power receiver awake")
    with pytest.raises(BadInput) as caught:
        PaperReader(job, day, ZoneInfo(zone)).read([f"{clock} power receiver off"])
    assert clock in str(caught.value) or told in str(caught.value)


def test_zones_with_odd_offsets_give_the_right_instant():
    job = make_job("0:00 power receiver awake")
    for zone, offset in (
        ("Asia/Kathmandu", "+05:45"),
        ("America/St_Johns", "-02:30"),
        ("Pacific/Kiritimati", "+14:00"),
    ):
        (line,) = PaperReader(job, date(2031, 5, 3), ZoneInfo(zone)).read(["13:40 power receiver off"])
        assert line.rows[0].time.endswith(offset)


def test_dates_of_two_digits_of_navigation_receivers():
    """NMEA 0183 writes ddmmyy: 80..99 are of the last century. A leap second counts on, and 30 February leaves the
    day as it was."""
    log = b"".join(
        summed(b"GPRMC,%s,A,4500.0000,N,09300.0000,W,0.1,90.0,%s,,,A" % (clock, day))
        for clock, day in (
            (b"000000", b"060180"),
            (b"235959", b"311279"),
            (b"235960", b"311216"),
            (b"120000", b"300231"),
        )
    )
    times = [epoch.time for epoch in read_nmea(log).epochs]
    assert times[:2] == [datetime(1980, 1, 6, tzinfo=UTC), datetime(2079, 12, 31, 23, 59, 59, tzinfo=UTC)]
    assert times[2:] == [datetime(2017, 1, 1, tzinfo=UTC), datetime(2017, 1, 1, 12, tzinfo=UTC)]
    assert len(read_sky(log).track.time_s) == 4


def test_a_receiver_whose_weeks_have_rolled_over_is_19_years_off_and_no_more():
    """IS-GPS-200 counts 1024 weeks: an old receiver is 7168 days behind; its day is taken as it is told."""
    day = date(2031, 5, 3) - timedelta(weeks=1024)
    log = summed(b"GPRMC,134000,A,4500.0000,N,09300.0000,W,0.1,90.0," + day.strftime("%d%m%y").encode() + b",,,A")
    (epoch,) = read_nmea(log).epochs
    assert epoch.time.date() == date(2011, 9, 17)


# --- languages and time zones of a computer ----------------------------------------------------------------------

LOCALES = [
    {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    {"LC_ALL": "C.UTF-8"},
    {"LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR.UTF-8"},
    {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
    {"PYTHONIOENCODING": "cp1252", "PYTHONUTF8": "0", "TZ": "Asia/Kathmandu"},
    {"LC_ALL": "C", "TZ": "Pacific/Apia"},
    {"TZ": "America/St_Johns", "PYTHONUTF8": "1"},
    {"TZ": "Nowhere/Demo", "LC_ALL": "xx_XX"},
]


@pytest.fixture(scope="module")
def made_locales(tmp_path_factory):
    """Where locales of `LOCALES` are that were made for this, so that they are more than names; empty without means.

    `localedef` (POSIX) and its sources; LOCPATH as the GNU C library reads it.
    """
    folder = tmp_path_factory.mktemp("locales")
    if not sys.platform.startswith("linux") or shutil.which("localedef") is None:
        return {}
    words = ["localedef", "--no-archive", "-i", "tr_TR", "-f", "UTF-8", str(folder / "tr_TR.UTF-8")]
    made = subprocess.run(words, capture_output=True, check=False)
    return {"LOCPATH": str(folder)} if made.returncode == 0 else {}


def test_the_turkish_locale_is_a_real_one(made_locales):
    """What the tests below take for granted where a locale could be made: it is there, and its comma with it."""
    if not made_locales:
        pytest.skip("no localedef with its sources here")
    ask = "import locale; print(locale.setlocale(locale.LC_ALL, ''), locale.localeconv()['decimal_point'])"
    environment = {**os.environ, **made_locales, "LC_ALL": "tr_TR.UTF-8"}
    told = subprocess.run([sys.executable, "-c", ask], env=environment, capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["tr_TR.UTF-8", ","]


def _said(arguments, more, cwd):
    environment = {
        key: value for key, value in os.environ.items() if not key.startswith(("LC_", "LANG", "PYTHONUTF8"))
    }
    told = subprocess.run(
        [sys.executable, "-m", "satdiag", *arguments],
        env={**environment, **more},
        cwd=cwd,
        capture_output=True,
        timeout=120,
        check=False,
    )
    assert told.returncode in (0, 1), told.stderr.decode(errors="replace")
    assert b"Traceback" not in told.stderr
    assert b"UnicodeEncodeError" not in told.stderr
    return told.stdout


@pytest.mark.parametrize("number", [4, *(pytest.param(n, marks=pytest.mark.long) for n in (0, 1, 2, 3, 5, 6, 7))])
def test_what_is_said_does_not_depend_on_the_computers_language_and_zone(number, tmp_path, made_locales):
    """What cannot be written in the console's characters is written as an escape; files are the same bytes."""
    files = {
        "job.toml": SHEET.format(zone="America/Chicago").replace("yard", "İstanbul – Straße 😀"),
        "lineup.csv": LINEUP,
    }
    text = _log(datetime(2031, 5, 3, 10)).replace("yard", "İstanbul – Straße 😀")
    write_folder({**{k: v.encode() for k, v in files.items()}, "observations.csv": text.encode()}, tmp_path / "job")
    more = {**LOCALES[number], **made_locales}
    _said(["letter", "job", "--for", "customer", "--lang", "fr"], more, tmp_path)
    _said(["analyse", "job", "--report", "r.html", "--lang", "es"], more, tmp_path)
    page = (tmp_path / "r.html").read_bytes().decode("utf-8")
    assert "Straße" in page
    _said(["export", "job", "out"], more, tmp_path)
    assert job_hash(read_folder(tmp_path / "out")) == job_hash(read_folder(tmp_path / "job"))


def test_capitals_do_not_follow_the_language():
    """In Turkish the capital of i is another letter; Python's own rules are the same everywhere (Unicode, 3.13)."""
    assert parse_sheet('[job]\nid = "TITLE-ID"\n').id == "TITLE-ID"
    assert time.strftime("%Y") != ""
    assert KNOWN_FILES.fullmatch("JOB.TOML") is None
