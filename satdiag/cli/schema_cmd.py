"""`satdiag schema [findings|job]`: the published JSON Schemas."""

from __future__ import annotations

import json

import click


@click.command()
@click.argument("which", type=click.Choice(["findings", "job"]), default="findings")
def schema(which: str) -> None:
    """Print the JSON Schema (2020-12) of the findings document, or of a job's sheet and observations."""
    if which == "findings":
        from satdiag.findings_schema import findings_schema

        document = findings_schema()
    else:
        from satdiag.schema import job_schema

        document = job_schema()
    click.echo(json.dumps(document, indent=1, ensure_ascii=False))
