"""Numbers, dates and lists in the language in use."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from functools import reduce

from satdiag.language.catalogue import spoken, tell
from satdiag.language.figures import figures_in

MONTHS = {
    "en": "January February March April May June July August September October November December",
    "es": "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
    "fr": "janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
}
AND = {"en": "and", "es": "y", "fr": "et"}
OR = {"en": "or", "es": "o", "fr": "ou"}
_Y_SOUND = ("i", "í", "hi", "hí")
_O_SOUND = ("o", "ó", "ho", "hó", "8", "11")


def in_figures(text: str) -> str:
    """A number as Python's format wrote it, in the form of the language in use: '0.5' is '0,5' in French."""
    return figures_in(text, spoken())


def date_text(day: date) -> str:
    """'3 May 2031', '3 de mayo de 2031', '3 mai 2031' (the first of a month is '1er' in French)."""
    language = spoken()
    month = MONTHS[language].split()[day.month - 1]
    if language == "es":
        return f"{day.day} de {month} de {day.year}"
    number = "1er" if language == "fr" and day.day == 1 else str(day.day)
    return f"{number} {month} {day.year}"


def clock_text(moment: datetime) -> str:
    """The time of day on 24 hours, '08:40'; the three languages write it alike."""
    return f"{moment:%H:%M}"


def moment_text(moment: datetime) -> str:
    """'3 May 2031, 08:40' of a wall-clock time; 'à 08:40' in French."""
    joint = " à " if spoken() == "fr" else ", "
    return f"{date_text(moment)}{joint}{clock_text(moment)}"


def counted(number: int, one: str, many: str = "") -> str:
    """'1 row', '12,000 rows', where only English is spoken: errors, the recorder, commands without --lang.

    `many`: the form for other numbers, where that is not `one` with an s. All else is said by `tell_many`.
    """
    return f"{number:,} {one if number == 1 else many or f'{one}s'}"


def listed(parts: Sequence[str], with_or: bool = False) -> str:
    """'a, b and c'; Spanish 'y' becomes 'e' before an i, 'o' becomes 'u' before an o."""
    if len(parts) < 2:
        return parts[0] if parts else ""
    word = (OR if with_or else AND)[spoken()]
    if spoken() == "es":
        word = _before_like_sound(word, parts[-1].lower())
    return f"{', '.join(parts[:-1])} {word} {parts[-1]}"


def parted(parts: Iterable[str]) -> str:
    """'a; b; c' with the semicolon as the language sets it; '' of nothing."""
    found = list(parts)
    return reduce(lambda before, part: tell("{before}; {part}", before=before, part=part), found) if found else ""


def chance_text(chance: float) -> str:
    """A chance that was computed, in whole per cent: '97 %'. Never 0 or 100, whatever rounding would make of it."""
    whole = round(100.0 * chance)
    if whole < 1:
        return tell("under 1 %")
    return tell("over 99 %") if whole > 99 else tell("{whole} %", whole=whole)


def _before_like_sound(word: str, following: str) -> str:
    if word == "o":
        return "u" if following.startswith(_O_SOUND) else "o"
    broken = following.startswith(("hia", "hie", "io"))
    return "e" if following.startswith(_Y_SOUND) and not broken else "y"
