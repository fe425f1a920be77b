"""From the log to one history a channel: which are expected, what each was last seen as, when it came."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from satdiag.entitlement.fill_in import FillIn
from satdiag.exposure import ExposureClock
from satdiag.job import Job

State = Literal["authorised", "refused", "missing", "no-signal", "unchecked"]
TUNE_VERDICTS = {"refused": "refused", "audio": "authorised"}


@dataclass(frozen=True)
class Check:
    """One check of a channel: `lower_s` is the exposure clock's lower bound at its start, `upper_s` at its end."""

    t_s: float
    value: str
    lower_s: float
    upper_s: float


@dataclass(frozen=True)
class History:
    """What the log says of one channel since the receiver was fitted.

    `came`: the half-open exposure interval of its arrival; an empty one (R <= L, or no refusal before, on a clock
    that starts at the first row) tells nothing of the wait. `held_before`: it played before the clock's origin.
    `refused_s`: exposure at the last refusal of a channel that has not come. `lost`: it played and is refused now.
    `played_t_s`: when it was last seen authorised, in seconds since the first row, and not before the origin.
    """

    channel: int
    state: State
    came: tuple[float, float] | None = None
    wait_known: bool = False
    held_before: bool = False
    refused_s: float = 0.0
    lost: bool = False
    played_t_s: float | None = None


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


def checks_by_channel(job: Job, clock: ExposureClock) -> dict[int, list[Check]]:
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


def history_of(channel: int, checks: Iterable[Check], clock: ExposureClock) -> History:
    """The history of one channel from its checks in order of time."""
    checks = list(checks)
    state = _state(checks)
    judged = [check for check in checks if check.value in ("authorised", "refused")]
    before = [check for check in judged if check.t_s < clock.origin_s]
    after = [check for check in judged if check.t_s >= clock.origin_s]
    played_already = bool(before) and before[-1].value == "authorised"
    played = [check.t_s for check in after if check.value == "authorised"]
    if played_already and (not after or after[0].value == "authorised"):
        lost = bool(after) and after[-1].value == "refused"
        played_t_s = played[-1] if played else None
        return History(channel, state, held_before=True, lost=lost, played_t_s=played_t_s)
    first = next((k for k, check in enumerate(after) if check.value == "authorised"), None)
    if first is None:
        return History(channel, state, refused_s=after[-1].lower_s if after else 0.0)
    refused = after[first - 1].lower_s if first else 0.0
    came = (refused, after[first].upper_s)
    known = clock.origin == "confirmed" or first > 0 or bool(before)
    return History(
        channel,
        state,
        came=came,
        wait_known=known and came[1] > came[0],
        lost=after[-1].value == "refused",
        played_t_s=played[-1],
    )


def _state(checks: list[Check]) -> State:
    for check in reversed(checks):
        if check.value == "authorised":
            return "authorised"
        if check.value == "refused":
            return "refused"
        if check.value == "missing":
            return "missing"
    return "no-signal" if any(check.value == "no-signal" for check in checks) else "unchecked"


def fill_in_of(histories: Iterable[History], now_s: float) -> FillIn:
    """The fill-in of these (expected) channels; those that have not come keep their order in `unseen_s`."""
    histories = list(histories)
    arrivals = [h.came for h in histories if h.came is not None and h.wait_known]
    held = [h.came[1] for h in histories if h.came is not None and not h.wait_known]
    table = np.array(arrivals, dtype=float).reshape(-1, 2)
    return FillIn(
        seen_lower_s=table[:, 0],
        seen_upper_s=table[:, 1],
        unseen_s=np.array([h.refused_s for h in histories if is_awaited(h)], dtype=float),
        now_s=now_s,
        held_s=np.array(held, dtype=float),
        held_before=sum(h.held_before for h in histories),
    )


def is_awaited(history: History) -> bool:
    """True for a channel that has not come yet."""
    return history.came is None and not history.held_before
