"""Which checks were noted wrongly? A person marks hundreds of channels, and now and then one of them wrongly.

One false sighting of a channel that never comes would otherwise make the pace of the whole account look slow, or a
dead account look alive. Each channel has a few plausible readings; the set of readings is sought that, with the
posterior it leads to, explains the checks best.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from satdiag.entitlement.channels import History, Reading, fill_in_of
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.posterior import AT_THE_ORIGIN, Posterior, Start, quick_posterior

SLIP = 0.01  # chance that a check is noted or shown wrongly (judgement)
LOG_SLIP = math.log(SLIP / (1.0 - SLIP))
REVOKED_ALONE = 0.002  # chance that one channel is taken away while the account lives (judgement)
REVOKED_TOGETHER = 0.5  # the same where more channels went than slips explain, or the account is known to be stopped
TOO_MANY_SLIPS = 0.01
FEWEST_REFUSALS = 2  # before a sighting may be doubted from the start
MOST_ROUNDS = 3
CLEAR = 3.0  # log odds above which a reading is beyond dispute
EXPOSURE_NODES = 96
_TINY = 1e-12

Choice = tuple[Reading | None, ...]


@dataclass(frozen=True)
class Settled:
    """The chosen reading of every channel (None where no check judged it).

    `log_alive`: log P(checks | the account lives), over the sets of readings that were tried.
    """

    chosen: Choice
    log_alive: float


@dataclass(frozen=True)
class _Try:
    """A set of readings, its log evidence with slips and losses counted, and whether none of it is in dispute."""

    chosen: Choice
    score: float
    clear: bool


def settle(
    histories: Sequence[History],
    now_s: float,
    origin_known: bool,
    priors: Priors,
    wake_ups_s: Sequence[float] = (),
    stopped: bool = False,
    starts: Sequence[Start] = AT_THE_ORIGIN,
) -> Settled:
    """Readings of the checks of all expected channels.

    Three starts, every sighting taken at its word, lone ones taken for slips, all taken for slips, are improved in
    turn (readings given the posterior, posterior given the readings); the best one wins. More slips than a person
    makes are not believed: channels authorised together in one message come at one time, which the posterior alone
    would find unlikely. `stopped`: the log says that the account was refused or has lapsed. `starts`: when sending
    may have begun.
    """
    judged = sum(history.judged for history in histories)
    log_revoked = math.log(REVOKED_TOGETHER if stopped or _went_together(histories) else REVOKED_ALONE)

    def attempt(chosen: Choice) -> tuple[_Try, Choice]:
        fill = fill_in_of(histories, chosen, now_s, origin_known)
        posterior = quick_posterior(fill, priors, wake_ups_s, starts)
        penalty = sum(_penalty(reading, log_revoked) for reading in chosen if reading is not None)
        better, clear = _choose(histories, posterior, log_revoked)
        return _Try(chosen, posterior.log_evidence + penalty, clear and better == chosen), better

    def improve(chosen: Choice) -> _Try:
        best, better = attempt(chosen)
        for _ in range(MOST_ROUNDS - 1):
            if better == best.chosen or are_too_many(_slips(better), judged):
                break
            found, following = attempt(better)
            if found.score <= best.score:
                break
            best, better = found, following
        return best

    plain = tuple(history.readings[0] if history.readings else None for history in histories)
    tries = [improve(plain)]
    if not tries[0].clear:
        for start in (_doubting, _silent):
            chosen = tuple(start(history) for history in histories)
            if chosen != plain and not are_too_many(_slips(chosen), judged):
                tries.append(improve(chosen))
    best = max(tries, key=lambda found: found.score)
    different = {found.chosen: found.score for found in tries}
    return Settled(best.chosen, float(special.logsumexp(list(different.values()))))


def _slips(chosen: Choice) -> int:
    return sum(reading.slips for reading in chosen if reading is not None)


def are_too_many(slips: int, judged: int) -> bool:
    """True if so many slips in so many checks are not to be believed."""
    return bool(slips and special.pdtrc(slips - 1, SLIP * judged) < TOO_MANY_SLIPS)


def _went_together(histories: Sequence[History]) -> bool:
    """True if more channels were seen to play once and refused at once than slips explain."""
    lone = sum(history.is_lone_sighting for history in histories)
    judged = sum(history.judged for history in histories)
    return are_too_many(lone, judged)


def _penalty(reading: Reading, log_revoked: float) -> float:
    return reading.slips * LOG_SLIP + (log_revoked if reading.revoked else 0.0)


def _doubting(history: History) -> Reading | None:
    """The reading that takes a lone sighting, or a lone refusal before sightings, for a slip."""
    if not history.readings:
        return None
    kept = [reading for reading in history.readings if not reading.revoked]
    least = min(reading.slips for reading in kept)
    near = [reading for reading in kept if reading.slips <= least + 1]
    never = [reading for reading in near if not reading.came]
    if never and history.judged - history.sightings >= FEWEST_REFUSALS:
        return never[0]
    return min(near, key=lambda reading: reading.upper_s)


def _silent(history: History) -> Reading | None:
    """The reading that takes every sighting for a slip."""
    if not history.readings:
        return None
    return Reading(history.last_check_s, math.inf, history.sightings)


def _choose(histories: Sequence[History], posterior: Posterior, log_revoked: float) -> tuple[Choice, bool]:
    """The likeliest reading of each channel under the posterior, and whether all are beyond dispute."""
    readings = [reading for history in histories for reading in history.readings]
    ends = np.array([(reading.lower_s, reading.upper_s) for reading in readings]).reshape(-1, 2)
    come = posterior.mean_come()
    finite = ends[np.isfinite(ends)]
    nodes = np.linspace(0.0, 1.0, EXPOSURE_NODES) ** 2 * float(finite.max(initial=1.0))
    later = posterior.come_survival(nodes)
    lower = np.where(np.isneginf(ends[:, 0]), come, np.interp(ends[:, 0], nodes, later))
    upper = np.interp(ends[:, 1], nodes, later)
    chance = np.where(np.isfinite(ends[:, 1]), lower - upper, 1.0 - come + lower)
    penalty = np.array([_penalty(reading, log_revoked) for reading in readings])
    score = np.log(np.maximum(chance, _TINY)) + penalty
    chosen: list[Reading | None] = []
    clear, start = True, 0
    for history in histories:
        own = score[start : start + len(history.readings)]
        start += len(own)
        if not len(own):
            chosen.append(None)
            continue
        chosen.append(history.readings[int(np.argmax(own))])
        rest = np.delete(own, np.argmax(own))
        clear = clear and (not len(rest) or float(own.max() - rest.max()) > CLEAR)
    return tuple(chosen), clear
