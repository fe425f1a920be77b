"""A job with no row, with one, and with more channels than any service has."""

import json
import subprocess
import sys
import tracemalloc
from datetime import UTC, datetime, timedelta

import pytest

import satdiag.analysis
import satdiag.tables
from satdiag.analysis import analyse
from satdiag.cli import run
from satdiag.diagnosis.evidence.refusals import all_play_by_scattered
from satdiag.entitlement.estimate import estimate_entitlement
from satdiag.errors import BadInput, SatdiagError
from satdiag.exposure import exposure_clock
from satdiag.folder import parse_observations, write_folder
from satdiag.job import build_job
from satdiag.tables import MOST_CHANNELS, parse_lineup
from tests.hardening.test_times_and_places import COMMANDS

HEADER = "time,kind,subject,value,unit,source,note"
SHEET = b'[job]\nid = "demo-9"\n[service]\npackage = "music"\n'
ROWS = {
    "none": [],
    "one": ["2031-05-03T13:40:00Z,power,receiver,awake,,,"],
    "one remark": ["2031-05-03T13:40:00Z,note,,demo,,,"],
    "one taken back": [
        "2031-05-03T13:40:00Z,signal,satellite:east,11,dB,,,a1",
        "2031-05-03T13:41:00Z,withdraw,row,a1,,,,a2",
    ],
    "one refused": ["2031-05-03T13:40:00Z,channel,31,refused,,,"],
    "one unreadable": ["2031-05-03T13:40:00Z,signal,satellite:east,unreadable,,,"],
}


def lineup(count):
    """So many channels, every second one in the package."""
    lines = (
        f"{number},Demo {number},kind{number % 20},{'music' if number % 2 else 'talk'}\n" for number in range(count)
    )
    return ("channel,name,category,packages\n" + "".join(lines)).encode()


def looked_at(count):
    """A look at each of so many channels, a third of them refused."""
    rows = [HEADER, "2031-05-03T08:00:00Z,power,receiver,awake,,,"]
    for number in range(count):
        clock = f"{9 + number // 3600 % 12:02d}:{number // 60 % 60:02d}:{number % 60:02d}"
        state = "authorised" if number % 3 else "refused"
        rows.append(f"2031-05-03T{clock}Z,channel,{number},{state},,,")
    header, made, lines = parse_observations("\n".join(rows) + "\n")
    return header, made, lines


@pytest.mark.parametrize("name", ROWS)
def test_every_command_works_on_a_job_of_so_few_rows(name, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PATH", str(tmp_path))
    head = HEADER + (",id" if "withdraw" in "".join(ROWS[name]) else "")
    text = "\n".join([head, *ROWS[name]]) + "\n"
    files = {"job.toml": b'[job]\nid = "demo-9"\n', "observations.csv": text.encode()}
    write_folder(files, tmp_path / "job")
    number = sorted(ROWS).index(name)
    for words in COMMANDS[number % 3 :: 3]:
        code = run([str(tmp_path / "job") if word == "JOB" else word for word in words])
        said = capsys.readouterr().err
        is_told = words[0] == "sky" and "the job names no" in said
        assert code in (0, 1) or is_told, (words, said)
        assert "Internal error" not in said


def test_an_empty_log_is_no_verdict_and_no_error():
    job = build_job({"job.toml": SHEET}, [])
    found = analyse(job)
    json.dumps(found.to_dict(), allow_nan=False)
    assert not found.verdict.sure


def test_a_few_thousand_channels_are_analysed():
    header, rows, lines = looked_at(5000)
    found = analyse(build_job({"job.toml": SHEET, "lineup.csv": lineup(5000)}, rows, header, lines))
    json.dumps(found.to_dict(), allow_nan=False)
    assert len(found.entitlement.channels) == 5000


def test_odds_of_many_channels_are_numbers():
    """A chance to the power of thousands is smaller than any number; the odds are told all the same."""
    assert all_play_by_scattered([True] * 5000) == pytest.approx(0.0, abs=1e-300)
    assert 0 < all_play_by_scattered([False] * 5000) < 1e300
    assert 0 <= all_play_by_scattered([True, False] * 2500) < 1e-300


def test_memory_does_not_grow_with_channels_times_futures():
    """All refused, each at another time: one number for each in each future would be 80 MB, over and over."""
    lines = [f"{HEADER}", "2031-05-03T08:00:00Z,account,service,confirmed,,,"]
    lines += [
        f"2031-05-03T{9 + n // 3600:02d}:{n // 60 % 60:02d}:{n % 60:02d}Z,channel,{n},refused,,," for n in range(8000)
    ]
    header, rows, numbers = parse_observations("\n".join(lines) + "\n")
    job = build_job({"job.toml": b'[job]\nid = "demo-9"\n'}, rows, header, numbers)
    clock = exposure_clock(job)
    tracemalloc.start()
    try:
        found = estimate_entitlement(job, clock)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert found.refused == 8000
    assert peak < 150e6


def test_more_channels_than_can_be_analysed_are_refused_in_words(monkeypatch):
    monkeypatch.setattr(satdiag.tables, "MOST_CHANNELS", 300)
    monkeypatch.setattr(satdiag.analysis, "MOST_CHANNELS", 300)
    with pytest.raises(BadInput, match=r"lineup\.csv, line 302: it holds more than the 300 channels that are taken"):
        parse_lineup(lineup(400).decode())
    assert len(parse_lineup(lineup(300).decode())) == 300
    header, rows, lines = looked_at(301)
    job = build_job({"job.toml": b'[job]\nid = "demo-9"\n'}, rows, header, lines)
    with pytest.raises(SatdiagError, match="the log holds 301 different channels; at most 300"):
        analyse(job)


def write_wide(count, place):
    """A job of so many channels, each looked at once; half of the first hour's come, and every tenth is not ours."""
    began = datetime(2031, 5, 3, 8, tzinfo=UTC)

    def row(at_s, said):
        return f"{began + timedelta(seconds=at_s):%Y-%m-%dT%H:%M:%S.%f}Z,{said}\n"

    place.mkdir()
    (place / "job.toml").write_bytes(SHEET)
    step_s = 3600.0 / count
    with (place / "lineup.csv").open("w") as file:
        file.write("channel,name,category,packages\n")
        file.writelines(f"{n},Demo {n},kind{n % 20},{'talk' if n % 10 == 9 else 'music'}\n" for n in range(count))
    with (place / "observations.csv").open("w") as file:
        file.write(f"{HEADER}\n{row(-60, 'account,service,confirmed,,,')}{row(-50, 'power,receiver,awake,,,')}")
        for n in range(count):
            plays = n % 10 != 9 and n * 7919 % count < n  # more and more of them
            file.write(row(n * step_s, f"channel,{n},{'authorised' if plays else 'refused'},,,"))


def measured(*words):
    """Exit code, processor time [s] and largest memory [MB] of a satdiag of its own, with what it wrote."""
    code = (
        "import resource, sys; from satdiag.cli import run; code = run(sys.argv[1:]);"
        "used = resource.getrusage(resource.RUSAGE_SELF);"
        "sys.stderr.write(f'\\n{code} {used.ru_utime + used.ru_stime} {used.ru_maxrss}')"
    )
    done = subprocess.run([sys.executable, "-c", code, *map(str, words)], capture_output=True, check=True)
    code, cpu_s, most = done.stderr.decode().splitlines()[-1].split()
    unit = 1e6 if sys.platform == "darwin" else 1e3  # getrusage(2): kilobytes; of macOS: bytes
    return int(code), float(cpu_s), float(most) / unit, done.stdout


@pytest.mark.long
@pytest.mark.timeout(900)
def test_a_hundred_thousand_channels_are_analysed_within_a_gigabyte_and_a_minute(tmp_path):
    pytest.importorskip("resource")
    write_wide(100_000, tmp_path / "job")
    page = tmp_path / "report.html"
    code, cpu_s, most_mb, said = measured("analyse", tmp_path / "job", "--report", page)
    assert code == 0
    assert b"100" in said
    assert cpu_s < 60
    assert most_mb < 1000
    assert page.stat().st_size < 30e6
    code, _, most_mb, said = measured("letter", tmp_path / "job", "--for", "customer")
    assert code == 0
    assert len(said) < 5000
    assert most_mb < 1000


@pytest.mark.long
@pytest.mark.timeout(1800)
def test_a_million_channels_are_analysed_within_an_ordinary_laptop(tmp_path):
    pytest.importorskip("resource")
    assert MOST_CHANNELS == 1_000_000
    write_wide(1_000_000, tmp_path / "job")
    code, cpu_s, most_mb, said = measured("analyse", tmp_path / "job")
    assert code == 0
    assert said
    assert cpu_s < 600
    assert most_mb < 4000


@pytest.mark.long
@pytest.mark.timeout(900)
def test_more_than_a_million_channels_are_refused_at_once(tmp_path):
    pytest.importorskip("resource")
    place = tmp_path / "job"
    place.mkdir()
    (place / "job.toml").write_bytes(SHEET)
    (place / "observations.csv").write_text(f"{HEADER}\n")
    (place / "lineup.csv").write_bytes(lineup(3_000_000))
    code, cpu_s, most_mb, _ = measured("analyse", place)
    assert code == 2
    assert cpu_s < 120
    assert most_mb < 1500
