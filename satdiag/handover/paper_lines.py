"""Lines copied from the paper form, such as '14:05 31+ 32- 33? 40-45+', as observations of the log.

Nothing is guessed: a line that cannot be read, a day or an hour that is not certain, is one error with its number.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from satdiag.csv_text import quoted
from satdiag.errors import BadInput, Problem, bad_input
from satdiag.handover.paper_codes import CHANNEL_MARKS, codes_of, unlike_print, words_of
from satdiag.job import Job
from satdiag.mapping.local_time import offset_at, zone_of
from satdiag.recorder.hand import HandEntry
from satdiag.recorder.heard import Reading
from satdiag.rows import Row, check_rows, parse_number, parse_time_us

SOURCE = "paper"
"""Stands in the rows' source column."""

MOST_LINES = 5000
MOST_WAIT_S = 600.0
"""A channel change that took longer was not timed."""

_MINUTE = timedelta(minutes=1)
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?", re.ASCII)
_CHECK = re.compile(r"(\d+(?:-\d+)?)([+\-?x])", re.ASCII | re.IGNORECASE)
_MARKS = ("sound", "title")
_MEND = "Mend the line; nothing was written."


@dataclass(frozen=True)
class Understood:
    """A line, its number from 1 on, the rows that were made of it, and what there is to say of it."""

    number: int
    text: str
    rows: tuple[Row, ...]
    say: str = ""


class _Wrong(Exception):
    """A line that cannot be taken, and why."""


class PaperReader:
    """Reads line after line of one form.

    `day` and `zone` hold for all lines until a line `date 2031-05-04` or `zone America/Chicago` changes them; None:
    such a line must come first. `file` names the lines in messages.
    """

    def __init__(self, job: Job, day: date | None = None, zone: tzinfo | None = None, file: str = "paper") -> None:
        self._job, self._day, self._zone, self._file = job, day, zone, file
        self._hand = HandEntry.of_job(job)
        self._ids = _free_ids(job)
        self._free_from: datetime | None = None
        self._said: dict[tuple[str, str, str], str] = {}
        self._choices = {code.code.lower(): code.choices for code in codes_of(job) if code.choices}

    def read(self, lines: Iterable[str]) -> list[Understood]:
        """All lines that say something. Raises BadInput naming every line that is wrong."""
        found: list[Understood] = []
        problems: list[Problem] = []
        for number, text in enumerate(lines, 1):
            if number > MOST_LINES:
                raise bad_input(self._file, f"more than {MOST_LINES} lines", "Enter it in parts.", number)
            try:
                found.append(self.line(number, text))
            except BadInput as error:
                problems += error.problems
        if problems:
            raise BadInput(problems)
        found = [line for line in found if line.rows or line.say]
        check_together(self._job, found, self._file)
        return found

    def line(self, number: int, text: str) -> Understood:
        """What a line means; blank lines and those that begin with '#' mean nothing. Raises BadInput."""
        body = text.strip().lstrip("\ufeff")
        try:
            if not body or body.startswith("#"):
                return Understood(number, text.strip(), ())
            head, _, rest = body.partition(" ")
            if head.lower() in ("date", "zone"):
                return Understood(number, body, (), self._set(head.lower(), rest.strip()))
            return self._timed(number, body, head, rest.strip())
        except _Wrong as wrong:
            raise bad_input(self._file, str(wrong).rstrip(". "), _MEND, number) from None

    def _set(self, word: str, text: str) -> str:
        if word == "date":
            self._day = day_of(text)
            return f"the day is {self._day.isoformat()}"
        self._zone = named_zone(text)
        return f"times are in {text}"

    def _timed(self, number: int, body: str, head: str, rest: str) -> Understood:
        found = _CLOCK.fullmatch(head)
        if found is None:
            raise _Wrong(
                f"{quoted(head)} is not a time of day. A line begins with it, e.g. 14:05 or 14:05:30; "
                "or write 'date 2031-05-03' or 'zone America/Chicago'"
            )
        if not rest:
            raise _Wrong(f"nothing stands behind {head}. Write e.g. {head} 31+ 32- or {head} place open-sky")
        moment = self._moment(time(int(found[1]), int(found[2]), int(found[3] or 0)))
        pairs, say = self._readings(rest)
        if len(pairs) > 1 and pairs[0][1].kind == "tune":
            moment = self._after_the_last(moment, pairs[-1][0], bool(found[3]))
        rows = tuple(self._row(moment + timedelta(seconds=after_s), reading) for after_s, reading in pairs)
        self._no_clash(rows)
        return Understood(number, body, rows, say)

    def _after_the_last(self, moment: datetime, takes_s: float, has_seconds: bool) -> datetime:
        """When a timed channel change began: of several in one minute each follows the one before."""
        free = self._free_from
        follows = free is not None and not has_seconds and moment <= free <= moment + _MINUTE
        begins = free if free is not None and follows else moment
        if begins >= moment + _MINUTE:
            raise _Wrong(f"the changes of {moment:%H:%M} take longer than that minute. Write their seconds too")
        self._free_from = min(begins + timedelta(seconds=math.ceil(takes_s) + 1), moment + _MINUTE)
        return begins

    def _no_clash(self, rows: Sequence[Row]) -> None:
        """Nothing can be two things at one time; a channel change has several marks."""
        for row in rows:
            before = self._said.setdefault((row.time, row.kind, row.subject), row.value)
            if before != row.value and row.kind not in ("tune", "note", "withdraw"):
                raise _Wrong(f"{row.kind} {row.subject} was {before} at this time before, and is {row.value} here")

    def _moment(self, clock: time) -> datetime:
        if self._day is None:
            raise _Wrong("no date is known. Write a line such as 'date 2031-05-03' before it, or use --date")
        if self._zone is None:
            raise _Wrong("no time zone is known. Write a line such as 'zone -05:00' before it, or use --zone")
        wall = datetime.combine(self._day, clock)
        try:
            return wall.replace(tzinfo=offset_at(wall, self._zone, "refuse"))
        except ValueError as error:
            raise _Wrong(f"the time {clock:%H:%M} {error}. Name the offset, e.g. zone -05:00") from None

    def _row(self, moment: datetime, reading: Reading) -> Row:
        text = moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds")
        kind, subject, value, unit, note, span_s = reading[:6]
        return Row(text.replace("+00:00", "Z"), kind, subject, value, unit, SOURCE, note, span_s, id=next(self._ids))

    def _readings(self, rest: str) -> tuple[list[tuple[float, Reading]], str]:
        """The readings of a line, each with the seconds after its time, and what to say of them."""
        checks = unlike_print(rest)
        if _CHECK.fullmatch(checks.split()[0].rstrip(",")):
            return [(0.0, reading) for reading in self._checks(checks)], ""
        head, *words = rest.split()
        if head.lower() in ("tune", "tn") and any(word.lower() in _MARKS for word in words):
            return self._change(words), ""
        if head.lower() == "note":
            return self._as_typed(rest)
        choices = self._choices.get(head.lower(), ())
        if words and words[0] not in choices and words[0].isdigit() and 0 < int(words[0]) <= len(choices):
            words[0] = choices[int(words[0]) - 1]
        words = [re.sub(r"^[−–](?=[\d.])", "-", word) for word in words]
        return self._as_typed(" ".join((words_of(head), *words)))

    def _as_typed(self, text: str) -> tuple[list[tuple[float, Reading]], str]:
        """Anything else is as when typing beside a recording."""
        entered = self._hand.enter(text)
        if not entered.ok:
            raise _Wrong(entered.say)
        if not entered.readings:
            raise _Wrong(f"{quoted(text)} says nothing that was seen")
        return [(0.0, reading) for reading in entered.readings], entered.say

    def _checks(self, rest: str) -> list[Reading]:
        """'31+ 32- 40-45+', each number once."""
        found: dict[str, Reading] = {}
        for part in re.split(r"[,\s]+", rest):
            check = _CHECK.fullmatch(part)
            if check is None:
                raise _Wrong(
                    f"{quoted(part)} is no check of a channel. Behind the number stands + (plays), - (refused), "
                    "? (no signal) or x (not listed), e.g. 31+ 32- 40-45+"
                )
            pairs, _ = self._as_typed(f"channels {check[1]} {CHANNEL_MARKS[check[2].lower()]}")
            for _, reading in pairs:
                before = found.setdefault(reading.subject, reading)
                if before.value != reading.value:
                    raise _Wrong(f"channel {reading.subject} stands twice, {before.value} and {reading.value}")
        return list(found.values())

    def _change(self, words: Sequence[str]) -> list[tuple[float, Reading]]:
        """'31 sound 2.4 title 5.1': a channel change, and the seconds until its sound and its title."""
        channel, *pairs = words
        example = "Write e.g. tune 31 sound 2.4 title 5.1"
        if len(pairs) % 2 or not pairs:
            raise _Wrong(f"a word or a time is missing in {quoted(' '.join(['tune', *words]))}. {example}")
        found = [(0.0, Reading("tune", channel, "requested"))]
        for mark, text in zip(pairs[::2], pairs[1::2], strict=True):
            seconds = parse_number(text)
            if mark.lower() not in _MARKS or any(reading.value == _MARK_VALUES[mark.lower()] for _, reading in found):
                raise _Wrong(f"{quoted(mark)} is not 'sound' or 'title', or stands twice. {example}")
            if seconds is None or not 0 <= seconds <= MOST_WAIT_S:
                raise _Wrong(f"{quoted(text)} is not a number of seconds from 0 to {MOST_WAIT_S:g}. {example}")
            found.append((round(seconds, 3), Reading("tune", channel, _MARK_VALUES[mark.lower()])))
        return sorted(found, key=lambda pair: pair[0])


_MARK_VALUES = {"sound": "audio", "title": "title"}


def day_of(text: str) -> date:
    """A day such as 2031-05-03. Raises _Wrong."""
    try:
        if not re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise _Wrong(f"{quoted(text)} is not a date. Write year, month and day: 2031-05-03") from None


def named_zone(text: str) -> tzinfo:
    """A time zone by its IANA name or as an offset. Raises _Wrong."""
    try:
        return zone_of(text)
    except ValueError:
        raise _Wrong(f"{quoted(text)} is no time zone. Write e.g. America/Chicago or -05:00") from None


def given_day(text: str) -> date:
    """The day of an option. Raises BadInput."""
    try:
        return day_of(text)
    except _Wrong as wrong:
        raise bad_input("--date", str(wrong), "Nothing was written.") from None


def given_zone(text: str) -> tzinfo:
    """The time zone of an option. Raises BadInput."""
    try:
        return named_zone(text)
    except _Wrong as wrong:
        raise bad_input("--zone", str(wrong), "Nothing was written.") from None


def check_together(job: Job, lines: Sequence[Understood], file: str) -> None:
    """What the log has against the rows as a whole, such as two units for one path. Raises BadInput."""
    numbers = [line.number for line in lines for _ in line.rows]
    rows = [row for line in lines for row in line.rows]
    sites = {site.name for site in job.sheet.sites}
    old = len(job.rows)
    problems = check_rows(file, [*job.rows, *rows], [0] * old + numbers, job.sheet.naive_times, sites, sound=old)
    if problems:
        first = min(numbers, default=1)
        raise BadInput([_placed(problem, first) for problem in problems])


def _placed(problem: Problem, first: int) -> Problem:
    """A clash that showed at an older row of the log is one of the lines all the same."""
    if problem.line:
        return problem
    what = f"these lines clash with what is logged: {problem.what}"
    return Problem(problem.file, what, problem.mend, first, problem.column)


def _free_ids(job: Job) -> Iterator[str]:
    taken = {row.id for row in job.rows}
    number = 0
    while True:
        number += 1
        if f"{SOURCE}-{number}" not in taken:
            yield f"{SOURCE}-{number}"


def doubts(job: Job, lines: Sequence[Understood]) -> list[str]:
    """What a person should look at before the rows are added: a day far from all others, rows that are there."""
    log = job.log
    rows = [row for line in lines for row in line.rows]
    if not rows or log.empty:
        return []
    said = []
    moments = [datetime.fromisoformat(row.time).astimezone(UTC) for row in rows]
    first, last = (moment.replace(tzinfo=UTC) for moment in log["at"].to_numpy()[[0, -1]].astype(object))
    days = max((first - max(moments)).days, (min(moments) - last).days)
    if days >= 1:
        said.append(f"Is the date right? The rest of the job is {days} {'day' if days == 1 else 'days'} away.")
    naive = job.sheet.naive_times
    there = {(parse_time_us(row.time, naive), *row[1:5]) for row in job.rows}
    again = sum((parse_time_us(row.time, None), *row[1:5]) in there for row in rows)
    if again:
        said.append(f"Was this form typed in before? {again} of the {len(rows)} observations are in the job already.")
    return said
