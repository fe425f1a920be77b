"""The command line. A command's module is imported when it is used, so that `satdiag --help` is instant.

Exit codes: 0 done; 1 ran but found problems (check, fleet, selfcheck), or did not confirm (confirm, verify); 2 cannot
read, or bad usage; 3 an error of our own; 130 stopped with Ctrl-C.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import click

from satdiag import __version__
from satdiag.errors import SatdiagError

# verb: (module, name in it, one line of help)
COMMANDS = {
    "new": ("satdiag.cli.new_cmd", "new", "Make a job, by asking or from options."),
    "note": ("satdiag.cli.note_cmd", "note", "Add an observation to a job by hand, or take one back."),
    "paper": ("satdiag.cli.paper_cmd", "paper", "Print a form to fill in with a pen, and type it in afterwards."),
    "analyse": ("satdiag.cli.analyse_cmd", "analyse", "Say which fault it is, how sure, and what to do next."),
    "learn": ("satdiag.cli.learn_cmd", "learn", "Let closed jobs move what the diagnosis believes."),
    "confirm": ("satdiag.cli.confirm_cmd", "confirm", "Say whether the activation is confirmed, or what lacks."),
    "verify": ("satdiag.cli.verify_cmd", "verify", "Say whether an acceptance record and a job belong together."),
    "compare": ("satdiag.cli.compare_cmd", "compare", "Compare two jobs, or two visits: repaired, or not?"),
    "redact": ("satdiag.cli.redact_cmd", "redact", "Copy a job for sharing, without what names people or places."),
    "sky": ("satdiag.cli.sky_cmd", "sky", "Say where the satellites stand over a day, and how to park."),
    "letter": ("satdiag.cli.letter_cmd", "letter", "Write one page to the customer, the provider or the dealer."),
    "checklist": ("satdiag.cli.checklist_cmd", "checklist", "Walk the installation: what is proved, what lacks."),
    "battery": ("satdiag.cli.battery_cmd", "battery", "Say what a wait awake takes from the battery."),
    "feed": ("satdiag.cli.feed_cmd", "feed", "Say how the antenna is fed, and on which conductor it is."),
    "feedline": ("satdiag.cli.feedline_cmd", "feedline", "Read a reflection sweep: where the antenna lead ends."),
    "cable": ("satdiag.cli.cable_cmd", "cable", "Say what a length of cable loses at 2.3 GHz."),
    "ring": ("satdiag.cli.ring_cmd", "ring", "The optical ring: check its plugs, plan moves, find a break."),
    "fleet": ("satdiag.cli.fleet_cmd", "fleet", "Analyse any number of jobs, and tell what they have in common."),
    "record": ("satdiag.cli.record_cmd", "record", "Listen to a receiver for hours, and lose nothing."),
    "live": ("satdiag.cli.live_cmd", "live", "Log a visit by thumb: a page on this computer or a telephone."),
    "ports": ("satdiag.cli.ports_cmd", "ports", "List the serial ports with what they are."),
    "try": ("satdiag.cli.try_cmd", "try_", "Show what a source says; nothing is written."),
    "profile": ("satdiag.cli.profile_cmd", "profile", "Line profiles: how a device's lines become observations."),
    "reread": ("satdiag.cli.reread_cmd", "reread", "Read the kept lines of a job again with a mended profile."),
    "simulate": ("satdiag.cli.simulate_cmd", "simulate", "Be a made-up receiver, or write a made-up job."),
    "user": ("satdiag.cli.user_cmd", "user", "Your own profiles, line-ups, constellations, receivers."),
    "check": ("satdiag.cli.check_cmd", "check", "Name everything that is wrong with a job's files."),
    "import": ("satdiag.cli.import_cmd", "import_", "Put a job folder, or a foreign CSV log, into a job."),
    "export": ("satdiag.cli.export_cmd", "export", "Write a job as plain files, a workbook, Parquet, figures."),
    "bundle": ("satdiag.cli.bundle_cmd", "bundle", "Hand a job over: report, letters and rows in one checked ZIP."),
    "schema": ("satdiag.cli.schema_cmd", "schema", "Print the JSON Schema of the findings or of a job."),
    "docs": ("satdiag.cli.docs_cmd", "docs", "Read the longer documentation, offline."),
    "selfcheck": ("satdiag.cli.selfcheck_cmd", "selfcheck", "Check that satdiag works on this computer."),
}


class _Commands(click.Group):
    """A group that knows its commands by name and imports one only when it runs."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module, name, _ = COMMANDS[cmd_name]
        found: click.Command = getattr(import_module(module), name)
        found.name = cmd_name
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is named; of a word that is none, the command that it resembles is named in the error."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            from difflib import get_close_matches

            if close := get_close_matches(args[0], COMMANDS, 1):
                raise click.UsageError(f"{error.message} Did you mean '{close[0]}'?", ctx) from None
            raise

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, _, text) in COMMANDS.items()])


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--debug", is_flag=True, help="Show where an error of satdiag's own came from.")
@click.version_option(__version__, prog_name="satdiag")
@click.pass_obj
def cli(state: dict[str, bool], debug: bool) -> None:
    """Prove a newly fitted satellite radio receiver from the log of what was observed.

    A job is a folder of plain files or one file NAME.satjob. `satdiag new` makes one, `satdiag note` adds what you
    see, `satdiag analyse` says what it means. `satdiag docs` lists what there is to read.
    """
    state["debug"] = debug


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit code; nothing but Ctrl-C's own machinery escapes."""
    state = {"debug": False}
    try:
        result: Any = cli.main(args=arguments, prog_name="satdiag", obj=state, standalone_mode=False)
        return result if isinstance(result, int) else 0
    except SatdiagError as error:
        click.echo(str(error), err=True)
        return 2
    except click.ClickException as error:
        error.show()
        return 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("\nStopped.", err=True)
        return 130
    except Exception as error:  # noqa: BLE001 (the last resort: an error of our own becomes one line)
        if state["debug"]:
            click.echo(traceback.format_exc(), err=True)
        _say_internal(error)
        return 3


def _say_internal(error: Exception) -> None:
    what = " ".join(f"{type(error).__name__}: {error}".split())[:300]
    click.echo(
        f"Internal error, not your fault ({what}). Please report it to whoever gave you satdiag {__version__}, with "
        "the command you ran and what `satdiag --debug` before the command prints.",
        err=True,
    )


def main() -> None:
    """The entry point `satdiag`."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a console that cannot show a character gets an escape, not a crash
            stream.reconfigure(errors="backslashreplace")
    sys.exit(run())
