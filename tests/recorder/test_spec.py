"""What may be named as a source, and what each name makes."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from satdiag.errors import BadInput, NotAJob, SatdiagError
from satdiag.recorder.clock import Clock
from satdiag.recorder.gnss_source import GnssSource
from satdiag.recorder.heard import SourceTrouble
from satdiag.recorder.replay_source import ReplaySource
from satdiag.recorder.serial_source import SerialSource
from satdiag.recorder.spec import KINDS, make_source, parse_spec
from satdiag.store import create_job_file
from tests.helpers import make_job


@pytest.mark.parametrize(
    ("text", "kind", "where", "options"),
    [
        ("serial:COM3?profile=bench-lines", "serial", "COM3", {"profile": "bench-lines"}),
        (r"serial:\\.\COM12?profile=bench-lines", "serial", r"\\.\COM12", {"profile": "bench-lines"}),
        ("serial:/dev/ttyUSB0?profile=my dir/a=b.toml", "serial", "/dev/ttyUSB0", {"profile": "my dir/a=b.toml"}),
        (r"serial:COM3?profile=C:\demo\mine.toml", "serial", "COM3", {"profile": r"C:\demo\mine.toml"}),
        ("serial:socket://h:7?profile=x", "serial", "socket://h:7", {"profile": "x"}),
        ("serial:socket://h:7/?logging=debug?profile=x", "serial", "socket://h:7/?logging=debug", {"profile": "x"}),
        ("serial:socket://h:7/?logging=debug&profile=x", "serial", "socket://h:7/?logging=debug", {"profile": "x"}),
        ("serial:socket://h:7/?profile=x&logging=debug", "serial", "socket://h:7/?logging=debug", {"profile": "x"}),
        (
            "serial:rfc2217://h:7?ign_set_control&timeout=5?profile=x",
            "serial",
            "rfc2217://h:7?ign_set_control&timeout=5",
            {"profile": "x"},
        ),
        ("serial:hwgrep://demo.?a&n=2?profile=x", "serial", "hwgrep://demo.?a&n=2", {"profile": "x"}),
        ("gnss:/dev/ttyACM0", "gnss", "/dev/ttyACM0", {}),
        ("gnss:/dev/ttyACM0?baud=4800", "gnss", "/dev/ttyACM0", {"baud": "4800"}),
        (r"gnss:C:\logs\drive.nmea", "gnss", r"C:\logs\drive.nmea", {}),
        ("gnss:socket://h:7?logging=debug", "gnss", "socket://h:7?logging=debug", {}),
        ("replay:my job.satjob", "replay", "my job.satjob", {}),
        ("replay:../jobs/a?speed=0.5", "replay", "../jobs/a", {"speed": "0.5"}),
        (r"replay:C:\jobs\a?speed=max", "replay", r"C:\jobs\a", {"speed": "max"}),
    ],
)
def test_a_spec_is_parted_into_kind_place_and_our_own_options(text, kind, where, options):
    spec = parse_spec(text)
    assert (spec.text, spec.kind, spec.where, dict(spec.options)) == (text, kind, where, options)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("", "'' is no kind of source. Write serial:PORT-OR-URL?profile=NAME-OR-FILE or gnss:"),
        ("COM3", "'COM3' is no kind of source"),
        ("usb:COM3", "'usb' is no kind of source"),
        ("Serial:COM3", "'Serial' is no kind of source"),
        ("socket://127.0.0.1:7000", "'socket' is no kind of source. Write serial:"),
        ("gnss:", "does not say where. Write gnss:PORT-OR-URL-OR-FILE[?baud=N]"),
        ("replay: ?speed=2", "does not say where. Write replay:JOB[?speed=N]"),
        ("serial:?profile=x", "does not say where"),
        ("serial:COM3", "Profiles that come with satdiag: bench-lines, json-lines, polled-meter, volt-amp-meter"),
        ("serial:COM3?profile=", "'profile=' is blank: name one"),
        ("serial:COM3?profil=x", "'profil=x' is not an option of serial. There is profile=..."),
        ("serial:COM3?baud=9600&profile=x", "'baud=9600' is not an option of serial"),
        ("serial:COM3?profile=x&", "'' is not an option of serial"),
        ("serial:COM3?profile", "'profile' is not an option of serial"),
        ("serial:COM3?profile=x&profile=y", "'profile' stands there twice"),
        ("serial:socket://h:7?profil=x", "does not say what the lines mean"),
        ("gnss:COM3?baud=fast", "'baud=fast' is not a speed: write a whole number from 50 to 10000000"),
        ("gnss:COM3?baud=0", "is not a speed"),
        ("gnss:COM3?baud=-9600", "is not a speed"),
        ("gnss:COM3?baud=9600.5", "is not a speed"),
        ("gnss:COM3?baud=٩٦٠٠", "is not a speed"),
        ("gnss:COM3?baud=99999999999", "is not a speed"),
        (f"gnss:COM3?baud={'9' * 5000}", "is not a speed"),
        ("gnss:COM3?baud=9\x1b[2J", r"'baud=9\x1b[2J' is not a speed"),
        (
            "replay:x?speed=0",
            "'speed=0' is not a speed: write a number from 0.001 to 1000000, e.g. speed=60, or speed=max",
        ),
        ("replay:x?speed=-1", "is not a speed"),
        ("replay:x?speed=1,5", "is not a speed"),
        ("replay:x?speed=nan", "is not a speed"),
        ("replay:x?speed=inf", "is not a speed"),
        ("replay:x?speed=1e99", "is not a speed"),
        ("replay:x?from=noon", "'from=noon' is not an option of replay. There is speed=..."),
        ("usb\x1b[2J:x", r"'usb\x1b[2J' is no kind"),
    ],
)
def test_what_is_wrong_with_a_spec_is_told_with_what_there_is(text, found):
    with pytest.raises(SatdiagError) as caught:
        parse_spec(text)
    assert found in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert len(str(caught.value)) < 500


def test_every_kind_is_written_as_its_form_says():
    for name, kind in KINDS.items():
        assert kind.form.startswith(f"{name}:")
        assert all(f"{option}=" in kind.form for option in kind.options)


# --- what is made -----------------------------------------------------------------------------------------------


def made(text, **more):
    return make_source(parse_spec(text), Clock(), **more)


def test_serial_sources_are_named_after_their_profile():
    source = made("serial:loop://?profile=bench-lines")
    assert isinstance(source, SerialSource)
    assert source.name == "serial:bench-lines"
    assert source.where == "loop://, bench-lines"


def test_a_second_source_of_a_name_gets_a_number():
    taken = []
    for expected in ("serial:bench-lines", "serial:bench-lines/2", "serial:bench-lines/3"):
        source = made("serial:loop://?profile=bench-lines", taken_names=taken)
        assert source.name == expected
        taken.append(source.name)
    assert made("gnss:loop://", taken_names=["gnss"]).name == "gnss/2"


def test_a_profile_of_one_s_own_by_path_and_by_name(tmp_path, monkeypatch):
    text = Path(__file__).parents[2].joinpath("satdiag/recorder/profiles/bench-lines.toml").read_text("utf-8")
    (tmp_path / "mine.toml").write_text(text.replace('name = "bench-lines"', 'name = "mine"'), "utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    for option in ("mine.toml", "./mine.toml", str(tmp_path / "mine.toml"), os.path.join("~", "mine.toml")):
        assert made(f"serial:loop://?profile={option}").name == "serial:mine"
    monkeypatch.chdir(tmp_path.parent)
    assert made("serial:loop://?profile=mine", folders=[tmp_path]).name == "serial:mine"
    with pytest.raises(SatdiagError, match="'mine'"):
        made("serial:loop://?profile=mine")
    (tmp_path / "mine.toml").write_text("name = 1\n", "utf-8")
    with pytest.raises(BadInput):
        made("serial:loop://?profile=mine", folders=[tmp_path])


def test_a_place_that_can_be_no_port_is_refused_before_anything_is_opened():
    for text in ("serial:spy:///dev/ttyUSB0?profile=bench-lines", "serial:socket://h?profile=bench-lines"):
        with pytest.raises(SatdiagError) as caught:
            made(text)
        assert not isinstance(caught.value, SourceTrouble)


def test_a_vehicle_is_not_polled(tmp_path):
    text = Path(__file__).parents[2].joinpath("satdiag/recorder/profiles/bench-lines.toml").read_text("utf-8")
    (tmp_path / "v.toml").write_text(text.replace('kind = "bench"', 'kind = "vehicle"'), "utf-8")
    spec = f"serial:loop://?profile={tmp_path / 'v.toml'}"
    assert made(spec).name == "serial:bench-lines"
    with pytest.raises(SatdiagError, match="nothing is ever sent to a vehicle"):
        made(spec, poll=True)
    assert made("gnss:loop://", poll=True).name == "gnss"


def test_gnss_sources(tmp_path, monkeypatch):
    (tmp_path / "drive.nmea").write_bytes(b"")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    for where in ("drive.nmea", os.path.join("~", "drive.nmea"), str(tmp_path / "drive.nmea")):
        source = made(f"gnss:{where}")
        assert isinstance(source, GnssSource)
        assert source.can_wait  # a file, not a port
    assert "4800" in made("gnss:/dev/ttyACM7?baud=4800").where


def test_replays(tmp_path, monkeypatch):
    create_job_file(tmp_path / "x.satjob", make_job("0:00 power receiver awake"))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    for text, pace in (
        ("replay:x.satjob", "at its own pace"),
        ("replay:x.satjob?speed=60", "60 times as fast"),
        (f"replay:{os.path.join('~', 'x.satjob')}?speed=max", "as fast as it is taken"),
    ):
        source = made(text)
        assert isinstance(source, ReplaySource)
        assert source.name == "replay"
        assert source.where.endswith(pace)
    with pytest.raises(NotAJob):
        made("replay:none.satjob")


def test_parsing_imports_no_driver():
    code = (
        "import sys; there = set(sys.modules); from satdiag.recorder.spec import parse_spec; "
        "parse_spec('gnss:COM3?baud=9600'); "
        "parse_spec('replay:x'); "
        "print([name for name in ('serial', 'pandas', 'numpy', 'sqlite3') if name in sys.modules.keys() - there])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=240, check=True)
    assert done.stdout.strip() == "[]"
