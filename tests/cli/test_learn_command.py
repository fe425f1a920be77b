"""`satdiag learn`: closed jobs in, what moved out, taken back again; and `satdiag analyse` with what was learned."""

import json
import re
import shutil
from pathlib import Path

import pytest

from satdiag.cli import run
from satdiag.cli.learn_cmd import _show
from satdiag.cli.words import moved_share

SAMPLES = Path(__file__).parent.parent.parent / "sample_logs"


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))
    return tmp_path / "user" / "learned"


@pytest.fixture
def job(tmp_path):
    """A copy of a sample that nobody has closed yet."""
    place = tmp_path / "job"
    shutil.copytree(SAMPLES / "antenna-open", place)
    return place


def close(place, fault="antenna-open"):
    with (place / "observations.csv").open("a", encoding="utf-8") as file:
        file.write(f"2031-12-01T10:00:00Z,finding,{fault},confirmed,,hand,\n")


def told(capsys, *arguments):
    assert run(["learn", *map(str, arguments), "--json"]) == 0
    out = capsys.readouterr()
    return json.loads(out.out), out.err


def test_a_closed_job_is_learned_once_and_taken_back(job, home, capsys):
    close(job)
    document, err = told(capsys, job)
    assert "learned: antenna-open" in err
    assert document["jobs"] == 1
    assert document["found"] == {"antenna-open": 1}
    assert document["priors"][0]["fault"] == "antenna-open"
    document, err = told(capsys, job)
    assert "known already" in err
    assert document["jobs"] == 1
    name = document["lessons"][0]["job"]
    assert [path.name for path in home.iterdir()] == [f"lesson-{name}.json"]
    document, _ = told(capsys, "--forget", name)
    assert document["jobs"] == 0
    assert list(home.iterdir()) == []


@pytest.mark.parametrize("length", [93, 94, 100])
def test_a_job_with_a_very_long_id_is_learned_and_taken_back(length, job, home, capsys):
    name = ("demo-yard-7-" * 9)[:length]
    sheet = job / "job.toml"
    sheet.write_text(re.sub(r'(?m)^id = ".*"', f'id = "{name}"', sheet.read_text("utf-8"), count=1), "utf-8")
    close(job)
    document, err = told(capsys, job)
    assert f"{name}: learned: antenna-open" in err
    assert [one["job"] for one in document["lessons"]] == [name]
    assert "known already" in told(capsys, job)[1]
    document, _ = told(capsys, "--forget", name)
    assert document["jobs"] == 0
    assert list(home.iterdir()) == []


def test_a_job_closed_anew_takes_the_place_of_what_it_taught(job, capsys):
    close(job)
    told(capsys, job)
    close(job, "antenna-short")
    document, err = told(capsys, job)
    assert "in the place of what it taught before" in err
    assert document["found"] == {"antenna-open": 1, "antenna-short": 1}
    assert document["jobs"] == 1


def test_a_verdict_of_our_own_teaches_nothing(job, home, capsys):
    document, err = told(capsys, job)
    assert "not closed, nothing learned" in err
    assert document["jobs"] == 0
    assert not home.exists()


def test_what_was_learned_moves_the_analysis_unless_the_packaged_figures_are_asked_for(job, tmp_path, capsys):
    def probability(*options):
        assert run(["analyse", str(SAMPLES / "resend-due"), "--json", *options]) == 0
        found = json.loads(capsys.readouterr().out)["diagnosis"]
        return found["learned_jobs"], found["faults"]["id-mismatch"]

    before = probability()
    for number in range(3):
        place = tmp_path / f"closed-{number}"
        shutil.copytree(SAMPLES / "wrong-id", place)
        text = (place / "job.toml").read_text("utf-8")
        first = next(line for line in text.splitlines() if line.startswith("id = "))
        (place / "job.toml").write_text(text.replace(first, f'id = "closed-{number}"', 1), "utf-8")
        close(place, "id-mismatch")
        assert run(["learn", str(place)]) == 0
    capsys.readouterr()
    after = probability()
    assert (before[0], after[0]) == (0, 3)
    assert after[1] != before[1]
    assert probability("--packaged") == (0, before[1])


def test_it_is_told_in_words(job, capsys):
    assert run(["learn"]) == 0
    assert "Nothing was learned yet" in capsys.readouterr().out
    close(job)
    assert run(["learn", str(job)]) == 0
    out = capsys.readouterr().out
    assert "1 closed jobs" not in out
    assert "1 closed job;" in out
    assert "antenna-open" in out
    assert "--forget" in out


@pytest.mark.parametrize(
    ("before", "now", "wanted"),
    [
        (0.04, 0.0004, "4.0% -> under 0.1%"),
        (1e-12, 0.0, "under 0.1% -> 0.0%"),
        (0.0006, 0.9994, "0.1% -> 99.9%"),
        (0.9999, 1.0, "over 99.9% -> 100.0%"),
    ],
)
def test_what_is_small_is_not_said_to_be_nothing(before, now, wanted):
    assert moved_share({"before": before, "now": now}) == wanted


def test_a_share_that_is_small_is_told_so_in_the_table(capsys):
    moved = {"reason": "complaint", "fault": "antenna-open", "before": 0.0003, "now": 0.0041}
    _show({"jobs": 2, "weight": 1.3, "found": {"antenna-open": 2}, "priors": [moved], "kinds": [], "rows": []})
    assert "  complaint: antenna-open under 0.1% -> 0.4%\n" in capsys.readouterr().out


def test_bad_input_is_one_error_and_nothing_is_lost(job, home, capsys):
    close(job)
    assert run(["learn", str(job)]) == 0
    capsys.readouterr()
    assert run(["learn", "--forget", "nobody"]) == 2
    assert "lesson-nobody" in capsys.readouterr().err
    assert run(["learn", str(job / "nothing")]) == 2
    (lesson,) = home.iterdir()
    lesson.write_text("{}", "utf-8")
    assert run(["analyse", str(job)]) == 2
    assert lesson.name in capsys.readouterr().err
    assert run(["analyse", str(job), "--packaged"]) == 0


def test_what_one_can_do_is_asked_for_by_name(capsys):
    assert run(["analyse", str(SAMPLES / "feed-lossy"), "--can", "help"]) == 0  # who asks for help makes no mistake
    assert "bias-meter: " in capsys.readouterr().out
    assert run(["analyse", str(SAMPLES / "feed-lossy"), "--can", "bias-meter,magic"]) == 2
    assert "--can does not know magic" in capsys.readouterr().err
    assert run(["analyse", str(SAMPLES / "feed-lossy"), "--can", "", "--json"]) == 0
    offered = json.loads(capsys.readouterr().out)["diagnosis"]["next_tests"]
    assert "noise-rise" not in [test["test"] for test in offered]


def test_side_by_side(capsys):
    arguments = ["analyse", str(SAMPLES / "antenna-open"), "--json", "--reference", str(SAMPLES / "antenna-open")]
    assert run(arguments) == 0
    beside = json.loads(capsys.readouterr().out)["diagnosis"]["beside"]
    assert beside["state"] == "alike-bad"
    assert beside["minutes"] > 1
    assert run(["analyse", str(SAMPLES / "antenna-open"), "--reference", "nowhere"]) == 2
