"""The screen of a recording: one sentence first, then the line being typed, what was heard, and who is heard."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from satdiag.language import counted
from satdiag.recorder.status import LevelNow, SourceStatus, Status

if TYPE_CHECKING:
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

PLAIN_EVERY_S = 30.0
"""Without a terminal a line on how things stand is printed this often."""

_NARROW = 70
_STATES = {
    "opening": "being opened",
    "open": "open, quiet",
    "listening": "heard",
    "silent": "SILENT",
    "lost": "NOT HEARD",
    "ended": "ended",
}


def duration(seconds: float) -> str:
    """Seconds in words a person reads at a glance: '8 s', '12 min', '3 h 5 min'."""
    whole = int(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min"
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def headline(status: Status) -> str:
    """How the recording stands, in one sentence."""
    if status.store_trouble:
        held = f"{counted(status.held, 'row or line is', 'rows and lines are')} held (room for {status.room:,})"
        lost = _lost_lines(status)
        loss = f"; {counted(lost, 'line is', 'lines are')} LOST" if lost else ""
        return f"NOT BEING WRITTEN: {status.store_trouble} {held}{loss}."
    since = f"Recording since {duration(status.seconds)}"
    if not status.sources:
        return f"{since}: what you type."
    away = [f"{source.name} {_STATES[source.state].lower()}" for source in status.sources if _is_away(source)]
    of = f"{status.heard} of {counted(len(status.sources), 'source')} heard"
    return f"{since}: {of}{'; ' + ', '.join(away) + ', trying again' if away else ''}."


def _is_away(source: SourceStatus) -> bool:
    return source.state in ("silent", "lost")


def source_words(source: SourceStatus) -> str:
    """What is to be said of a source beside its counts."""
    if source.trouble:
        return source.trouble
    parts = [source.summary] if source.summary else []
    if source.not_understood:
        parts.append(f"{source.not_understood:,} not understood")
    if source.lost_lines:
        parts.append(f"{source.lost_lines:,} LOST, no room")
    return "; ".join(parts)


def age(seconds: float | None) -> str:
    """The age of something last heard."""
    return "never" if seconds is None else f"{duration(seconds)} ago"


def exposure_words(status: Status) -> str:
    """The exposure clock in words."""
    if status.exposure_s is None or status.exposure_max_s is None:
        return "not looked at yet"
    low, high = duration(status.exposure_s), duration(status.exposure_max_s)
    return f"{low} at least" + (f", {high} at most" if high != low else "")


def channel_words(status: Status) -> str:
    """The channels as last seen, in words."""
    if not status.authorised + status.refused + status.other:
        return "none checked yet"
    of = f" of {status.expected} expected" if status.expected is not None else ""
    other = f", {status.other} not judged" if status.other else ""
    return f"{status.authorised} play{of}, {status.refused} refused{other}"


def level_words(levels: Sequence[LevelNow]) -> str:
    """The levels now, with the age of those that are not fresh."""
    if not levels:
        return "none yet"
    return "   ".join(
        f"{level.path} {level.value}{' ' + level.unit if level.unit else ''}"
        + (f" ({age(level.age_s)})" if level.age_s is None or level.age_s >= 10 else "")
        for level in levels
    )


def printable(text: str) -> str:
    """The text without what could move a cursor or change a colour: what a device says is shown, never obeyed."""
    return "".join(mark if mark.isprintable() or mark == "\n" else "\ufffd" for mark in text)


def render(
    status: Status, typed: str | None, cursor: int, choices: Sequence[str], width: int, recent: Sequence[str] = ()
) -> Group:
    """The whole screen. `typed` is the line being typed, None without a keyboard; `recent` what was said last."""
    from rich.console import Group
    from rich.text import Text

    loud = bool(status.store_trouble)
    parts: list[Text | Table] = [Text(printable(headline(status)), style="bold reverse" if loud else "bold")]
    if typed is not None:  # near the top: a terminal that is too low cuts off what stands below
        parts += [Text(""), *_prompt(status, typed, cursor, choices)]
    parts += [Text(""), _facts(status)]
    parts += _sources(status.sources, width)
    parts += [Text(f"- {printable(line)}") for line in recent]
    return Group(*parts)


def _sources(sources: Sequence[SourceStatus], width: int) -> list[Text]:
    """A line for each source, and one below it for what else is to be said, cut to the width."""
    from rich.text import Text

    lines = [Text("")] if sources else []
    names = max((len(source.name) for source in sources), default=0)
    for source in sources:
        style = "bold" if _is_away(source) else ""
        line = f"{source.name:<{names}}  {_STATES[source.state]:<12}  {age(source.age_s)}"
        if width >= _NARROW:
            line = f"{line:<{names + 28}}  {counted(source.lines, 'line')}, {counted(source.rows, 'row')}"
        lines.append(Text(line, style=style, no_wrap=True, overflow="ellipsis"))
        if words := source_words(source):
            lines.append(Text(f"    {printable(words)}", style=style, no_wrap=True, overflow="ellipsis"))
    return lines


def _facts(status: Status) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 2))
    table.add_column()
    table.add_column(overflow="fold")
    written = f"{counted(status.rows_written, 'row')}, the last {age(status.commit_age_s)}"
    for name, words in (
        ("written", written if status.rows_written else "nothing yet"),
        ("levels", level_words(status.levels)),
        ("channels", channel_words(status)),
        ("receiving", exposure_words(status)),
    ):
        table.add_row(Text(name), Text(printable(words)))
    return table


def _prompt(status: Status, typed: str, cursor: int, choices: Sequence[str]) -> list[Text]:
    from rich.text import Text

    line = Text("what you see> ")
    line.append(typed[:cursor])
    line.append(typed[cursor : cursor + 1] or " ", style="reverse")
    line.append(typed[cursor + 1 :])
    help_line = "  ".join(choices) or status.answer or "e.g. channel 31 refused; tune 31; help. Ctrl-C ends."
    return [line, Text(printable(help_line))]


def _lost_lines(status: Status) -> int:
    return sum(source.lost_lines for source in status.sources)


class PlainLines:
    """For an output that is no terminal: a line when something changes, and now and then how things stand."""

    def __init__(self) -> None:
        self._trouble = ""
        self._lost_before = 0
        self._next_s = PLAIN_EVERY_S

    def _again(self, status: Status) -> str:
        lost = _lost_lines(status) - self._lost_before
        loss = f"{counted(lost, 'line was', 'lines were')} LOST" if lost else "nothing was lost"
        return f"It is being written again; {loss}."

    def of(self, status: Status) -> list[str]:
        """The lines to print now."""
        found = []
        if bool(status.store_trouble) != bool(self._trouble):
            found.append(headline(status) if status.store_trouble else self._again(status))
            self._lost_before = _lost_lines(status)
        self._trouble = status.store_trouble
        if status.seconds >= self._next_s:
            self._next_s = status.seconds + PLAIN_EVERY_S
            channels, exposure = channel_words(status), exposure_words(status)
            counts = f"{counted(status.rows_written, 'row')}. Channels: {channels}. Awake and receiving: {exposure}."
            found.append(f"{headline(status)} {counts}")
        return found
