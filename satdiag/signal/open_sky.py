"""What a receiver had under an open sky: clear levels of earlier jobs, kept so that a later loss shows.

Learned only from stays that are said to be under an open sky (`place vehicle open-sky`), or whose skyline, measured
or seen by a navigation receiver, leaves the satellite clear. Which receiver it was is kept as a digest of its
identifier, and the identifier's last characters for people to tell files apart.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from satdiag.csv_text import quoted_value
from satdiag.errors import bad_input
from satdiag.findings import SkyFindings

FORM = 1
PREFIX = "open-sky-"
MEND = "Take the file as `satdiag analyse --remember-open-sky` wrote it, or remove it with `satdiag user remove`."
CLEAR_FROM = 0.9
"""Judgement, no source: a mask leaves a satellite clear if the lower end of its chance reaches this."""
MOST_STAYS = 200
_DIGITS = 20

By = Literal["place", "mask"]


@dataclass(frozen=True)
class KeptStay:
    """A clear level in `unit` with its standard error, from one stay of a job; `by`: what says the sky was open."""

    job: str
    path: str
    unit: str
    level: float
    error: float
    by: By
    at: str | None = None


@dataclass(frozen=True)
class OpenSky:
    """All that is kept of one receiver; `receiver` is its identifier with all but the end hidden."""

    receiver: str
    stays: tuple[KeptStay, ...] = ()

    def of(self, path: str, unit: str, but_job: str) -> list[KeptStay]:
        """The stays of a path in a unit, those of a job left out: a job is never compared with itself."""
        return [stay for stay in self.stays if (stay.path, stay.unit) == (path, unit) and stay.job != but_job]

    def with_job(self, job: str, stays: tuple[KeptStay, ...]) -> OpenSky:
        """With a job's stays in the place of what it taught before; none: what it taught is forgotten."""
        kept = tuple(stay for stay in self.stays if stay.job != job)
        return replace(self, stays=(*kept, *stays)[-MOST_STAYS:])

    def text(self) -> str:
        """As it is kept: JSON, keys in a fixed order."""
        stays = [dict(sorted(vars(stay).items())) for stay in self.stays]
        whole = {"form": FORM, "receiver": self.receiver, "stays": stays}
        return json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


def name_of(receiver_id: str) -> str:
    """The name under which a receiver's levels are kept. A digest hides an identifier from a glance, no more: whoever
    tries all identifiers finds it."""
    return PREFIX + hashlib.sha256(f"satdiag open sky {receiver_id}".encode()).hexdigest()[:_DIGITS]


def open_sky_from(value: Mapping[str, Any], file: str) -> OpenSky:
    """Kept levels from a file's JSON object. Raises BadInput."""
    if value.get("form") != FORM:
        what = f"its form is {quoted_value(value.get('form'))}, this version reads form {FORM}"
        raise bad_input(file, what, MEND, 1)
    stays = value.get("stays")
    if not isinstance(value.get("receiver"), str) or not isinstance(stays, list):
        raise bad_input(file, "it does not hold `receiver` and a list `stays`", MEND, 1)
    return OpenSky(value["receiver"], tuple(_stay(one, number, file) for number, one in enumerate(stays, 1)))


def _stay(one: Any, number: int, file: str) -> KeptStay:
    texts, numbers = ("job", "path", "unit"), ("level", "error")
    good = isinstance(one, dict) and set(one) == set(KeptStay.__dataclass_fields__)
    good = good and all(isinstance(one[key], str) for key in texts) and one["by"] in ("place", "mask")
    good = good and all(type(one[key]) in (int, float) and math.isfinite(one[key]) for key in numbers)
    if not good or one["error"] < 0 or not isinstance(one["at"], str | None):
        raise bad_input(file, f"stay {number} is not whole: job, path, unit, level, error, by, at", MEND)
    return KeptStay(**one)


def clear_by_mask(sky: SkyFindings | None) -> frozenset[tuple[str, str]]:
    """(site, satellite) pairs that a skyline leaves clear; what a word for the place makes likely does not count."""
    if sky is None:
        return frozenset()
    return frozenset(
        (site.name, one.name)
        for site in sky.sites
        for one in site.satellites
        if one.from_ in ("gnss", "horizon", "obstacles") and one.p_clear_90 and one.p_clear_90[0] >= CLEAR_FROM
    )


def chance_by_mask(sky: SkyFindings | None) -> dict[tuple[str, str], float]:
    """The chance to be clear by (site, satellite), where a skyline or a navigation receiver tells it."""
    return {
        (site.name, one.name): one.p_clear
        for site in (sky.sites if sky else ())
        for one in site.satellites
        if one.from_ in ("gnss", "horizon", "obstacles") and one.p_clear is not None
    }
