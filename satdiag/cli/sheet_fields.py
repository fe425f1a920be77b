"""The keys of job.toml that `satdiag new` asks for or takes as options, and how each answer is read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import click

from satdiag.lead_keys import CABLES
from satdiag.vocabulary import REASONS


def _as_text(text: str) -> Any:
    return text


def as_number(text: str) -> Any:
    """A number; text that is none stays as it is, and its key says what is wrong with it."""
    from satdiag.rows import parse_number

    number = parse_number(text.strip())
    return text if number is None else number


def _as_flag(text: str) -> Any:
    return {"yes": True, "no": False}.get(text.strip().lower(), text)


def _as_pair(text: str) -> Any:
    return [as_number(part) for part in text.split(",")]


def as_range(text: str) -> Any:
    """A number, or the two numbers that it lies between."""
    return _as_pair(text) if "," in text else as_number(text)


ALONE = {
    "--technician": "who did the work; never in the customer letter unless asked for",
    "--second-hand": "whether the receiver was in another vehicle before",
    "--feed-noise-figure-db": "noise figure of the antenna's amplifier",
    "--feed-receiver-noise-db": "noise figure of the receiver",
    "--supply-code": "range of supply voltages that the receiver is made for (`satdiag docs supply`)",
    "--velocity-factor": "velocity factor of the antenna lead's cable",
    "--velocity-factor-range": "lowest and highest velocity factor of that cable",
    "--cable": "class of the antenna lead's cable",
    "--lead-length-m": "length of the lead from the receiver's plug to the antenna",
    "--reference-plane-m": "how far the receiver's plug stands beyond the plane of calibration",
    "--joints-m": "where plugs and joints of the lead are, from the receiver's plug",
}
"""What --help says where the comment of job.toml leans on its neighbours there."""


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
        """The option's help: the question, where there is one, else the comment, if that can stand alone."""
        text = ALONE.get(self.option) or self.question or self.comment
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
    Field("receiver", "level_floor", "--level-floor", "the reading that means 'no signal'", "0", read=as_number),
    Field(
        "receiver",
        "noise_bandwidth_hz",
        "--noise-bandwidth-hz",
        "noise bandwidth of a dB readout",
        "4.0e6",
        read=as_number,
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
        read=as_number,
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
        read=as_number,
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
    Field("feed", "gain_db", "--feed-gain-db", "gain of the antenna's amplifier", "[25, 30]", read=as_range),
    Field("feed", "noise_figure_db", "--feed-noise-figure-db", "its noise figure", "0.8", read=as_range),
    Field("feed", "lead_loss_db", "--feed-lead-loss-db", "loss of the antenna lead", "[4, 8]", read=as_range),
    Field(
        "feed", "receiver_noise_db", "--feed-receiver-noise-db", "noise figure of the receiver", "6", read=as_range
    ),
    Field(
        "feed",
        "antenna_k",
        "--feed-antenna-k",
        "noise that the antenna collects under an open sky",
        "100",
        read=as_range,
    ),
    Field(
        "supply",
        "code",
        "--supply-code",
        "A | B | C | D: what the receiver is made for",
        '"C"',
        choices=tuple("ABCD"),
    ),
    Field("supply", "awake_a", "--awake-a", "current of the vehicle awake, engine off", "6.0", read=as_number),
    Field("supply", "battery_ah", "--battery-ah", "capacity of the battery", "60.0", read=as_number),
    Field("feedline", "velocity_factor", "--velocity-factor", "of the lead's cable", "0.66", read=as_number),
    Field(
        "feedline",
        "velocity_factor_range",
        "--velocity-factor-range",
        "lowest and highest velocity factor",
        "[0.65, 0.67]",
        read=_as_pair,
    ),
    Field("feedline", "cable", "--cable", " | ".join(CABLES) + ": its class", '"rg-58"', choices=CABLES),
    Field(
        "feedline",
        "expected_length_m",
        "--lead-length-m",
        "from the receiver's plug to the antenna",
        "4.6",
        read=as_number,
    ),
    Field(
        "feedline",
        "reference_plane_m",
        "--reference-plane-m",
        "how far that plug stands beyond the plane of calibration",
        "0.0",
        read=as_number,
    ),
    Field(
        "feedline",
        "joints_m",
        "--joints-m",
        "where plugs and joints are, from the receiver's plug",
        "[1.2]",
        read=_as_pair,
    ),
)
TABLES = ("receiver", "service", "feed", "supply", "feedline")
"""In this order, behind [job] and the sites."""

FEW = ("feed", "supply", "feedline")
"""Tables for tests that few people make: only a comment in a new sheet, as long as nothing of them is known."""
