"""`satdiag new`: from options, by asking, as folder and as file."""

import os
import subprocess
import sys
import time

import pytest

import satdiag.cli.new_cmd as new_cmd
from satdiag.cli import run
from satdiag.cli.sheet_form import FIELDS
from satdiag.folder import export_files
from satdiag.opening import open_job
from satdiag.sheet import KEYS, parse_sheet

LINEUP = b"channel,name,category,packages\n31,North,talk,music\n"
MORE = b'\xef\xbb\xbfchannel,name,category,packages\r\n32,"South, late",talk,talk\r\n'
CONSTELLATION = b'name = "two"\n[[satellite]]\nname = "east"\nlongitude_deg = -78.5\n'


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


OPTIONS = [
    *("--id", "demo-7", "--reason", "complaint", "--vehicle", 'a "b" \\ ä', "--technician", "T"),
    *("--naive-times", "-05:00", "--site", "yard,41.2,-96.1,300,America/Chicago", "--site", "road,-41,96"),
    *("--receiver-id", "DEMO0000A7", "--second-hand", "yes", "--lead", "dual", "--adaptor", "combiner"),
    *("--level-scale", "bars/5", "--level-floor", "-1", "--noise-bandwidth-hz", "4e6", "--bias-nominal-v", "5"),
    *("--bias-normal-ma", "15,80.5", "--constellation", "demo-pair", "--package", "talk"),
]


@pytest.mark.parametrize("name", ["job", "job.satjob"])
def test_every_key_can_be_given(here, name, capsys):
    (here / "a.csv").write_bytes(LINEUP)
    (here / "b.csv").write_bytes(MORE)
    (here / "h.csv").write_bytes(b"azimuth_deg,elevation_deg\n90,12\n")
    (here / "o.csv").write_bytes(b"azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n1,2,3,4,\n")
    files = ["--lineup", "a.csv", "--lineup", "b.csv", "--horizon", "h.csv", "--obstacles", "o.csv"]
    assert run(["new", name, *OPTIONS, *files]) == 0
    assert "demo-7" in capsys.readouterr().out
    job = open_job(name)
    sheet = job.sheet
    assert (sheet.id, sheet.reason, sheet.vehicle, sheet.technician) == ("demo-7", "complaint", 'a "b" \\ ä', "T")
    assert sheet.opened is not None
    assert [site.name for site in sheet.sites] == ["yard", "road"]
    assert (sheet.sites[0].height_m, sheet.sites[0].timezone) == (300, "America/Chicago")
    receiver = sheet.receiver
    assert (receiver.id, receiver.second_hand, receiver.antenna_lead) == ("DEMO0000A7", True, "dual")
    assert (receiver.adaptor, receiver.level_scale, receiver.level_floor) == ("combiner", "bars/5", -1)
    assert (receiver.noise_bandwidth_hz, receiver.bias_nominal_v, receiver.bias_normal_ma) == (4e6, 5, (15, 80.5))
    assert (sheet.constellation, sheet.package) == ("demo-pair", "talk")
    assert [channel.name for channel in job.lineup] == ["North", "South, late"]
    assert len(job.horizon) == len(job.obstacles) == 1
    assert job.rows == ()


def test_the_form_holds_every_key_of_the_sheet():
    asked = {(field.table, field.key) for field in FIELDS}
    assert asked | {("job", "opened")} | {("site", key) for key in KEYS["site"]} == {
        (table, key) for table, keys in KEYS.items() for key in keys
    }


def test_tables_that_few_people_need_stand_there_as_comments_until_a_key_of_them_is_known(here):
    assert run(["new", "plain"]) == 0
    text = (here / "plain" / "job.toml").read_text("utf-8")
    assert {"# [feed]", "# [supply]", "# [feedline]"} <= set(text.splitlines())
    options = ["--feed-gain-db", "25,30", "--feed-antenna-k", "100", "--supply-code", "C", "--joints-m", "1.2,3"]
    assert run(["new", "known", *options, "--cable", "rg-58", "--velocity-factor-range", "0.65,0.67"]) == 0
    sheet = open_job("known").sheet
    assert sheet.feed == {"gain_db": (25, 30), "antenna_k": (100, 100)}
    assert (sheet.supply.code, sheet.supply.awake_a) == ("C", None)
    line = sheet.feedline
    assert (line.joints_m, line.cable, line.velocity_factor_range) == ((1.2, 3), "rg-58", (0.65, 0.67))


def test_without_options_and_terminal_only_the_name_is_known(here):
    assert run(["new", "My job!.satjob"]) == 0
    sheet = open_job("My job!.satjob").sheet
    assert (sheet.id, sheet.reason, sheet.receiver.id) == ("My-job", "unknown", None)


def test_what_is_not_given_stands_there_as_a_legal_example(here):
    """Taking the comment signs away must give a legal sheet with every key in it."""
    assert run(["new", "job"]) == 0
    lines = (here / "job" / "job.toml").read_text().splitlines()
    keys = [line.split(" = ")[0] for line in lines if " = " in line and not line.startswith("#")]
    assert keys == ["id", "opened"]
    sheet = parse_sheet("\n".join(line.removeprefix("# ") for line in lines))
    assert sheet.receiver.bias_normal_ma == (15, 80)
    assert sheet.sites[0].name == "yard"
    assert sheet.constellation == "demo-pair"


def test_a_constellation_file_is_brought_along(here):
    (here / "mine.toml").write_bytes(CONSTELLATION)
    assert run(["new", "job", "--constellation", "mine.toml"]) == 0
    job = open_job("job")
    assert job.sheet.constellation == "constellation.toml"
    assert export_files(job)["constellation.toml"] == CONSTELLATION


@pytest.mark.parametrize(
    ("options", "found"),
    [
        (["--id", "a/b"], "file-name safe"),
        (["--reason", "because"], "just-installed"),
        (["--site", "yard,412,0"], "-90 .. 90"),
        (["--site", "yard"], "NAME,LAT,LON"),
        (["--site", "yard,1,2,3,Nowhere/Here"], "America/Chicago"),
        (["--site", "yard,1,2", "--site", "yard,1,2"], "used twice"),
        (["--level-scale", "dBm"], "bars/N"),
        (["--second-hand", "maybe"], "yes"),
        (["--bias-normal-ma", "80,15"], "rise"),
        (["--bias-nominal-v", "five"], "not a number"),
        (["--naive-times", "local"], "-05:00"),
        (["--package", "Music"], "small letters"),
        (["--constellation", "nowhere"], "demo-pair"),
        (["--constellation", "none.toml"], "cannot be read"),
        (["--lineup", "none.csv"], "does not exist"),
        (["--lineup", "bad.csv"], "bad.csv, line 2, column 'channel'"),
        (["--lineup", "a.csv", "--lineup", "a.csv"], "channel 31 stands in line 2 already"),
        (["--lineup", "a.csv", "--package", "sport"], "Packages there: music"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_a_bad_option_is_2_and_makes_nothing(here, options, found, capsys):
    (here / "a.csv").write_bytes(LINEUP)
    (here / "bad.csv").write_bytes(LINEUP.replace(b"31", b"x"))
    for name in ("job", "job.satjob"):
        assert run(["new", name, *options]) == 2
        assert found in capsys.readouterr().err
    assert sorted(path.name for path in here.iterdir()) == ["a.csv", "bad.csv"]


@pytest.mark.parametrize("name", ["job", "job.satjob"])
def test_nothing_is_written_over(here, name, capsys):
    (here / name).write_bytes(b"mine")
    assert run(["new", name]) == 2
    assert "it is there already" in capsys.readouterr().err
    assert (here / name).read_bytes() == b"mine"


ANSWERS = {
    "Name of the job": ["no/good", "demo-9"],
    "Why the person is here": ["just-installed"],
    "The vehicle": [""],
    "Receiver's identifier": ["DEMO1"],
    "Second-hand": ["no"],
    "Conductors": ["triple", "single"],
    "Adaptor": [""],
    "Scale of the level readout": ["bars/5"],
    "Constellation": [""],
    "Package": ["music"],
    "Where it stands": ["yard,41.2", "yard,41.2,-96.1"],
    "Line-up file": ["nowhere.csv", "a.csv"],
}


@pytest.mark.skipif(os.name == "nt", reason="no pseudo-terminals there")
def test_in_a_terminal_it_asks_and_asks_again(here):
    import pty

    (here / "a.csv").write_bytes(LINEUP)
    master, slave = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-m", "satdiag", "new", "job"],
        stdin=slave,
        stdout=slave,
        stderr=slave,
        env={**os.environ, "PYTHONPATH": str(new_cmd.Path(new_cmd.__file__).parents[2])},
    )
    try:
        for question, answers in ANSWERS.items():
            for answer in answers:
                seen = _read_until(master, question)
                assert question in seen
                os.write(master, answer.encode() + b"\n")
        assert child.wait(60) == 0
    finally:
        child.kill()
        os.close(master)
        os.close(slave)
    sheet = open_job("job").sheet
    assert (sheet.id, sheet.reason, sheet.vehicle, sheet.package) == ("demo-9", "just-installed", "", "music")
    assert (sheet.receiver.id, sheet.receiver.second_hand, sheet.receiver.antenna_lead) == ("DEMO1", False, "single")
    assert (sheet.receiver.adaptor, sheet.receiver.level_scale, sheet.constellation) == ("unknown", "bars/5", None)
    assert [(site.name, site.latitude_deg) for site in sheet.sites] == [("yard", 41.2)]


def _read_until(terminal, question):
    seen, deadline = "", time.monotonic() + 60
    while f"{question}" not in seen or not seen.rstrip(" ").endswith(":"):
        assert time.monotonic() < deadline, seen
        seen += os.read(terminal, 4096).decode()
    return seen


def test_channels_that_play_without_an_account_can_be_named(here, capsys):
    (here / "a.csv").write_bytes(LINEUP)
    (here / "b.csv").write_bytes(MORE)
    files = ["--lineup", "a.csv", "--lineup", "b.csv"]
    assert run(["new", "job", "--id", "demo-7", *files, "--open", "32"]) == 0
    assert {one.channel: one.is_open for one in open_job(here / "job").lineup} == {31: False, 32: True}
    assert run(["new", "other", "--id", "demo-7", *files, "--open", "33"]) == 2
    assert "--open: the line-up has no channel 33. Mend the number." in capsys.readouterr().err
    assert run(["new", "other", "--id", "demo-7", "--open", "32"]) == 2
    assert "name that too, --lineup FILE" in capsys.readouterr().err
    assert not (here / "other").exists()
