"""The form that `satdiag new` fills: job.toml as it is written, and the site as it is typed."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from satdiag.cli.sheet_fields import FEW, FIELDS, TABLES, Field, as_number

if TYPE_CHECKING:
    from satdiag.job import Job

__all__ = ["FIELDS", "Field", "empty_job", "id_from", "read_site", "sheet_text"]

_SITE_COMMENT = "where the vehicle stands; may be repeated, each with a name"
_SITE_KEYS = ("name", "latitude_deg", "longitude_deg", "height_m", "timezone")
_SITE_EXAMPLE = ('"yard"', "41.2", "-96.1", "300.0", '"America/Chicago"')


def read_site(text: str) -> dict[str, Any]:
    """'NAME,LAT,LON[,HEIGHT_M[,TIMEZONE]]' as a [[site]]. Raises click.BadParameter."""
    from satdiag.sheet import KEYS

    parts = [part.strip() for part in text.split(",")]
    if not 3 <= len(parts) <= 5 or not parts[0]:
        raise click.BadParameter(f"'{text}' is not NAME,LAT,LON[,HEIGHT_M[,TIMEZONE]]", param_hint="'--site'")
    if len(parts) == 5 and not isinstance(as_number(parts[4]), str):
        what = f"'{text}' has a number for its time zone. Write decimals with a point: NAME,41.2,-96.1"
        raise click.BadParameter(what, param_hint="'--site'")
    site: dict[str, Any] = {}
    for key, part in zip(_SITE_KEYS, parts, strict=False):
        value = part if key in ("name", "timezone") else as_number(part)
        if trouble := KEYS["site"][key](value):
            raise click.BadParameter(f"{key} '{part}' {trouble}", param_hint="'--site'")
        site[key] = value
    return site


def id_from(path: Path) -> str:
    """A job id made from the path's name: what may not stand in a file name becomes '-'."""
    from satdiag.sheet import KEYS

    name = re.sub(r"[^A-Za-z0-9._-]+", "-", path.name.removesuffix(".satjob")).strip("-._")[:100]
    return name if KEYS["job"]["id"](name) is None else f"job-{datetime.now(UTC):%Y%m%d-%H%M%S}"


def empty_job(path: Path, opened: datetime | None = None) -> Job:
    """A job without observations whose sheet knows nothing but its id, made from the path's name."""
    from satdiag.job import build_job

    return build_job({"job.toml": sheet_text({("job", "id"): id_from(path)}, [], opened).encode()}, ())


def sheet_text(
    values: Mapping[tuple[str, str], Any], sites: Sequence[Mapping[str, Any]], opened: datetime | None
) -> str:
    """job.toml with the given values; a key that is not given stands there as a comment, to be filled in later."""
    lines = ["[job]"]
    lines += _lines("job", values, {"id": f"opened = {opened:%Y-%m-%dT%H:%M:%SZ}"} if opened else {})
    for site in sites:
        lines += ["", _remarked("[[site]]", _SITE_COMMENT)]
        lines += [f"{key} = {_toml(value)}" for key, value in site.items()]
    if not sites:
        lines += ["", _remarked("# [[site]]", _SITE_COMMENT)]
        lines += [f"# {key} = {example}" for key, example in zip(_SITE_KEYS, _SITE_EXAMPLE, strict=True)]
    for table in TABLES:
        is_known = table not in FEW or any(key[0] == table and value is not None for key, value in values.items())
        lines += ["", f"[{table}]" if is_known else f"# [{table}]", *_lines(table, values, {})]
    return "\n".join(lines) + "\n"


def _lines(table: str, values: Mapping[tuple[str, str], Any], after: Mapping[str, str]) -> list[str]:
    found = []
    for field in FIELDS:
        if field.table != table:
            continue
        value = values.get((table, field.key))
        line = f"# {field.key} = {field.example}" if value is None else f"{field.key} = {_toml(value)}"
        found.append(_remarked(line, field.comment))
        found += [after[field.key]] if field.key in after else []
    return found


def _remarked(line: str, comment: str) -> str:
    return f"{line:<34} # {comment}"


def _toml(value: Any) -> str:
    """A value in TOML; JSON strings are TOML basic strings but for the DEL character."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "[" + ", ".join(_toml(part) for part in value) + "]"
    return repr(float(value))
