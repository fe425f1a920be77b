"""`satdiag note`: rows by hand, in both forms of a job; withdrawals; what is allowed."""

from datetime import UTC, datetime, timedelta

import pytest

from satdiag.cli import run
from satdiag.opening import open_job
from satdiag.store import create_job_file
from tests.bad_folders import SOUND, write

FILES = {name: text.encode() for name, text in SOUND.items()}


@pytest.fixture(params=["folder", "file"])
def place(request, tmp_path):
    folder = write(FILES, tmp_path / "job")
    if request.param == "folder":
        return str(folder)
    create_job_file(tmp_path / "job.satjob", open_job(folder))
    return str(tmp_path / "job.satjob")


def test_a_row_gets_the_time_now_and_an_id(place, capsys):
    assert run(["note", place, "channel", "32", "authorised"]) == 0
    row = open_job(place).rows[-1]
    assert (row.kind, row.subject, row.value, row.unit, row.source) == ("channel", "32", "authorised", "", "hand")
    assert row.id == "hand-1"
    assert row.time.endswith("Z")
    assert abs(datetime.fromisoformat(row.time) - datetime.now(UTC)) < timedelta(minutes=1)
    assert capsys.readouterr().out == f"hand-1: {row.time} channel 32 authorised\n"


def test_everything_may_be_said(place, capsys):
    words = ["supply", "receiver", "11.90", "V", "--at", "2031-05-03T08:45:00.250-05:00", "--span", "30"]
    assert run(["note", place, *words, "--source", "page", "--text", 'cold, "raining"\nstill']) == 0
    row = open_job(place).rows[-1]
    assert row[:8] == (
        *("2031-05-03T08:45:00.250-05:00", "supply", "receiver", "11.90", "V", "page"),
        *('cold, "raining"\nstill', "30"),
    )


def test_a_level_may_be_negative(place):
    assert run(["note", place, "signal", "repeater", "-71.2", "dB"]) == 0
    assert open_job(place).rows[-1].value == "-71.2"


def test_ids_go_on_and_a_row_is_taken_back(place, capsys):
    for _ in range(2):
        assert run(["note", place, "power", "receiver", "off"]) == 0
    assert run(["note", place, "--withdraw", "hand-1"]) == 0
    assert "hand-3: " in capsys.readouterr().out
    job = open_job(place)
    assert [row.id for row in job.rows[-3:]] == ["hand-1", "hand-2", "hand-3"]
    assert list(job.observations["withdrawn"])[-3:] == [True, False, False]


def test_a_withdrawal_that_would_change_nothing_is_refused(place, capsys):
    assert run(["note", place, "power", "receiver", "off"]) == 0
    assert run(["note", place, "--withdraw", "hand-1"]) == 0
    before = open_job(place).rows
    capsys.readouterr()
    for named, why in (("hand-1", "is taken back already"), ("hand-2", "noted anew")):
        assert run(["note", place, "--withdraw", named]) == 2
        streams = capsys.readouterr()
        assert why in streams.err
        assert streams.out == ""
    assert open_job(place).rows == before


@pytest.mark.parametrize(
    ("words", "allowed"),
    [
        (["powr", "receiver", "off"], "power, supply, signal"),
        (["power", "vehicle", "off"], "Allowed: receiver"),
        (["power", "receiver", "sleeping"], "off, standby, awake or unreadable"),
        (["supply", "receiver", "12"], "Allowed: V"),
        (["signal", "satellite:east", "3", "bars/5"], "one unit a path"),
        (["power", "receiver", "off", "--at", "yesterday"], "2031-05-03T13:40:00Z"),
        (["power", "receiver", "off", "--at", "2031-05-03T13:40:00"], "naive_times"),
        (["power", "receiver", "off", "--span", "long"], "seconds from 0"),
        (["power", "receiver", "off", "--source", "by hand"], "hand or serial:bench"),
        (["site", "vehicle", "depot"], "a site's name"),
        (["--withdraw", "b9"], "id of the row"),
        (["power", "receiver", "off", "--withdraw", "a1"], "--withdraw takes no KIND"),
        ([], "Kinds: power, supply"),
        (["powr"], "Kinds: power, supply"),
        (["ring"], "bus, node:NAME"),
        (["ring", "bos"], "bus, node:NAME"),
        (["ring", "bus"], "closed, open"),
        (["bias", "current"], "a number in mA"),
    ],
    ids=" ".join,
)  # fmt: skip
def test_what_is_not_allowed_is_2_and_says_what_is(place, words, allowed, capsys):
    before = open_job(place).rows
    sign = ["--at", "2031-05-03T13:50:00Z"] if words[:1] == ["signal"] else []
    assert run(["note", place, *words, *sign]) == 2
    streams = capsys.readouterr()
    assert allowed in streams.err
    assert streams.out == ""
    assert open_job(place).rows == before


def test_there_must_be_a_job(tmp_path, capsys):
    assert run(["note", str(tmp_path / "none"), "power", "receiver", "off"]) == 2
    assert "nothing there" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
