"""`satdiag user`, and what `satdiag new` takes from the user folder."""

import pytest
from click.testing import CliRunner

from satdiag.cli import run
from satdiag.cli.user_cmd import user
from satdiag.errors import BadInput, SatdiagError
from satdiag.folder import export_files
from satdiag.opening import open_job
from satdiag.recorder.profile import profile_text
from satdiag.user_folder import KINDS

LINEUP = b"channel,name,category,packages\n31,North,talk,music\n"
CONSTELLATION = b'name = "two"\n[[satellite]]\nname = "east"\nlongitude_deg = -78.5\n'
RECEIVER = b'[receiver]\nlevel_scale = "bars/5"\nlevel_floor = 0\nbias_normal_ma = [15, 80]\nadaptor = "none"\n'
PROFILE = profile_text("bench-lines")[0].replace('name = "bench-lines"', 'name = "my-bench"').encode()
FILES = {
    ("profiles", "my-bench.toml"): PROFILE,
    ("lineups", "music.csv"): LINEUP,
    ("constellations", "two.toml"): CONSTELLATION,
    ("receivers", "old-unit.toml"): RECEIVER,
    ("learned", "counts.json"): b"{}",
}


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))
    for (_, name), data in FILES.items():
        (tmp_path / name).write_bytes(data)
    return tmp_path


def do(*words):
    """Run one `satdiag user` command and return its exit code and what it printed."""
    result = CliRunner().invoke(user, words, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result.return_value, result.output


def keep_all():
    for kind, name in FILES:
        do("add", kind, name)


def test_keep_show_carry_and_remove(here, monkeypatch):
    code, text = do("show")
    assert code == 0
    assert text.startswith(str(here / "user"))
    assert text.count(": none") == 5
    assert not (here / "user").exists()
    keep_all()
    code, text = do("show")
    assert code == 0
    assert "none" not in text
    for (_, name), data in FILES.items():
        assert f"  {name.rpartition('.')[0]:<30}{len(data):>10} bytes" in text
    _, text = do("export", "mine.zip")
    assert "lineups/music.csv" in text
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(here / "other"))
    _, text = do("import", "mine.zip")
    assert text.count(": new") == len(FILES)
    for (kind, name), data in FILES.items():
        assert (here / "other" / kind / name).read_bytes() == data
    _, text = do("import", "mine.zip")
    assert text.count(": there already") == len(FILES)
    (here / "other" / "lineups" / "music.csv").write_bytes(LINEUP + b"32,South,talk,talk\n")
    with pytest.raises(SatdiagError, match=r"different: lineups/music\.csv"):
        do("import", "mine.zip")
    _, text = do("import", "mine.zip", "--replace")
    assert "lineups/music.csv: replaced" in text
    _, text = do("remove", "lineups", "music")
    assert "music.csv" in text
    assert not (here / "other" / "lineups" / "music.csv").exists()


def test_show_names_what_is_not_in_order(here):
    keep_all()
    (here / "user" / "lineups" / "bad.csv").write_bytes(b"x\n")
    (here / "user" / "lineups" / "notes.txt").write_bytes(b"x\n")
    (here / "user" / "unwritten").mkdir()
    (here / "user" / "unwritten" / "job-unwritten.csv").write_bytes(b"x\n")
    code, text = do("show")
    assert code == 1
    assert "not in order: bad.csv, line 1: the first line is not the header" in text
    assert "lineups/notes.txt: not a file that satdiag keeps there" in text
    assert "job-unwritten.csv: rows that a recording could not write into its job" in text


@pytest.mark.parametrize(
    ("kind", "name", "data", "found"),
    [
        ("constellations", "demo-pair.toml", CONSTELLATION, "a constellation of that name comes with satdiag"),
        ("constellations", "x.toml", b"name = 1\n", "x.toml, line 1, column 'name'"),
        ("profiles", "x.toml", PROFILE, "the profile in it is named 'my-bench'. Call the file my-bench.toml"),
        ("profiles", "bench-lines.toml", profile_text("bench-lines")[0].encode(), "comes with satdiag"),
        ("profiles", "x.toml", b"nonsense", "not valid TOML"),
        ("receivers", "x.toml", b'[receiver]\nid = "DEMO1"\n', "column 'id'"),
    ],
)
def test_files_are_checked_by_the_rooms_that_use_them(here, kind, name, data, found):
    (here / name).write_bytes(data)
    with pytest.raises(BadInput) as caught:
        do("add", kind, name)
    assert found in str(caught.value)
    assert not (here / "user").exists()


@pytest.mark.parametrize("name", ["job", "job.satjob"])
def test_a_new_job_takes_copies_and_stands_alone(here, name):
    keep_all()
    options = [
        "--receiver-values",
        "old-unit",
        "--lineup",
        "music",
        "--constellation",
        "two",
        "--adaptor",
        "combiner",
    ]
    assert run(["new", name, *options, "--receiver-id", "DEMO0000A7"]) == 0
    job = open_job(name)
    receiver = job.sheet.receiver
    assert (receiver.level_scale, receiver.level_floor, receiver.bias_normal_ma) == ("bars/5", 0, (15, 80))
    assert (receiver.id, receiver.adaptor) == ("DEMO0000A7", "combiner")  # what an option gives counts more
    assert job.sheet.constellation == "constellation.toml"
    assert [channel.channel for channel in job.lineup] == [31]
    files = export_files(job)
    assert files["constellation.toml"] == CONSTELLATION
    assert files["lineup.csv"] == LINEUP
    for kind, kept in (("lineups", "music"), ("constellations", "two"), ("receivers", "old-unit")):
        do("remove", kind, kept)
    assert run(["check", name]) == 0


def test_names_and_files_may_be_joined(here):
    keep_all()
    (here / "more").write_bytes(b"channel,name,category,packages\n32,South,talk,talk\n")
    assert run(["new", "job", "--lineup", "music", "--lineup", "more", "--receiver-values", "old-unit.toml"]) == 0
    assert [channel.channel for channel in open_job("job").lineup] == [31, 32]
    assert open_job("job").sheet.receiver.level_scale == "bars/5"


@pytest.mark.parametrize(
    ("options", "found"),
    [
        (
            ["--lineup", "sport"],
            "'sport' does not exist, neither as a file nor among the lineups of your user folder (m",
        ),
        (["--receiver-values", "new-unit"], "among the receivers of your user folder (old-unit)"),
        (["--receiver-values", "two.toml"], "two.toml, line 1: it does not hold the table [receiver] alone"),
        (
            ["--constellation", "three"],
            "There is no constellation 'three'. Packaged: demo-pair, north-america-2300. In your user folder: two",
        ),
        (["--constellation", "demo-pair"], "'demo-pair' is packaged and in your user folder too"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_a_name_that_is_not_there_is_2_and_makes_nothing(here, options, found, capsys):
    keep_all()
    if "demo-pair" in options:
        (here / "user" / "constellations" / "demo-pair.toml").write_bytes(CONSTELLATION)
    assert run(["new", "job", *options]) == 2
    assert found in " ".join(capsys.readouterr().err.split())
    assert not (here / "job").exists()


def test_a_constellation_that_needs_elements_says_so(here, capsys):
    (here / "leo.toml").write_bytes(b'name = "x"\n[[satellite]]\nname = "a"\nelements = "elements.tle"\n')
    do("add", "constellations", "leo.toml")
    assert run(["new", "job", "--constellation", "leo"]) == 0
    assert "leo.toml needs elements.tle: put that file into the job too" in capsys.readouterr().err


def test_the_command_knows_every_kind():
    """They are written out there so that `--help` need not load the whole program."""
    assert tuple(user.commands["add"].params[0].type.choices) == tuple(KINDS)
