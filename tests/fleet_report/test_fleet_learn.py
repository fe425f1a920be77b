"""`satdiag fleet learn`: what is kept, what it does to an analysis, and how it is taken back. Made-up fleets."""

import json
from pathlib import Path

import numpy as np
import pytest

import satdiag
from satdiag.cli import run
from satdiag.diagnosis.learning import PACKAGED
from satdiag.fleet import pool
from satdiag.fleet.pool_jobs import closed_jobs, rows_that_teach
from satdiag.kept import PREFIX, analyse_here, learned_here, lessons_kept, pool_here, wait_here
from satdiag.user_folder import entries, keep
from tests.fleet_report import made_fleet as made

SAMPLES = Path(__file__).parents[2] / "sample_logs"


@pytest.fixture
def own_folder(tmp_path, monkeypatch):
    """A user folder of the test's own."""
    place = tmp_path / "user"
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(place))
    return place


@pytest.fixture
def fleet(tmp_path):
    """120 jobs that tell their waits, the first 60 closed with one fault in front."""
    jobs, evidence = made.closed_fleet(60, 2)
    rows = made.fleet_with_waits(120, 1)
    for row, closed in zip(rows, jobs, strict=False):
        row |= {
            name: closed[name]
            for name in ("reason", "confirmed_fault", "state", "class", "fault", "probability", "sure")
        }
    return made.write(tmp_path / "fleet", rows, evidence)


def said(capsys, *arguments):
    assert run(["fleet", "learn", *map(str, arguments)]) == 0
    return capsys.readouterr().out


def test_a_dry_run_keeps_nothing(fleet, own_folder, capsys):
    text = said(capsys, fleet, "--dry-run")
    assert "Would be kept" in text
    assert "it rises" in text
    assert entries() == []
    assert learned_here() is PACKAGED


def test_what_is_learned_is_kept_used_shown_and_taken_back(fleet, own_folder, capsys):
    job = satdiag.open_job(SAMPLES / "filling")
    plain = satdiag.analyse(job)
    assert analyse_here(job) == plain
    text = said(capsys, fleet)
    assert "60 closed jobs" in text
    assert "complaint: antenna-open" in text
    found = analyse_here(job)
    assert found.diagnosis.learned_jobs == 60
    assert found.entitlement.wait_prior_jobs == 120
    assert found.entitlement.typical_wait_s != plain.entitlement.typical_wait_s
    assert said(capsys).splitlines()[0] in text
    assert run(["analyse", str(SAMPLES / "filling"), "--packaged", "--json"]) == 0
    packaged = json.loads(capsys.readouterr().out)
    assert (packaged["diagnosis"]["learned_jobs"], packaged["entitlement"]["wait_prior_jobs"]) == (0, 0)
    assert run(["fleet", "learn", "--forget"]) == 0
    assert entries() == []
    assert analyse_here(job) == plain
    assert run(["fleet", "learn", "--forget"]) == 0
    assert "Nothing of a fleet" in capsys.readouterr().err


def test_the_same_fleet_gives_the_same_file(fleet, own_folder, capsys):
    said(capsys, fleet)
    before = entries()[0].path.read_bytes()
    said(capsys, fleet)
    assert entries()[0].path.read_bytes() == before


def test_as_json(fleet, own_folder, capsys):
    found = json.loads(said(capsys, fleet, "--json", "--dry-run"))
    assert found["closed"] == 60
    assert found["faults"]["jobs"] == 60
    assert found["faults"]["rises"] is True
    assert found["waits"]["after"] > found["waits"]["before"]
    assert found["kept"] is False
    assert json.loads(said(capsys, "--json")) is None


def test_a_job_with_a_lesson_of_its_own_counts_once(fleet, own_folder, capsys):
    said(capsys, fleet)
    alone = learned_here()
    closed = closed_jobs(rows_that_teach(fleet), fleet, satdiag.diagnosis.model.load_model())
    for job in closed[:5]:
        keep("learned", f"{PREFIX}{job.lesson.job}.json", job.lesson.text().encode(), {})
    assert len(lessons_kept()) == 5
    assert learned_here().jobs == alone.jobs
    assert learned_here().weight == alone.weight
    text = closed[0].lesson.text().replace(closed[0].lesson.job, "demo-elsewhere")
    keep("learned", f"{PREFIX}demo-elsewhere.json", text.encode(), {})
    assert learned_here().jobs == alone.jobs + 1


def test_where_nothing_is_foretold_better_nothing_is_kept(tmp_path, own_folder, capsys):
    """Waits even over the whole packaged prior, faults drawn at its own rates: there is nothing to learn."""
    rng = np.random.default_rng(3)
    rows = [
        made.job(k, **made.times(float(np.exp(rng.uniform(np.log(10), np.log(14400))) / 3600), 0.1))
        for k in range(60)
    ]
    fleet = made.write(tmp_path / "even", rows)
    text = said(capsys, fleet)
    assert "it does not rise beyond its standard error" in text
    assert "Nothing is kept" in text
    assert entries() == []
    assert "Kept, though not every score rises" in said(capsys, fleet, "--anyway")
    assert pool_here().faults is None
    assert wait_here(satdiag.open_job(SAMPLES / "filling")).jobs == 60


def test_a_fleet_without_anything_to_learn(tmp_path, own_folder, capsys):
    text = said(capsys, made.write(tmp_path / "none", []))
    assert "nothing to learn: no closed job" in text
    assert "Nothing is kept: this data set has nothing to learn from." in text
    assert "stands as it was" not in text


@pytest.mark.parametrize("option", ["--dry-run", "--anyway"])
def test_options_that_need_a_data_set(option, own_folder, capsys):
    assert run(["fleet", "learn", option]) == 2
    assert "need DIR" in capsys.readouterr().err


def test_what_was_kept_before_stands_where_another_fleet_teaches_nothing(fleet, tmp_path, own_folder, capsys):
    text = said(capsys, fleet, "--anyway")  # both scores rise
    assert "\nKept:\n" in text
    before = pool_here()
    text = said(capsys, made.write(tmp_path / "none", []), "--anyway")
    assert text.endswith(
        "What a fleet taught before stands as it was; `satdiag fleet learn --forget` takes it back.\n"
    )
    assert pool_here() == before


def test_verdicts_teach_nothing(fleet, tmp_path, own_folder):
    """The same fleet with every verdict turned over gives the same pool."""
    before = pool.learn(fleet).pool(anyway=True).text()
    rows = rows_of(fleet)
    turned = made.write(
        tmp_path / "turned", [{**row, **made.verdict("indoors", 0.99, True)} for row in rows], evidence_of(fleet)
    )
    assert pool.learn(turned).pool(anyway=True).text() == before


def test_a_job_that_has_grown_teaches_once(fleet, tmp_path):
    rows = rows_of(fleet)
    old = {**rows[0], "key": "older", "hash": "older", "place": "older", "ended": rows[0]["started"]}
    found = pool.learn(made.write(tmp_path / "grown", [*rows, old], evidence_of(fleet)))
    assert found.closed == 60
    assert found.wait_jobs == 120


def rows_of(fleet):
    from satdiag.fleet.dataset import JOBS, read_table

    return read_table(fleet, "jobs", JOBS.names).to_pylist()


def evidence_of(fleet):
    from satdiag.fleet.dataset import EVIDENCE, read_table

    return read_table(fleet, "evidence", EVIDENCE.names).to_pylist()


def test_a_folder_without_a_data_set_is_one_clear_error(tmp_path, own_folder, capsys):
    for part in ("learn", "report"):
        assert run(["fleet", part, str(tmp_path)]) == 2
        assert "no data set of a fleet here" in capsys.readouterr().err
    assert run(["fleet", "learn", str(tmp_path), "--forget"]) == 2


def test_a_broken_file_says_how_to_mend_it(own_folder, capsys):
    keep("learned", "fleet.json", b'{"form": 1, "faults": null, "waits": 3, "known": [], "said": {}}', {})
    assert run(["fleet", "learn"]) == 2
    assert "`satdiag fleet learn --forget`" in capsys.readouterr().err
    assert run(["fleet", "learn", "--forget"]) == 0
