"""`compare`, `confirm --record`, `verify` and `redact` as a person types them."""

import contextlib
import io
import json
import shutil

import jsonschema
import pytest

from satdiag import cli


def run(*arguments):
    """One command line: exit code, output, complaints."""
    out, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
        code = cli.run([str(one) for one in arguments])
    return code, out.getvalue(), said.getvalue()


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    place = tmp_path_factory.mktemp("record") / "record.html"
    code, out, said = run("confirm", "sample_logs/filling", "--record", place, "--by", "Demo Fitter", "--lang", "fr")
    assert code == 1, said  # not confirmed yet, and the record says so
    assert "SHA-256" in said
    assert "Pas" in out or "Continuez" in out
    return place


def test_a_record_belongs_to_its_job_and_to_no_other(record, tmp_path):
    code, out, _ = run("verify", record, "sample_logs/filling")
    assert code == 0, out
    assert "does not prove who made them" in out
    code, out, _ = run("verify", record, "sample_logs/complete")
    assert code == 1
    assert "The record is of job" in out
    copy = tmp_path / "job"
    shutil.copytree("sample_logs/filling", copy)
    rows = (copy / "observations.csv").read_text("utf-8")
    (copy / "observations.csv").write_text(rows.replace(",authorised,", ",refused,", 1), encoding="utf-8", newline="")
    code, out, _ = run("verify", record, copy)
    assert code == 1
    assert "The job was changed" in out


def test_a_changed_word_is_shown_as_json_too(record, tmp_path):
    changed = tmp_path / "r.html"
    changed.write_text(record.read_text("utf-8").replace("Demo Fitter</dd>", "Demo Other</dd>"), encoding="utf-8")
    code, out, _ = run("verify", changed, "sample_logs/filling", "--json")
    found = json.loads(out)
    assert (code, found["belongs"]) == (1, False)
    assert [one["name"] for one in found["checks"] if one["holds"] is False] == ["page"]


def test_what_cannot_be_read_exits_with_2(record, tmp_path):
    assert run("verify", tmp_path / "nothing.html", "sample_logs/filling")[0] == 2
    assert run("verify", "README.md", "sample_logs/filling")[0] == 2
    assert run("verify", record, tmp_path)[0] == 2
    code, _, said = run("confirm", "sample_logs/filling", "--by", "Demo Fitter")
    assert code == 2
    assert "--record" in said


def test_compare_prints_json_that_fits_its_schema_and_a_page(tmp_path):
    page = tmp_path / "c.html"
    code, out, _ = run("compare", "sample_logs/indoors", "sample_logs/complete", "--json", "--report", page)
    assert code == 0
    schema = json.loads(run("schema", "compare")[1])
    jsonschema.validate(json.loads(out), schema)
    assert page.read_text("utf-8").startswith("<!DOCTYPE html>")


def test_compare_says_which_arguments_it_needs():
    for arguments in (("sample_logs/indoors",), ("sample_logs/indoors", "--visits", "one,two")):
        code, _, said = run("compare", *arguments)
        assert code == 2
        assert "--visits" in said
    code, _, said = run("compare", "sample_logs/indoors", "--visits", "1,9")
    assert code == 2
    assert "no visit 9" in said


def test_redact_prints_what_it_took_out_and_writes_a_job_that_opens(tmp_path):
    code, out, _ = run("redact", "sample_logs/indoors", tmp_path / "out.satjob", "--shift-time", "-3")
    assert code == 0, out
    assert "receiver identifiers taken out: 1" in out
    assert "the same verdict" in out
    assert run("check", tmp_path / "out.satjob")[0] == 0
    assert run("redact", "sample_logs/indoors", tmp_path / "out.satjob")[0] == 2  # never over anything


def test_the_record_schema_is_printed():
    assert json.loads(run("schema", "record")[1])["title"] == "satdiag acceptance record"
