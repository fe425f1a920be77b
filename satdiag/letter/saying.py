"""Spans of time, likelihoods, instants and levels as a letter says them, in the language in use."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from satdiag.findings import Instant
from satdiag.language import in_figures, mark, moment_text, tell, tell_many, translated
from satdiag.report.local_time import LocalTime, parse_instant
from satdiag.report.numbers import FIXED_SPACE

STEP_S = 300.0
LONG_S = 5400.0

# The least chance of each word: those that the small print states.
LIKELY, VERY_LIKELY, ALMOST_CERTAIN = 2.0 / 3.0, 0.9, 0.99

SCALE = mark(
    "What our words mean: likely: at least 2 in 3; very likely: at least 9 in 10; almost certain: at least 99 in "
    "100. "
    "Where we are less sure than that, we say so."
)


def scale_text() -> str:
    """What the words of likelihood mean."""
    return translated(SCALE)


def level_of(p: float) -> int:
    """How likely: 3 almost certain, 2 very likely, 1 likely, 0 less than that."""
    return sum(p >= least for least in (LIKELY, VERY_LIKELY, ALMOST_CERTAIN))


def span_text(seconds: float) -> str:
    """Seconds as '25 minutes' or '2 h 20 min', to the minute below ten and to five above."""
    step = 60.0 if seconds < 600.0 else STEP_S
    minutes = max(round(round(seconds / step) * step / 60.0), 1)
    if minutes * 60.0 < LONG_S:
        return tell_many("{n} minute", "{n} minutes", minutes)
    hours, rest = divmod(minutes, 60)
    text = tell("{hours} h {minutes} min", hours=hours, minutes=rest) if rest else tell("{hours} h", hours=hours)
    return text.replace(" ", FIXED_SPACE)


def rounded_up(seconds: float) -> float:
    """Seconds up to the next five minutes, one minute below ten."""
    step = 60.0 if seconds < 600.0 else STEP_S
    return math.ceil(seconds / step - 1e-9) * step


def rounded_down(seconds: float) -> float:
    """Seconds down to the last five minutes, one minute below ten."""
    step = 60.0 if seconds < 600.0 else STEP_S
    return math.floor(seconds / step + 1e-9) * step


def instant_words(instant: Instant | None, local: LocalTime) -> str:
    """An instant of the findings as date and clock time at the place; 'not known' for None."""
    if instant is None:
        return tell("not known")
    return moment_text(local.wall(parse_instant(instant)))


def end_of_wait(instant: Instant, wait_s: float, local: LocalTime) -> datetime:
    """The wall-clock time after a wait, up to the next five minutes."""
    end = parse_instant(instant) + timedelta(seconds=wait_s)
    past = end.timestamp() % STEP_S
    return local.wall(end + timedelta(seconds=STEP_S - past if past else 0.0))


def zone_text(local: LocalTime) -> str:
    """Which clock the times are on."""
    name = getattr(local.zone, "key", "")
    return tell("Times are local time ({zone}).", zone=name) if name else tell("Times are UTC.")


def number(value: float, digits: int) -> str:
    """A number with so many decimals, in the language's form."""
    return in_figures(f"{value:.{digits}f}").replace("-", "\u2212")


def quantity(value: float, digits: int, unit: str) -> str:
    """A number with its unit, not torn apart at the end of a line."""
    return f"{number(value, digits)}{FIXED_SPACE}{unit}" if unit else number(value, digits)


def level_words(level: float, unit: str | None) -> str:
    """A level with its unit: '82.6 dB-Hz', '5 of 5 bars', '70 %'."""
    unit = unit or ""
    if unit.startswith("bars/"):
        return tell("{level} of {most} bars", level=number(level, 0), most=unit.removeprefix("bars/"))
    if unit == "percent":
        unit = "%"
    return quantity(level, 0 if unit == "%" else 1, unit)
