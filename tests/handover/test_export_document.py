"""The JSON document against its published schema, by the reference implementation in Python (jsonschema)."""

from __future__ import annotations

import copy
import json

import jsonschema
import pytest

from satdiag.cli import run
from satdiag.handover.document import export_document, export_schema
from satdiag.job import columns_of
from tests.handover.jobs import RECEIVER_ID, job_and_findings


@pytest.fixture(scope="module")
def document():
    return json.loads(json.dumps(export_document(*job_and_findings()), allow_nan=False))


@pytest.fixture(scope="module")
def checker():
    jsonschema.Draft202012Validator.check_schema(export_schema())
    return jsonschema.Draft202012Validator(export_schema())


def test_it_is_as_the_schema_says(document, checker):
    assert list(checker.iter_errors(document)) == []


@pytest.mark.parametrize(
    "change",
    [
        lambda made: made.pop("findings"),
        lambda made: made.update(extra=1),
        lambda made: made["observations"][0].update(kind="nonsense"),
        lambda made: made["findings"]["verdict"].update(state="perhaps"),
        lambda made: made["sheet"]["job"].update(id="a b"),
        lambda made: made["lineup"][0].update(channel="31"),
        lambda made: made.update(job_sha256="x"),
    ],
)
def test_the_schema_refuses_what_is_not_so(document, checker, change):
    spoiled = copy.deepcopy(document)
    change(spoiled)
    assert list(checker.iter_errors(spoiled))


def test_rows_are_those_of_the_log(document):
    made, findings = job_and_findings()
    columns = columns_of(made.header)
    masked = {key: text for key, text in made.rows[7]._asdict().items() if key in columns}
    masked["value"] = "label says •••••••0A7"
    assert document["observations"][7] == masked
    others = [number for number in range(len(made.rows)) if number != 7]
    for number in others:
        assert document["observations"][number] == {name: getattr(made.rows[number], name) for name in columns}
    assert document["findings"]["verdict"]["state"] == findings.verdict.state


def test_the_identifier_is_masked_unless_asked_for(document):
    assert RECEIVER_ID.lower() not in json.dumps(document, ensure_ascii=False).lower()
    assert document["sheet"]["receiver"]["id"] == "•••••••0A7"
    full = export_document(*job_and_findings(), full_id=True)
    assert full["sheet"]["receiver"]["id"] == RECEIVER_ID
    assert full["full_id"] is True


def test_the_command_prints_the_schema(capsys):
    assert run(["schema", "export"]) == 0
    assert json.loads(capsys.readouterr().out) == export_schema()
