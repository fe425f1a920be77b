"""From the log to one history a channel: which are expected, what each was last seen as, when it came."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from satdiag.entitlement.fill_in import FillIn
from satdiag.entitlement.reception import Clock
from satdiag.job import Job

State = Literal["authorised", "refused", "missing", "no-signal", "unchecked"]
TUNE_VERDICTS = {"refused": "refused", "audio": "authorised"}


class Check(NamedTuple):
    """One check of a channel: `lower_s` is the exposure clock's lower bound at its start, `upper_s` at its end."""

    t_s: float
    value: str
    lower_s: float
    upper_s: float


class Reading(NamedTuple):
    """One way to read a channel's checks: it came in (lower, upper], or not by `lower_s` (`upper_s` inf).

    `slips`: checks that must have been noted wrongly if so; `revoked`: it was taken away again. `lower_s` is -inf
    where nothing bounds it.
    """

    lower_s: float
    upper_s: float
    slips: int
    revoked: bool = False

    @property
    def came(self) -> bool:
        """True if the channel came."""
        return self.upper_s < math.inf


class History(NamedTuple):
    """What the log says of one channel since the receiver was fitted.

    `readings`: the plausible ways to read its checks since the clock's origin, the one with the first sighting taken
    at its word first; none without a check that judged it. `held_before`: it played before the origin already.
    `refused_now`: the last check that judged it refused it. `sightings`, `judged`: checks since the origin that saw
    it authorised, and all that judged it; `last_check_s`: the exposure at the last of them. `played_t_s`: when it
    was last seen authorised, in seconds since the first row.
    """

    channel: int
    state: State
    readings: tuple[Reading, ...] = ()
    held_before: bool = False
    refused_now: bool = False
    sightings: int = 0
    judged: int = 0
    last_check_s: float = 0.0
    played_t_s: float | None = None

    @property
    def is_lone_sighting(self) -> bool:
        """True if it was seen to play but once and refused at the next check."""
        return self.refused_now and self.sightings == 1 and self.judged > 1


@dataclass(frozen=True)
class Expected:
    """Which channels should play, how that is known, and those of which it is known or unknown that they need not.

    `outside`: the line-up says that the package does not hold them; `taken_as_open`: played before an account was
    submitted, in a job without a line-up.
    """

    source: Literal["package", "lineup", "seen"]
    channels: frozenset[int]
    outside: frozenset[int] = frozenset()
    package_unknown: frozenset[int] = frozenset()
    taken_as_open: frozenset[int] = frozenset()


def checks_by_channel(job: Job, clock: Clock) -> dict[int, list[Check]]:
    """Every channel in a `channel` or `tune` row, with its checks in order of time.

    Checks before the receiver was swapped are left out, their channels kept. A tune mark `refused` is a check
    'refused', `audio` one 'authorised'; other marks judge nothing.
    """
    log = job.log
    rows = log[log["kind"].isin(["channel", "tune"])]
    t_s = rows["t_s"].to_numpy(dtype=float)
    starts = t_s - rows["span_s"].to_numpy(dtype=float)
    lower_s, upper_s = clock.lower_s(starts), clock.upper_s(t_s)
    found: dict[int, list[Check]] = {}
    columns = zip(rows["kind"], rows["subject"], rows["value"], t_s, lower_s, upper_s, strict=True)
    for kind, subject, value, at, low, high in columns:
        checks = found.setdefault(int(subject), [])
        verdict = TUNE_VERDICTS.get(value) if kind == "tune" else value
        if verdict is not None and at >= clock.era_start_s:
            checks.append(Check(float(at), verdict, float(low), float(high)))
    return found


def expected_channels(job: Job, checks: dict[int, list[Check]]) -> Expected:
    """The channels that should play: by package, by line-up, or all that were seen."""
    if job.lineup is None:
        free = _played_before_submission(job, checks)
        return Expected("seen", frozenset(checks) - free, taken_as_open=free)
    if not job.sheet.package:
        closed = frozenset(line.channel for line in job.lineup if not line.is_open)
        return Expected("lineup", closed)
    package = job.sheet.package
    return Expected(
        "package",
        frozenset(line.channel for line in job.lineup if package in line.packages),
        outside=frozenset(
            line.channel for line in job.lineup if line.packages and package not in line.packages and not line.is_open
        ),
        package_unknown=frozenset(line.channel for line in job.lineup if not line.packages),
    )


def _played_before_submission(job: Job, checks: dict[int, list[Check]]) -> frozenset[int]:
    account = job.select("account")
    submitted = account.loc[account["value"] == "submitted", "t_s"]
    if submitted.empty:
        return frozenset()
    first = float(submitted.iloc[0])
    return frozenset(
        channel
        for channel, seen in checks.items()
        if any(check.value == "authorised" and check.t_s < first for check in seen)
    )


def history_of(channel: int, checks: Iterable[Check], clock: Clock) -> History:
    """The history of one channel from its checks in order of time."""
    checks = list(checks)
    judged = [check for check in checks if check.value in ("authorised", "refused")]
    before = [check for check in judged if check.t_s < clock.origin_s]
    after = [check for check in judged if check.t_s >= clock.origin_s]
    played_already = bool(before) and before[-1].value == "authorised"
    held_before = played_already and (not after or after[0].value == "authorised")
    played = [check.t_s for check in after if check.value == "authorised"]
    start_s = 0.0 if clock.origin == "confirmed" else -math.inf
    return History(
        channel,
        _state(checks),
        readings=() if held_before else readings_of(after, start_s),
        held_before=held_before,
        refused_now=bool(after) and after[-1].value == "refused",
        sightings=len(played),
        judged=len(after),
        last_check_s=after[-1].lower_s if after else 0.0,
        played_t_s=played[-1] if played else None,
    )


def readings_of(checks: Sequence[Check], start_s: float) -> tuple[Reading, ...]:
    """The plausible readings of checks that each saw 'authorised' or 'refused', in order of time.

    First the plain one: it came after the last refusal before the first sighting. Then every other place where it
    may have come with at most one slip more than the best; and, if it is refused now, that it was taken away again.
    """
    if not checks:
        return ()
    seen = [check.value == "authorised" for check in checks]
    number = len(seen)
    first = seen.index(True) if any(seen) else number
    slips = [sum(seen[:k]) + (number - k - sum(seen[k:])) for k in range(number + 1)]
    places = [k for k in range(number + 1) if k != first and slips[k] <= min(slips) + 1]
    found = [_reading(checks, k, slips[k], start_s) for k in (first, *places)]
    if any(seen) and not seen[-1]:
        until = number - seen[::-1].index(True)
        truncated = sum(not value for value in seen[first:until])
        found.append(_reading(checks, first, truncated, start_s)._replace(revoked=True))
    return tuple(found)


def _reading(checks: Sequence[Check], place: int, slips: int, start_s: float) -> Reading:
    lower_s = checks[place - 1].lower_s if place else start_s
    upper_s = checks[place].upper_s if place < len(checks) else math.inf
    return Reading(lower_s, upper_s, slips)


def _state(checks: list[Check]) -> State:
    for check in reversed(checks):
        if check.value == "authorised":
            return "authorised"
        if check.value == "refused":
            return "refused"
        if check.value == "missing":
            return "missing"
    return "no-signal" if any(check.value == "no-signal" for check in checks) else "unchecked"


def fill_in_of(
    histories: Sequence[History], chosen: Sequence[Reading | None], now_s: float, origin_known: bool
) -> FillIn:
    """The fill-in of these (expected) channels, each read as chosen (None: no check judged it).

    An arrival without listening in between (L = R) tells nothing of the wait. Those that have not come keep their
    order in `unseen_s`.
    """
    came = [reading for reading in chosen if reading is not None and reading.came]
    timed = np.array([(r.lower_s, r.upper_s) for r in came if r.upper_s > r.lower_s], dtype=float).reshape(-1, 2)
    pairs = zip(histories, chosen, strict=True)
    unseen = [-np.inf if r is None else r.lower_s for h, r in pairs if is_awaited(h, r)]
    return FillIn(
        seen_lower_s=timed[:, 0],
        seen_upper_s=timed[:, 1],
        unseen_s=np.array(unseen, dtype=float),
        now_s=now_s,
        held_s=np.array([r.upper_s for r in came if r.upper_s <= r.lower_s], dtype=float),
        held_before=sum(history.held_before for history in histories),
        origin_known=origin_known,
    )


def is_awaited(history: History, reading: Reading | None) -> bool:
    """True for a channel that has not come yet."""
    return not history.held_before and (reading is None or not reading.came)
