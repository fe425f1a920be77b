"""`satdiag schema`, `docs` and `selfcheck`."""

import json
import re
import sqlite3
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

import satdiag.cli.selfcheck_cmd as selfcheck_cmd
from satdiag.cli import run
from satdiag.cli.docs_cmd import topic_text, topics
from satdiag.opening import open_job
from satdiag.rows import Row, check_row
from satdiag.schema import job_schema
from satdiag.sheet import parse_sheet
from satdiag.vocabulary import FAULTS, KINDS, TABLE, takes_unreadable
from tests.bad_folders import BAD, LOG, SHEET
from tests.test_rows import EXAMPLES, VALUES

JOB = Draft202012Validator(job_schema())


def printed(capsys, *words):
    """What a command prints, if all goes well."""
    assert run(list(words)) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("words", [["schema"], ["schema", "findings"], ["schema", "job"]])
def test_schemas_are_schemas(words, capsys):
    schema = json.loads(printed(capsys, *words))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)
    assert schema["title"] == ("satdiag job" if "job" in words else "satdiag findings")


def sheet_of(text):
    """job.toml as JSON."""
    return json.loads(json.dumps(tomllib.loads(text), default=lambda moment: moment.isoformat()))


def row_of(line):
    """One line of the log as a JSON row."""
    return dict(zip(LOG.splitlines()[0].split(","), line.split(","), strict=True))


def test_a_sound_job_fits_the_schema():
    rows = [row_of(line) for line in LOG.splitlines()[1:] if '"' not in line]
    assert len(rows) == 4
    JOB.validate({"sheet": sheet_of(SHEET), "observations": rows})
    bundled = open_job(selfcheck_cmd.BUNDLED)
    columns = ("time", "kind", "subject", "value", "unit", "source", "note", "span_s")
    observations = [{name: getattr(row, name) for name in columns} for row in bundled.rows]
    JOB.validate({"sheet": sheet_of(bundled.documents["job.toml"].decode()), "observations": observations})


BEYOND = {
    # what needs another row or file, or the number behind a text
    *("zone", "package", "opened", "opened in year 1", "not TOML", "site not repeated", "unknown table"),
}


@pytest.mark.parametrize(
    "bad", [bad for bad in BAD if bad.file == "job.toml" and bad.name not in BEYOND], ids=lambda bad: bad.name
)
def test_a_faulty_sheet_does_not_fit(bad):
    sheet = sheet_of(SHEET.replace(bad.old, bad.new, 1))
    assert not JOB.is_valid({"sheet": sheet, "observations": []})


ROW_SCHEMA = Draft202012Validator({**job_schema()["$defs"]["observation"]})
PARTS = st.sampled_from(
    sorted(
        {"", "unreadable", "-4.5", "1e3", "7", "x y", "nan", "bars/5", "bars/05", "dB", "V", "031"}
        | {state for entry in TABLE for state in entry.states}
        | {unit for entry in TABLE for unit in entry.units}
        | {EXAMPLES.get(subject, subject) for entry in TABLE for subject in entry.subjects}
        | set(VALUES.values())
    )
)


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(KINDS), PARTS, PARTS, PARTS)
def test_the_schema_and_the_checker_agree_on_combinations(kind, subject, value, unit):
    """Except on ranges, whole numbers and sites, which the schema leaves to `check`."""
    row = Row("2031-05-03T13:40:00Z", kind, subject, value, unit)
    wrong = [w for w in check_row(row, None, {value}) if not re.search(r"is (below|above)|whole number", w.what)]
    assert ROW_SCHEMA.is_valid(_as_json(row)) == (not wrong)


@pytest.mark.parametrize("entry", TABLE, ids=lambda entry: f"{entry.kind} {entry.subjects[0]}")
def test_every_line_of_the_vocabulary_fits(entry):
    unit = (entry.units or ("",))[0]
    for template in entry.subjects:
        for value in entry.states or (VALUES[entry.value],):
            row = Row("2031-05-03T13:40:00Z", entry.kind, EXAMPLES.get(template, template), value, unit)
            ROW_SCHEMA.validate(_as_json(row))
        tried = row._replace(value="unreadable", unit="")
        free = entry.value in ("text", "row-id")
        assert ROW_SCHEMA.is_valid(_as_json(tried)) == (free or takes_unreadable(entry.kind))
        assert not ROW_SCHEMA.is_valid(_as_json(tried._replace(unit="V")))


def _as_json(row):
    return {name: getattr(row, name) for name in ("time", "kind", "subject", "value", "unit", "source", "note")}


# --- docs ----------------------------------------------------------------------------------------------------------


def test_docs_lists_topics_and_prints_them(capsys):
    listed = printed(capsys, "docs")
    assert [line.split()[0] for line in listed.splitlines()] == sorted(topics())
    assert {"log", "findings", "exposure", "cautions", "record", "live"} <= set(topics())
    for topic in topics():
        text = printed(capsys, "docs", topic)
        assert text.startswith("# ")
        assert "{{" not in text


def test_the_documented_sheet_is_a_legal_one_with_every_key():
    block = topic_text("log").split("```toml\n")[1].split("```")[0]
    sheet = parse_sheet(block)
    assert sheet.receiver.bias_normal_ma == (15, 80)
    for table, keys in json.loads(json.dumps(job_schema()["$defs"]["sheet"]["properties"])).items():
        properties = keys.get("properties") or keys["items"]["properties"]
        assert f"[{table}]" in block
        assert all(f"\n{key} = " in block for key in properties)


def test_the_documentation_names_the_vocabulary_and_every_fault():
    log = topic_text("log")
    for entry in TABLE:
        assert f"| {entry.kind} | " in log
        assert all(f"`{subject}`" in log for subject in entry.subjects)
    findings = topic_text("findings")
    assert [fault for fault in FAULTS if f"| {fault} |" not in findings] == []


def test_every_documented_command_is_one(capsys):
    from satdiag.cli import COMMANDS

    for topic in topics():
        for command in re.findall(r"`satdiag ([a-z]+)", topic_text(topic)):
            assert command in COMMANDS


# --- selfcheck -----------------------------------------------------------------------------------------------------


def test_selfcheck_passes_here(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert run(["selfcheck"]) == 0
    text = capsys.readouterr().out
    assert f"SQLite {sqlite3.sqlite_version}" in text
    assert "analysis of the bundled job (64 observations): fault, antenna, as it should be" in text
    assert "job file written and read back without loss" in text
    assert "can be written to" in text
    assert text.endswith("All that is needed works.\n")
    assert list(tmp_path.iterdir()) == []


REQUIREMENTS = [
    "click>=8",
    "numpy>=2 ; python_version >= '3'",
    'nosuchpart>=1 ; extra == "pdf"',
    "pytest; extra == 'dev'",
]


def test_selfcheck_tells_needed_parts_from_optional_ones(monkeypatch, capsys):
    monkeypatch.setattr(selfcheck_cmd, "requires", lambda _: REQUIREMENTS)
    found = selfcheck_cmd.version
    monkeypatch.setattr(selfcheck_cmd, "version", lambda name: "0.1.0" if name == "satdiag" else found(name))
    assert [line.passed for line in selfcheck_cmd._packages()] == [True, True]
    optional = list(selfcheck_cmd._extras())
    assert [line.passed for line in optional] == [None]
    assert 'pip install "satdiag[pdf]"' in optional[0].text
    monkeypatch.setattr(selfcheck_cmd, "requires", lambda _: ["nosuchpart>=1"])
    assert [line.passed for line in selfcheck_cmd._packages()] == [False]


@pytest.mark.parametrize(
    ("target", "found"),
    [
        ("satdiag.store.read_job_file", "Job file: RuntimeError: broken"),
        ("satdiag.analyse", "Analysis: RuntimeError: broken"),
        ("tempfile.TemporaryFile", "current folder"),
    ],
)
def test_selfcheck_is_1_if_a_needed_check_fails(monkeypatch, capsys, target, found):
    def broken(*_, **__):
        raise OSError(30, "Read-only file system") if target == "tempfile.TemporaryFile" else RuntimeError("broken")

    monkeypatch.setattr(target, broken, raising=False)
    assert run(["selfcheck"]) == 1
    failed = [line for line in capsys.readouterr().out.splitlines() if line.startswith("FAILED")]
    assert len(failed) == 1
    assert found in failed[0]
