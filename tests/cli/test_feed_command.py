"""`satdiag feed`: a job in words, as JSON and as a page; figures without a job; readings kept for other jobs."""

import json
import shutil
import tomllib
from pathlib import Path

import pytest

from satdiag.cli import run
from satdiag.folder import export_files, write_folder
from satdiag.store import create_job_file
from satdiag.user_folder import parse_receiver_values
from tests.helpers import make_job
from tests.references import feed_values as values

SAMPLES = Path(__file__).parent.parent.parent / "sample_logs"
GIVEN = ("--gain", "28", "--nf", "0.8", "--cable-loss", "6", "--receiver-nf", "6", "--antenna-k", "100")
SHEET = """
[receiver]
id = "DEMO0000A7"
bias_nominal_v = 5.0
antenna_lead = "single"
adaptor = "none"
"""
ROWS = "0:00 place vehicle open-sky\n" + "".join(
    f"{60 * nth + 60} lock satellite:east yes\n{60 * nth + 70} bias voltage 4.6 V\n"
    f"{60 * nth + 72} bias current {41 + 0.2 * nth} mA note='seen on DEMO0000A7'\n"
    for nth in range(5)
)


@pytest.fixture(autouse=True)
def _apart(tmp_path, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))


@pytest.fixture
def job(tmp_path):
    """A job folder in which the receiver works."""
    place = tmp_path / "job"
    write_folder(export_files(make_job(ROWS, SHEET)), place)
    return place


def said(capsys, *words):
    code = run(["feed", *map(str, words)])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


# --- a job -------------------------------------------------------------------------------------------------------


def test_a_job_in_words(capsys, job):
    code, out, err = said(capsys, job)
    assert (code, err) == (0, "")
    assert out.startswith("antenna feed: normal")
    assert "learnt from 2 readings" in out
    assert "conductor at the receiver: the right one" in out
    assert "DEMO0000A7" not in out


def test_a_job_as_json(capsys, job):
    code, out, _ = said(capsys, job, "--json")
    document = json.loads(out)
    assert code == 0
    assert document["bias"]["leads"][0]["state"] == "normal"
    assert document["noise_rise"] is None
    assert document["adaptor"]["conclusion"] == "fits"
    assert document["could_not"] == []


def test_a_job_file_says_the_same(capsys, job, tmp_path):
    create_job_file(tmp_path / "job.satjob", make_job(ROWS, SHEET))
    assert said(capsys, tmp_path / "job.satjob")[1] == said(capsys, job)[1]


@pytest.mark.parametrize("name", ["antenna-open", "feed-absent", "feed-lossy", "foliage", "node-unpowered"])
def test_samples_are_shown(capsys, name):
    code, out, _ = said(capsys, SAMPLES / name)
    assert code == 0
    assert "antenna feed: " in out


def test_a_job_without_anything_of_the_feed(capsys, tmp_path):
    write_folder(export_files(make_job("0:00 note - a")), tmp_path / "bare")
    code, out, _ = said(capsys, tmp_path / "bare")
    assert code == 0
    assert out.startswith("Nothing of the antenna's feed was logged.")
    assert "Note: No voltage or current of the antenna's feed was measured" in out


def test_a_page(capsys, tmp_path):
    page = tmp_path / "feed.html"
    code, _, err = said(capsys, SAMPLES / "feed-absent", "--report", page)
    assert code == 0
    assert "page written" in err
    text = page.read_text("utf-8")
    assert "drawing-noise-rise" in text
    assert "drawing-feed" in text
    assert "never push meter probes into the socket" in text
    assert said(capsys, SAMPLES / "feed-absent", "--report", page)[0] == 0  # over the older page


# --- figures without a job ---------------------------------------------------------------------------------------


def test_the_worked_example_by_the_command_line(capsys):
    code, out, _ = said(capsys, "--rise", *GIVEN, "--antenna-gain", "3", "--json")
    document = json.loads(out)
    added, figure, system, g_over_t = values.BUDGET[6.0]
    assert code == 0
    assert document["rise_db"] == pytest.approx(13.56, abs=0.006)
    assert document["added_k"] == pytest.approx(added, abs=0.01)
    assert document["noise_figure_db"] == pytest.approx(figure, abs=1e-3)
    assert document["system_k"] == pytest.approx(system, abs=0.01)
    assert document["g_over_t_db_k"] == pytest.approx(g_over_t, abs=0.006)
    cost = {one["extra_loss_db"]: one["g_over_t_cost_db"] for one in document["losses"]}
    assert cost[10.0] == pytest.approx(1.45, abs=0.006)
    assert {one["standing"] for one in document["inputs"]} == {"the user's figure"}


def test_every_figure_is_shown_with_its_standing(capsys):
    code, out, _ = said(capsys, "--rise", "--gain", "25,30", "--extra-loss", "12")
    assert code == 0
    assert "25 to 30 dB" in out
    assert out.count("judgement, no source") == 3
    assert out.count("common practice, from memory") == 2
    assert "12\u202fdB" in out
    assert "cost in G/T" in out


def test_under_a_roof_the_rise_grows(capsys):
    rises = [
        json.loads(said(capsys, "--rise", *GIVEN, "--place", place, "--json")[1])["rise_db"]
        for place in ("open-sky", "indoors")
    ]
    assert rises[1] > rises[0] + 2


@pytest.mark.parametrize(
    ("words", "what"),
    [
        ((), "Name a job, or give --rise"),
        (("--gain", "28"), "Name a job, or give --rise"),
        (("--rise", "job"), "stands alone"),
        (("--rise", "--learn", "x.toml"), "stands alone"),
        (("job", "--gain", "28"), "Figures go with --rise"),
        (("--rise", "--gain", "much"), "is not a number or a pair"),
        (("--rise", "--gain", "1,2,3"), "is not a number or a pair"),
        (("--rise", "--gain", "30,25"), "does not rise"),
        (("--rise", "--nf", "-1"), "outside 0 .. 20"),
        (("--rise", "--antenna-k", "nan"), "is not a number or a pair"),
        (("--rise", "--extra-loss", "1,2"), "more than one number"),
        (("--rise", "--extra-loss", "-3"), "outside 0 .. 100"),
        (("--rise", "--place", "moon"), "moon"),
    ],
)
def test_bad_usage_is_one_clear_error(capsys, words, what):
    code, out, err = said(capsys, *words)
    assert (code, out) == (2, "")
    assert what in err


def test_a_missing_job_is_one_clear_error(capsys, tmp_path):
    code, out, err = said(capsys, tmp_path / "none")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("lines", "what"),
    [
        ("[receiver]\nbias_series_ohm = -1\n", "outside 0 .. 1000"),
        ("[receiver]\nbias_learnt_ma = 41\n", "is not a list of numbers"),
        ('[receiver]\nbias_learnt_ma = [41, "x"]\n', "is not a list of numbers"),
        ("[receiver]\nbias_learnt_v = [-1.0]\n", "is not a list of numbers"),
        ("[receiver]\nbias_learnt_v = [nan]\n", "is not a list of numbers"),
        (f"[receiver]\nbias_learnt_ma = {[1] * 201}\n", "more than 200"),
        ("[feed]\ngain_db = 70\n", "outside -10 .. 60"),
        ("[feed]\ngain_db = true\n", "is not a number or a pair"),
        ("[feed]\ngain_db = [30, 25]\n", "does not rise"),
        ("[feed]\nlead_loss_db = [3]\n", "is not a number or a pair"),
        ("[feed]\nantenna_k = 0\n", "outside 3 .. 1000"),
        ("[feed]\nloss = 3\n", "unknown key 'loss'"),
    ],
)
def test_a_wrong_sheet_names_the_line(capsys, job, lines, what):
    sheet = job / "job.toml"
    sheet.write_text('[job]\nid = "x"\n' + lines, "utf-8")
    code, out, err = said(capsys, job)
    assert (code, out) == (2, "")
    assert err.startswith("job.toml, line 4")
    assert what in err
    assert err.count("\n") == 1


# --- kept readings -----------------------------------------------------------------------------------------------


def test_normal_readings_are_kept_and_used_in_another_job(capsys, job, tmp_path):
    place = tmp_path / "demo-kind.toml"
    code, _, err = said(capsys, job, "--learn", place)
    assert code == 0
    assert "10 readings taken while the receiver worked" in err
    kept = parse_receiver_values(place.read_text("utf-8"), place.name)
    assert kept["bias_learnt_ma"] == [41, 41.2, 41.4, 41.6, 41.8]
    assert kept["bias_learnt_v"] == [4.6] * 5
    assert "id" not in kept
    assert run(["user", "add", "receivers", str(place)]) == 0
    assert run(["new", str(tmp_path / "next"), "--id", "next", "--receiver-values", "demo-kind"]) == 0
    sheet = tomllib.loads((tmp_path / "next" / "job.toml").read_text("utf-8"))
    assert sheet["receiver"]["bias_learnt_ma"] == [41, 41.2, 41.4, 41.6, 41.8]
    for value, unit, subject in (("60", "mA", "current"), ("4.4", "V", "voltage")):
        assert run(["note", str(tmp_path / "next"), "bias", subject, value, unit]) == 0
    capsys.readouterr()
    document = json.loads(said(capsys, tmp_path / "next", "--json")[1])
    assert document["bias"]["state"] == "high"
    assert document["bias"]["leads"][0]["windows"]["learnt_ma"]["n_kept"] == 5


def test_kept_readings_grow_from_job_to_job(capsys, tmp_path):
    write_folder(export_files(make_job(ROWS, SHEET + "bias_learnt_ma = [40.5]\n")), tmp_path / "job")
    assert said(capsys, tmp_path / "job", "--learn", tmp_path / "more.toml")[0] == 0
    kept = parse_receiver_values((tmp_path / "more.toml").read_text("utf-8"), "more.toml")
    assert kept["bias_learnt_ma"] == [40.5, 41, 41.2, 41.4, 41.6, 41.8]


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ("30:00 finding antenna-weak confirmed", "antenna-weak was confirmed"),
        ("30:00 bias current 0 mA\n30:10 bias current 0 mA", "The feed's state is open"),
    ],
)
def test_a_faulty_job_teaches_nothing(capsys, tmp_path, more, what):
    write_folder(export_files(make_job(ROWS + more, SHEET)), tmp_path / "job")
    code, out, err = said(capsys, tmp_path / "job", "--learn", tmp_path / "x.toml")
    assert (code, out) == (2, "")
    assert what in err
    assert not (tmp_path / "x.toml").exists()


def test_a_job_in_which_the_receiver_never_worked_teaches_nothing(capsys, tmp_path):
    write_folder(export_files(make_job("0:00 bias current 41 mA", SHEET)), tmp_path / "job")
    code, _, err = said(capsys, tmp_path / "job", "--learn", tmp_path / "x.toml")
    assert code == 2
    assert "No reading of a single lead was taken while the receiver was seen to work" in err


def test_nothing_is_written_over(capsys, job, tmp_path):
    place = tmp_path / "demo-kind.toml"
    place.write_text("mine", "utf-8")
    code, _, err = said(capsys, job, "--learn", place)
    assert code == 2
    assert "there already" in err
    assert place.read_text("utf-8") == "mine"


def test_the_sample_of_a_confirmed_fault_is_left_as_it_was(capsys, tmp_path):
    shutil.copytree(SAMPLES / "feed-lossy", tmp_path / "job")
    before = {path.name: path.read_bytes() for path in (tmp_path / "job").iterdir()}
    said(capsys, tmp_path / "job", "--learn", tmp_path / "x.toml")
    assert {path.name: path.read_bytes() for path in (tmp_path / "job").iterdir()} == before
