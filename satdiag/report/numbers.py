"""Numbers for people: rounded to what they are worth, with unit and interval."""

from __future__ import annotations

import math

from satdiag.findings import Interval, Quantiles
from satdiag.language import in_figures, mark, tell, translated

UNKNOWN = mark("not known")
"""Where it is shown, `unknown` says it in the language in use."""
MINUTE_S = 60.0
HOUR_S = 3600.0
DAY_S = 86400.0
LEAST_CHANCE = 1e-6
THIN_SPACE = "\u202f"
FIXED_SPACE = "\u00a0"
RANGE = mark("90\u202f% range")
"""Where it is shown, `range_words` says it in the language in use."""
DAYS = mark("days")


def unknown() -> str:
    """'not known', in the language in use."""
    return translated(UNKNOWN)


def range_words() -> str:
    """'90 % range', in the language in use."""
    return translated(RANGE)


def _close(text: str) -> str:
    """A text with its signs of per cent held to their numbers."""
    return text.replace(" %", f"{THIN_SPACE}%")


def step_for(low: float, high: float) -> float:
    """The power of ten to round to: half the interval is 3 to 30 such steps, and digits beyond are worth nothing."""
    half = abs(high - low) / 2.0
    return 10.0 ** math.floor(math.log10(half / 3.0)) if half > 0 else 0.0


def rounded(value: float, step: float) -> str:
    """A value rounded to a power of ten; a step of 0 gives three significant digits."""
    if step <= 0:
        return _plain(float(f"{value:.3g}"))
    decimals = max(0, -round(math.log10(step)))
    return _plain(round(value / step) * step, decimals)


def _plain(value: float, decimals: int | None = None) -> str:
    text = f"{value:.{decimals}f}" if decimals is not None else f"{value:.10g}"
    if text.lstrip("-").strip("0.") == "":
        text = text.lstrip("-")
    return in_figures(text).replace("-", "\u2212")


def quantity(value: float | None, unit: str, interval: Interval | None = None) -> str:
    """A value with its unit and, where known, its 90 % interval: '0.9 dB (0.2 to 1.6)'."""
    if value is None:
        return unknown()
    if interval is None:
        return _with_unit(rounded(value, 0.0), unit)
    middle, low, high = _together(value, *interval)
    return f"{_with_unit(middle, unit)} ({_ends(low, high)})"


def _together(*values: float, least: float = 0.0) -> list[str]:
    """A value and the two ends of its range, rounded alike.

    Each keeps one digit at least, so that a small end does not vanish; not so where nought lies inside the range.
    """
    _, low, high = values
    step = max(least, step_for(low, high))
    if low < 0 < high:
        return [rounded(value, step) for value in values]
    return [rounded(value, max(least, min(step, _leading(value)))) for value in values]


def _leading(value: float) -> float:
    """The power of ten of a value's first digit."""
    return 10.0 ** math.floor(math.log10(abs(value))) if value else math.inf


def _ends(low: str, high: str) -> str:
    """The two ends of a range, which are not torn apart at the end of a line."""
    return tell("{low} to {high}", low=low, high=high).replace(" ", FIXED_SPACE)


def _with_unit(text: str, unit: str) -> str:
    return f"{text}{THIN_SPACE}{unit}" if unit else text


def percent(share: float | None, interval: Interval | None = None) -> str:
    """A share or probability in per cent: '97 %', 'over 99 %', 'under 1 %'; with interval '70 % (60 to 80 %)'."""
    if share is None:
        return unknown()
    if interval is None:
        return _one_percent(share)
    low, high = (_digits_percent(end) for end in interval)
    if low == high == _digits_percent(share) and not low.isdigit():
        return _one_percent(share)  # 'over 99 % (over 99 to over 99 %)' says no more
    return f"{_digits_percent(share)}{THIN_SPACE}% ({_ends(low, high)}{THIN_SPACE}%)"


def chance(p: float) -> str:
    """A probability that was computed: never quite 0 or 100 %, whatever rounding made of it."""
    return _one_percent(min(max(p, LEAST_CHANCE), 1.0 - LEAST_CHANCE))


def _one_percent(share: float) -> str:
    if 0.0 < share < 0.01:
        return _close(tell("under 1 %"))
    if 0.99 < share < 1.0:
        return _close(tell("over 99 %"))
    return f"{_digits_percent(share)}{THIN_SPACE}%"


def _digits_percent(share: float) -> str:
    """Whole per cent; 0 and 100 only where they are exact."""
    whole = round(100.0 * share)
    if whole == 0 and share > 0:
        return tell("under 1")
    if whole == 100 and share < 1:
        return tell("over 99")
    return str(whole)


def duration(seconds: float | None) -> str:
    """A length of time in the unit a person would choose: '40 s', '15 min', '2.5 h', '3.0 days'."""
    if seconds is None:
        return unknown()
    if seconds == 0:
        return f"0{THIN_SPACE}s"
    unit, scale = _time_unit(seconds)
    digits = rounded(seconds / scale, _time_step(seconds / scale, unit))
    return f"{digits}{THIN_SPACE}{unit}"


def _time_unit(seconds: float) -> tuple[str, float]:
    if seconds < 1.5 * MINUTE_S:
        return "s", 1.0
    if seconds < 2 * HOUR_S:
        return "min", MINUTE_S
    return ("h", HOUR_S) if seconds < 2 * DAY_S else (translated(DAYS), DAY_S)


def _time_step(value: float, unit: str) -> float:
    if unit == "s":
        return 0.1 if value < 10 else 1.0
    if unit == "min":
        return 1.0
    return 0.1 if value < 10 else 1.0


def wait_minutes(wait: Quantiles | None) -> str:
    """A predicted wait in minutes with its 90 % interval: '15 min (7 to 35)'; under a minute said so."""
    if wait is None:
        return unknown()
    minutes = [value / MINUTE_S for value in (wait.median, wait.p05, wait.p95)]
    texts = _together(*minutes, least=1.0)
    texts = [tell("under 1") if 0 < value < 0.5 else text for value, text in zip(minutes, texts, strict=True)]
    return f"{texts[0]}{THIN_SPACE}min ({_ends(texts[1], texts[2])})"


def seconds(value: float | None, interval: tuple[float, float | None] | None = None) -> str:
    """A delay in seconds, its upper end open where nothing was seen beyond: '1.7 s (1.5 to 2.1)'."""
    if value is None:
        return unknown()
    text = f"{in_figures(f'{value:.1f}')}{THIN_SPACE}s"
    if interval is None:
        return text
    low, high = interval
    most = unknown() if high is None else in_figures(f"{high:.1f}")
    return f"{text} ({_ends(in_figures(f'{low:.1f}'), most)})"


def decibans(weight_db: float) -> str:
    """A weight of evidence with its sign, whole above 10."""
    if abs(weight_db) < 0.05:
        return in_figures("0.0")
    text = f"{weight_db:+.0f}" if abs(weight_db) >= 10 else f"{weight_db:+.1f}"
    return in_figures(text).replace("-", "\u2212")
