"""`satdiag schema [NAME]`: the published JSON Schemas."""

from __future__ import annotations

import json

import click


@click.command()
@click.argument(
    "which", type=click.Choice(["findings", "job", "acceptance", "export", "compare", "record"]), default="findings"
)
def schema(which: str) -> None:
    """Print the JSON Schema (2020-12) of a document; of the findings if none is named.

    findings: `analyse --json`; job: sheet and observations; acceptance: `confirm --json`; export: `export --json`;
    compare: `compare --json`; record: the data of an acceptance record."""
    if which == "findings":
        from satdiag.findings_schema import findings_schema

        document = findings_schema()
    elif which == "acceptance":
        from satdiag.acceptance import acceptance_schema

        document = acceptance_schema()
    elif which == "export":
        from satdiag.handover.document import export_schema

        document = export_schema()
    elif which == "compare":
        from satdiag.acceptance import compare_schema

        document = compare_schema()
    elif which == "record":
        from satdiag.acceptance import record_schema

        document = record_schema()
    else:
        from satdiag.schema import job_schema

        document = job_schema()
    click.echo(json.dumps(document, indent=1, ensure_ascii=False))
