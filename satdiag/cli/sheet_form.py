"""The form that `satdiag new` fills: which keys job.toml takes, how to ask for them, how they are written."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from satdiag.vocabulary import REASONS

if TYPE_CHECKING:
    from satdiag.job import Job


def _as_text(text: str) -> Any:
    return text


def _as_number(text: str) -> Any:
    from satdiag.rows import parse_number

    number = parse_number(text.strip())
    return text if number is None else number


def _as_flag(text: str) -> Any:
    return {"yes": True, "no": False}.get(text.strip().lower(), text)


def _as_pair(text: str) -> Any:
    return [_as_number(part) for part in text.split(",")]


@dataclass(frozen=True)
class Field:
    """One key of job.toml. `question` is asked in a terminal; None: only an option sets it."""

    table: str
    key: str
    option: str
    comment: str
    example: str
    question: str | None = None
    read: Callable[[str], Any] = _as_text
    choices: tuple[str, ...] = ()

    @property
    def help(self) -> str:
        """The option's help: the question, where there is one."""
        text = self.question or self.comment
        return f"{text[0].upper()}{text[1:]}."

    @property
    def name(self) -> str:
        """The option's name inside the program."""
        return f"{self.table}_{self.key}"

    def value(self, text: str) -> Any:
        """The typed value of an answer, None for a blank one. Raises click.BadParameter."""
        from satdiag.sheet import KEYS

        if text.strip() == "":
            return None
        value = self.read(text)
        trouble = KEYS[self.table][self.key](value)
        if trouble:
            raise click.BadParameter(f"'{text}' {trouble}", param_hint=f"'{self.option}'")
        return value


FIELDS = (
    Field("job", "id", "--id", "letters, digits, '.', '_', '-'", '"my-job"', "Name of the job"),
    Field(
        "job",
        "reason",
        "--reason",
        " | ".join(REASONS) + ": why the person is here",
        '"just-installed"',
        "Why the person is here",
        choices=REASONS,
    ),
    Field(
        "job", "vehicle", "--vehicle", "in your own words", '"saloon, roof antenna"', "The vehicle, in your own words"
    ),
    Field("job", "technician", "--technician", "never in the customer letter unless asked for", '""'),
    Field("job", "naive_times", "--naive-times", "what a time without an offset means", '"-05:00"'),
    Field(
        "receiver",
        "id",
        "--receiver-id",
        "masked wherever a report shows it",
        '"DEMO0000A7"',
        "Receiver's identifier",
    ),
    Field(
        "receiver",
        "second_hand",
        "--second-hand",
        "true | false: was it in another vehicle before",
        "true",
        "Second-hand: was it in another vehicle before",
        _as_flag,
        ("yes", "no"),
    ),
    Field(
        "receiver",
        "antenna_lead",
        "--lead",
        "single | dual (separate satellite and repeater conductors) | unknown",
        '"single"',
        "Conductors in the antenna lead",
        choices=("single", "dual", "unknown"),
    ),
    Field(
        "receiver",
        "adaptor",
        "--adaptor",
        "none | combiner | satellite-only | unknown",
        '"none"',
        "Adaptor between lead and receiver",
        choices=("none", "combiner", "satellite-only", "unknown"),
    ),
    Field(
        "receiver",
        "level_scale",
        "--level-scale",
        "dB | dB-Hz | percent | bars/5 (any N, written out)",
        '"bars/5"',
        "Scale of the level readout: dB, dB-Hz, percent or bars/N",
    ),
    Field("receiver", "level_floor", "--level-floor", "the reading that means 'no signal'", "0", read=_as_number),
    Field(
        "receiver",
        "noise_bandwidth_hz",
        "--noise-bandwidth-hz",
        "noise bandwidth of a dB readout",
        "4.0e6",
        read=_as_number,
    ),
    Field(
        "receiver",
        "antenna_gain_dbic",
        "--antenna-gain-dbic",
        "lowest and highest gain of the antenna towards the satellites",
        "[2, 4]",
        read=_as_pair,
    ),
    Field(
        "receiver",
        "noise_temperature_k",
        "--noise-temperature-k",
        "lowest and highest noise temperature of the receiving system",
        "[200, 300]",
        read=_as_pair,
    ),
    Field(
        "receiver",
        "bias_nominal_v",
        "--bias-nominal-v",
        "nominal voltage of the DC feed to the antenna",
        "5.0",
        read=_as_number,
    ),
    Field(
        "receiver",
        "bias_normal_ma",
        "--bias-normal-ma",
        "lowest and highest normal current of that feed",
        "[15, 80]",
        read=_as_pair,
    ),
    Field(
        "receiver",
        "bias_series_ohm",
        "--bias-series-ohm",
        "resistance between where the feed's voltage is read and the antenna",
        "10.0",
        read=_as_number,
    ),
    Field(
        "receiver",
        "bias_learnt_v",
        "--bias-learnt-v",
        "voltages of that feed while such a receiver worked",
        "[4.62, 4.60]",
        read=_as_pair,
    ),
    Field(
        "receiver",
        "bias_learnt_ma",
        "--bias-learnt-ma",
        "currents of that feed while such a receiver worked",
        "[41, 42.5]",
        read=_as_pair,
    ),
    Field(
        "service",
        "constellation",
        "--constellation",
        'a packaged constellation, or "constellation.toml"',
        '"demo-pair"',
        "Constellation: the name of one that is packaged or in your user folder, or a constellation file",
    ),
    Field("service", "package", "--package", "the package that was ordered", '"music"', "Package that was ordered"),
)
_SITE_COMMENT = "where the vehicle stands; may be repeated, each with a name"
_SITE_KEYS = ("name", "latitude_deg", "longitude_deg", "height_m", "timezone")
_SITE_EXAMPLE = ('"yard"', "41.2", "-96.1", "300.0", '"America/Chicago"')


def read_site(text: str) -> dict[str, Any]:
    """'NAME,LAT,LON[,HEIGHT_M[,TIMEZONE]]' as a [[site]]. Raises click.BadParameter."""
    from satdiag.sheet import KEYS

    parts = [part.strip() for part in text.split(",")]
    if not 3 <= len(parts) <= 5 or not parts[0]:
        raise click.BadParameter(f"'{text}' is not NAME,LAT,LON[,HEIGHT_M[,TIMEZONE]]", param_hint="'--site'")
    site: dict[str, Any] = {}
    for key, part in zip(_SITE_KEYS, parts, strict=False):
        value = part if key in ("name", "timezone") else _as_number(part)
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
    for table in ("receiver", "service"):
        lines += ["", f"[{table}]", *_lines(table, values, {})]
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
