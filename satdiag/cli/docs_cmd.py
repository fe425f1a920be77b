"""`satdiag docs [TOPIC]`: the longer documentation, printed as Markdown."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files

import click

from satdiag.errors import SatdiagError


def _vocabulary() -> str:
    from satdiag.vocabulary import markdown_table

    return markdown_table()


def _cautions() -> str:
    from satdiag.report.cautions import CAUTIONS

    return "\n".join(f"- **{caution.head}.** {caution.text}" for caution in CAUTIONS) + "\n"


def _hold_times() -> str:
    from satdiag.vocabulary import AWAKE_HOLD_S, RECEIVED_HOLD_S, RESET_DEAD_S, VISIT_PAUSE_S

    return (
        f"awake holds {AWAKE_HOLD_S / 60:g} min, received holds {RECEIVED_HOLD_S / 60:g} min, "
        f"{RESET_DEAD_S:g} s after a restart do not count, "
        f"a pause longer than {VISIT_PAUSE_S / 3600:g} h parts visits"
    )


def _profiles() -> str:
    from satdiag.recorder.profile import packaged_profiles

    return "".join(f"- `{name}`: {about}\n" for name, about in packaged_profiles().items()) + "\n"


def _profile_keys() -> str:
    from satdiag.recorder.profile_keys import profile_keys_markdown

    return profile_keys_markdown() + "\n"


def _sky_sources() -> str:
    from satdiag.sky.expect import sources_of_models

    return "".join(f"| {source.name} | {source.standing} |\n" for source in sources_of_models())


def _fleet_columns() -> str:
    from satdiag.fleet.columns import columns_markdown

    return columns_markdown()


# Parts that have their home in the code and are written in at print time.
_PARTS: dict[str, Callable[[], str]] = {
    "{{vocabulary}}\n": _vocabulary,
    "{{cautions}}\n": _cautions,
    "{{hold times}}": _hold_times,
    "{{profiles}}\n": _profiles,
    "{{profile keys}}\n": _profile_keys,
    "{{sky sources}}\n": _sky_sources,
    "{{fleet columns}}\n": _fleet_columns,
}


def topics() -> dict[str, str]:
    """The topics with their titles."""
    found = {}
    for entry in (files("satdiag") / "docs").iterdir():
        if entry.name.endswith(".md"):
            title = entry.read_text(encoding="utf-8").partition("\n")[0]
            found[entry.name.removesuffix(".md")] = title.removeprefix("# ")
    return dict(sorted(found.items()))


def topic_text(topic: str) -> str:
    """A topic as Markdown. Raises SatdiagError for one that is not there."""
    if topic not in topics():
        raise SatdiagError(f"There is no topic '{topic}'. Topics: {', '.join(topics())}.")
    text = (files("satdiag") / "docs" / f"{topic}.md").read_text(encoding="utf-8")
    for mark, part in _PARTS.items():
        if mark in text:
            text = text.replace(mark, part())
    return text


@click.command()
@click.argument("topic", required=False)
def docs(topic: str | None) -> None:
    """Print the documentation on TOPIC as Markdown, or list the topics."""
    if topic is not None:
        click.echo(topic_text(topic), nl=False)
        return
    for name, title in topics().items():
        click.echo(f"{name:<12} {title}")
