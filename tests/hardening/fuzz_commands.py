"""Command lines: whatever is typed, a command answers with one of its exit codes, and never with an error of ours.

An input is one argument a line. The seeds are taken from the commands themselves, so that a new option is tried too.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path

import click

from tests.hardening.fuzz_changes import TEXT
from tests.hardening.fuzz_engine import Parser
from tests.hardening.fuzz_files import room
from tests.hardening.fuzz_texts import SAMPLE

WAITING = {"live", "record", "simulate", "try", "ports", "selfcheck", "docs"}
"""Commands that listen, serve or wait; they have tests of their own."""

_AGAIN_EVERY = 40
_WORKED = {"left": 0}
_VALUES = {
    "json": "out.json",
    "report": "out.html",
    "pdf": "out.pdf",
    "record": "rec.html",
    "out": "out.html",
    "day": "2031-05-03",
    "date": "2031-05-03",
    "at": "41.2,-96.1",
    "timezone": "America/Chicago",
    "zone": "-05:00",
    "constellation": "demo-pair",
    "environment": "street",
    "street": "30",
    "width": "20",
    "heights": "10,12",
    "synthesise": "3",
    "speed": "50",
    "lang": "es",
    "can": "multimeter",
    "visits": "1,1",
    "mask_file": "job/horizon.csv",
    "band": "2320-2345",
    "vf": "0.8",
    "joint": "2.5",
    "position": "receiver=2",
    "insert": "receiver",
    "after": "head-unit",
    "node": "head-unit",
    "reference": "job",
    "map_file": "map.toml",
    "profile": "bench-lines",
    "source": "serial:x",
    "from_file": "lines.txt",
    "sheet": "job/job.toml",
    "shift_time": "3",
    "by": "Demo",
    "height": "100",
    "spreadsheet": "out.xlsx",
    "parquet": "out.parquet",
    "figures": "png",
    "copy": "copy.satjob",
    "span": "5",
    "learn": "learn.toml",
}
_PLACES = {
    "path": "job",
    "job": "demo.satjob",
    "jobs": "job",
    "before": "job",
    "after": "demo.satjob",
    "folder": "job",
    "file": "rec.html",
    "kind": "lineups",
    "name": "music",
    "zip_file": "user.zip",
    "place": "job",
    "topic": "log",
    "subject": "receiver",
    "value": "awake",
    "unit": "",
    "source": "job",
    "sample": "lines.txt",
    "target": "out",
}


def commands(group: click.Group, words: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command with the words that call it."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from commands(command, (*words, name))
        else:
            yield (*words, name), command


@cache
def _seeds() -> tuple[bytes, ...]:
    from satdiag.cli import cli

    found = []
    for words, command in commands(cli):
        if words[0] in WAITING:
            continue
        places = [_PLACES.get(str(one.name), "job") for one in command.params if isinstance(one, click.Argument)]
        options = [one for one in command.params if isinstance(one, click.Option)]
        found.append([*words, *places])
        found += [[*words, *places, *_given(one)] for one in options]
        found.append([*words, *places, *(text for one in options for text in _given(one))])
    return tuple("\n".join(line).encode() for line in found)


def _given(option: click.Option) -> Sequence[str]:
    """An option as it may be typed."""
    name = option.opts[-1]
    if option.is_flag:
        return [name]
    if isinstance(option.type, click.Choice):
        return [name, str(option.type.choices[-1])]
    word = _VALUES.get(str(option.name)) or _VALUES.get(name.lstrip("-").replace("-", "_"))
    return [name, word or "3", *(["4"] if option.nargs == 2 else [])]


def _room() -> Path:
    """A folder deep enough that no '..' of an input leads out, with jobs in it, made anew now and then."""
    place = room() / "a" / "b" / "c" / "d" / "e" / "f"
    if _WORKED["left"] == 0 or not place.is_dir():
        from satdiag.folder import read_folder
        from satdiag.store import create_job_file

        _WORKED["left"] = _AGAIN_EVERY
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(parents=True)
        shutil.copytree(SAMPLE / "obstructed", place / "job")
        (place / "job" / "truth.toml").unlink()
        create_job_file(place / "demo.satjob", read_folder(place / "job"))
        (place / "lines.txt").write_text("14:05 31+\nsignal any 11 dB\n", "utf-8")
        (place / "map.toml").write_text('[time]\ncolumns = "t"\nformat = "iso"\n', "utf-8")
        (place / "lead.s1p").write_bytes(b"# MHz S RI R 50\n2300 0.1 0\n2310 0.2 0.1\n2320 0.1 0.2\n")
    _WORKED["left"] -= 1
    return place


def _is_harmless(word: str) -> bool:
    return not word.startswith(("/", "~")) and "=/" not in word and "\0" not in word and "=~" not in word


def _command(data: bytes) -> str:
    """Run it in this process, with nothing on standard input and no browser within reach."""
    from satdiag.cli import run

    words = data.decode("utf-8", "replace").split("\n")[:40]
    if not words or any(one in WAITING for one in words) or not all(map(_is_harmless, words)):
        return "not tried"
    place, before = _room(), os.getcwd()
    kept = {name: os.environ.get(name) for name in ("PATH", "SATDIAG_USER_FOLDER", "SATDIAG_LANG", "SATDIAG_BROWSER")}
    os.environ.update(PATH=str(place), SATDIAG_USER_FOLDER=str(place / "user"), SATDIAG_BROWSER="none")
    out, err, keyboard = io.StringIO(), io.StringIO(), sys.stdin
    os.chdir(place)
    try:
        sys.stdin = io.TextIOWrapper(io.BytesIO(b""), "utf-8")
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = run(words)
    finally:
        sys.stdin = keyboard
        os.chdir(before)
        for name, value in kept.items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value
    assert code in (0, 1, 2, 130), f"exit code {code}: {err.getvalue()[:300]} of {words[:9]}"
    assert code not in (2, 130) or err.getvalue().strip(), "an error without a word"
    assert "Traceback" not in err.getvalue()
    out.getvalue().encode()
    return f"{words[0][:12]} {code}"


COMMAND_PARSERS: tuple[Parser, ...] = (
    Parser(
        "command-line", _seeds, _command, {name: TEXT[name] for name in TEXT if name not in ("often",)}, slow_s=20.0
    ),
)
