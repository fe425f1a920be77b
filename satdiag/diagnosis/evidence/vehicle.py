"""Evidence from the vehicle: feed, restarts, stored equipment, ring, noise."""

from __future__ import annotations

import numpy as np

from satdiag.diagnosis.again import LOOKS_ENOUGH
from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import Log, Part, log_of
from satdiag.diagnosis.seen import MOST_REPEATS, Seen
from satdiag.diagnosis.space import Floats
from satdiag.findings import BiasFindings

# Judgement, no source.
NOISE_RAISED_DB = 4.0
RAISED_ALL_ALONG = 0.7
"""How often noise that something at a place raises is raised as long as one stands there: it then looks steady."""
FEWEST_NOISE = 3
CERTAIN = 0.98
ANEW_S = 60.0
"""Readings of the feed so far apart are two measurements."""

ALIKE_PART, ALIKE = 0.2, 2.0
"""Two measurements agree within a fifth, and within 2 V or 2 mA where nearly nothing is read."""

WATCHED_S = 600.0
WATCHED_ANEW_S = 180.0
"""Two starts and a few minutes after each: a look for restarts of its own."""

LONGEST_WATCH_S = 3600.0
"""Nobody watches for longer without a word."""

AT_THE_HEAD_UNIT = ("listing", "channel", "audio")
TAKES_POWER = ("yes", "authorised", "refused", "playing", "broken")
"""What is seen at the head unit only while the receiver is on."""


def _bias(known: Known) -> Seen | None:
    bias = known.wiring.bias
    if bias is None or bias.state is None:
        return None
    log = log_of(known.job)
    rows = log.of("bias").names()
    if bias.state != "normal" and log.is_over(log.of("bias")):
        return None
    if not bias.state_p or bias.state_p.get(bias.state, 0.0) >= CERTAIN:
        return Seen("bias", bias.state, rows, _measured(log.of("bias"), bias))
    spread = bias.state_p.get("unknown", 0.0) / (len(bias.state_p) - 1)
    chances = {state: p + spread for state, p in bias.state_p.items() if state != "unknown"}
    top = max(chances.values())
    soft = {state: chance / top for state, chance in chances.items()}
    return Seen("bias", max(soft, key=lambda state: soft[state]), rows, soft=soft)


def _measured(rows: Part, bias: BiasFindings) -> int:
    """How often the feed was measured anew, as far back as the values are those that it is judged by."""
    judged = {"voltage": bias.voltage_v, "current": bias.current_ma}
    known = rows.about(lambda subject: judged.get(subject.partition(":")[0]) is not None)
    values = [float(judged[subject.partition(":")[0]] or 0.0) for subject in known.subject]
    alike = [abs(n - v) <= ALIKE_PART * abs(v) + ALIKE for n, v in zip(known.number.tolist(), values, strict=True)]
    since = len(alike) - next((back for back, same in enumerate(reversed(alike)) if not same), len(alike))
    return max(min(1 + int((np.diff(known.t_s[since:]) > ANEW_S).sum()), MOST_REPEATS), 1)


def _resets(known: Known) -> Seen | None:
    log = log_of(known.job)
    rows = log.ours("reset")
    if len(rows):
        return Seen("resets", "one" if len(rows) == 1 else "several", rows.names(), min(len(rows), MOST_REPEATS))
    power = log.of("power")
    watched = known.job.end_s >= WATCHED_S and len(power) > 0
    looks = int(watched) + watched_anew(power)
    return Seen("resets", "none", repeats=min(looks, LOOKS_ENOUGH)) if looks else None


def watched_anew(power: Part) -> int:
    """How often the receiver was watched for minutes on purpose, awake by one row and still by the next."""
    awake = (power.value[1:] == "awake") & (power.value[:-1] == "awake")
    apart_s = np.diff(power.t_s)
    return int((awake & (apart_s >= WATCHED_ANEW_S) & (apart_s <= LONGEST_WATCH_S)).sum())


def _power(known: Known) -> Seen | None:
    """Whether the receiver was on when it was last looked at.

    Whoever switches everything off writes that down too. Off is a finding only where the head unit, which was on, was
    looked at afterwards, and nothing seen there takes a receiver that is on.
    """
    log = log_of(known.job)
    rows = log.ours("power").since(log.last_visit_s).said("awake", "off")
    if not len(rows):
        return None
    alike = rows.trailing()
    if rows.value[-1] == "awake":
        return Seen("power", "awake", alike.names())
    since_s = float(alike.t_s[0])
    looks = [log.of(kind).since(since_s) for kind in AT_THE_HEAD_UNIT]
    lives = any(len(part.said(*TAKES_POWER)) for part in looks) or len(log.of("lock").since(since_s).said("yes"))
    return Seen("power", "off", alike.names()) if any(map(len, looks)) and not lives else None


def _configuration(known: Known) -> Seen | None:
    rows = log_of(known.job).of("configuration").last_of_each()
    if not len(rows):
        return None
    word = "differs" if "differs" in rows.value else "matches"
    every = log_of(known.job).of("configuration")
    alike = [len(every.where(every.subject == one).trailing()) for one in rows.said(word).subject]
    return Seen("configuration", word, rows.names(), min(max(alike), MOST_REPEATS))


def _other_nodes(known: Known) -> Seen | None:
    rows = log_of(known.job).of("ring").about(lambda one: one.startswith("node:") and one != "node:receiver")
    rows = rows.last_of_each()
    if not len(rows):
        return None
    return Seen("other-nodes", "some-silent" if "absent" in rows.value else "all-answer", rows.names())


def _noise(known: Known) -> Seen | None:
    """The spread of the noise readout while the feed is on, or was never switched."""
    log = log_of(known.job)
    noise, feed = log.of("noise"), log.of("feed")
    if len(feed) and len(noise):
        last = np.searchsorted(feed.t_s, noise.t_s, side="right") - 1
        noise = noise.where(np.array([at < 0 or feed.value[at] != "off" for at in last.tolist()], dtype=bool))
    if len(noise) < FEWEST_NOISE:
        return None
    low, high = np.quantile(noise.number, [0.1, 0.95])
    if high - low > NOISE_RAISED_DB:
        return Seen("noise", "raised", noise.names())
    if len(np.unique(np.searchsorted(_moved_s(log), noise.t_s, side="right"))) > 1:
        return Seen("noise", "steady", noise.names())
    return Seen("noise", "steady", noise.names(), soft={"steady": 1.0, "raised": RAISED_ALL_ALONG})


def _moved_s(log: Log) -> Floats:
    """When the vehicle came to stand at another place."""
    return np.unique(np.concatenate([log.of(kind, "vehicle").changes_s() for kind in ("place", "site")]))


RISES = {"none": "none", "low": "low", "as expected": "normal", "high": "high"}


def _noise_rise(known: Known) -> Seen | None:
    """How far the noise rose with the feed, beside what was expected."""
    found = known.wiring.noise_rise
    if found is None or found.meaning not in RISES:
        return None
    log = log_of(known.job)
    if found.meaning != "as expected" and log.is_over(log.of("feed")):
        return None
    return Seen("noise-rise", RISES[found.meaning], log.of("feed").names())


LOOKS = (_bias, _resets, _power, _configuration, _other_nodes, _noise, _noise_rise)
