"""From rows and findings to evidence: which state each item of `faults.toml` was seen in, as things stand at the end.

An item that was not tried is not there: absence is no evidence. Where things changed (the vehicle was moved, the
ring was closed again), only what was seen since counts.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import binom

from satdiag.diagnosis.received import reception_evidence
from satdiag.diagnosis.seen import (
    MOST_REPEATS,
    Seen,
    heard_since_s,
    names_of,
    of_this_receiver,
    settled_since_s,
    trailing,
)
from satdiag.findings import (
    EntitlementFindings,
    SiteSky,
    SkyFindings,
    TuningFindings,
    WiringFindings,
)
from satdiag.job import Job

# Judgement, no source.
NOISE_RAISED_DB = 4.0
RISE_NONE_DB, RISE_LOW_DB, RISE_HIGH_DB = 1.5, 6.0, 24.0
SUPPLY_LOW_V = 9.0  # lower limit of supply code C, ISO 16750-2
STILL_COMING = 0.3
NOTHING_AFTER_S = 1200.0  # four times the usual wait for the first channels: common practice, no source
MISREAD_SHARE = 0.02
BLOCKED_BELOW = 0.3
CHECKED_ENOUGH = 0.8


@dataclass(frozen=True, eq=False)
class Known:
    """Everything that evidence is drawn from."""

    job: Job
    sky: SkyFindings
    entitlement: EntitlementFindings
    tuning: TuningFindings
    wiring: WiringFindings


def collect(known: Known) -> tuple[Seen, ...]:
    """All evidence that the job holds."""
    found = [*_last_states(known.job), *reception_evidence(known.job)]
    for look in _LOOKS:
        seen = look(known)
        if seen is not None:
            found.append(seen)
    return tuple(found)


# --- states that the last row tells ------------------------------------------------------------------------------

_LAST: tuple[tuple[str, str, str | None, dict[str, str]], ...] = (
    ("listing", "listing", "source", {"yes": "offered", "no": "not-offered"}),
    ("ring", "ring", "bus", {"closed": "closed", "open": "open"}),
    ("node", "ring", "node:receiver", {"present": "answers", "absent": "silent"}),
    ("other-sources", "ring", "other-sources", {"working": "working", "lost": "lost"}),
    ("identity", "identity", None, {"match": "match", "mismatch": "mismatch"}),
    ("swap-antenna", "swap", "antenna", {}),
    ("swap-lead", "swap", "lead", {}),
    ("swap-receiver", "swap", "receiver", {}),
    ("swap-place", "swap", "place", {}),
    ("place", "place", "vehicle", {"underground": "indoors"}),
    (
        "account",
        "account",
        None,
        {"resend-requested": "resent", "resend-confirmed": "resent"},
    ),
)


def _last_states(job: Job) -> list[Seen]:
    found = []
    for item, kind, subject, words in _LAST:
        rows = job.select(kind, subject)
        if len(rows):
            value, alike = str(rows["value"].iloc[-1]), trailing(rows)
            found.append(Seen(item, words.get(value, value), names_of(alike), min(len(alike), MOST_REPEATS)))
    return found


# --- items that need a look at more than one row -----------------------------------------------------------------


def _bias(known: Known) -> Seen | None:
    bias = known.wiring.bias
    if bias is None or bias.state is None:
        return None
    return Seen("bias", bias.state, names_of(known.job.select("bias")))


def _supply(known: Known) -> Seen | None:
    supply = known.wiring.supply
    lowest = None if supply is None else (supply.minimum_v if supply.minimum_v is not None else supply.median_v)
    if lowest is None:
        return None
    return Seen("supply", "low" if lowest < SUPPLY_LOW_V else "normal", names_of(known.job.select("supply")))


def _resets(known: Known) -> Seen | None:
    rows = of_this_receiver(known.job, "reset")
    if len(rows):
        word = "one" if len(rows) == 1 else "several"
        return Seen("resets", word, names_of(rows), min(len(rows), MOST_REPEATS))
    watched = known.job.end_s >= 600 and not known.job.select("power").empty
    return Seen("resets", "none") if watched else None


def _configuration(known: Known) -> Seen | None:
    rows = known.job.select("configuration").drop_duplicates("subject", keep="last")
    if rows.empty:
        return None
    differs = (rows["value"] == "differs").any()
    return Seen("configuration", "differs" if differs else "matches", names_of(rows))


def _other_nodes(known: Known) -> Seen | None:
    rows = known.job.select("ring")
    rows = rows[rows["subject"].str.startswith("node:") & (rows["subject"] != "node:receiver")]
    rows = rows.drop_duplicates("subject", keep="last")
    if rows.empty:
        return None
    return Seen("other-nodes", "some-silent" if (rows["value"] == "absent").any() else "all-answer", names_of(rows))


def _noise_readings(job: Job) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Noise rows with the feed off, and with it on (or never switched)."""
    noise, feed = job.select("noise"), job.select("feed")
    if feed.empty or noise.empty:
        return noise.head(0), noise
    last = np.searchsorted(feed["t_s"].to_numpy(), noise["t_s"].to_numpy(), side="right") - 1
    off = np.array([number >= 0 and feed["value"].iloc[number] == "off" for number in last], dtype=bool)
    return noise[off], noise[~off]


def _noise(known: Known) -> Seen | None:
    _, on = _noise_readings(known.job)
    if len(on) < 3:
        return None
    low, high = np.quantile(on["number"], [0.1, 0.95])
    return Seen("noise", "raised" if high - low > NOISE_RAISED_DB else "steady", names_of(on))


def _noise_rise(known: Known) -> Seen | None:
    off, on = _noise_readings(known.job)
    if off.empty or on.empty:
        return None
    rise_db = float(on["number"].median() - off["number"].median())
    for limit, word in ((RISE_NONE_DB, "none"), (RISE_LOW_DB, "low"), (RISE_HIGH_DB, "normal")):
        if rise_db < limit:
            return Seen("noise-rise", word, names_of(off))
    return Seen("noise-rise", "high", names_of(off))


def _audio(known: Known) -> Seen | None:
    """Sound counts only once a channel was seen authorised: a refused channel is silent by right."""
    channel, tune = known.job.select("channel"), known.job.select("tune")
    allowed = channel[channel["value"] == "authorised"]["t_s"]
    since = heard_since_s(known.job)
    rows = known.job.select("audio")
    rows = rows[rows["t_s"] >= max(since, allowed.min() if len(allowed) else np.inf)]
    heard = tune[(tune["value"] == "audio") & (tune["t_s"] >= since)]
    if rows.empty:
        return Seen("audio", "playing", names_of(heard)) if len(heard) else None
    alike = trailing(rows)
    return Seen("audio", str(rows["value"].iloc[-1]), names_of(alike), min(len(alike), MOST_REPEATS))


def _unjudgeable(known: Known) -> Seen | None:
    rows = of_this_receiver(known.job, "channel")
    now = rows[rows["t_s"] >= settled_since_s(known.job)]
    rows = now if len(now) >= 3 else rows
    if len(rows) < 3:
        return None
    many = float((rows["value"] == "no-signal").mean()) > 0.5
    return Seen("unjudgeable", "many" if many else "few", names_of(rows))


def _open_channel(known: Known) -> Seen | None:
    opened = {str(channel.channel) for channel in known.job.lineup or () if channel.is_open}
    rows = of_this_receiver(known.job, "channel")
    rows = rows[rows["subject"].isin(opened) & (rows["t_s"] >= heard_since_s(known.job))]
    if rows.empty:
        return None
    value = str(rows["value"].iloc[-1])
    return Seen("open-channel", "plays" if value == "authorised" else "silent", names_of(rows))


def _entitlement(known: Known) -> Seen | None:
    found = known.entitlement
    if not found.authorised and not found.refused:
        return None
    opened = {channel.channel for channel in known.job.lineup or () if channel.is_open}
    aside = opened | set(found.beyond_package) | _outside_package(known.job)
    expected = [c for c in found.channels if c.channel not in aside and c.reason != "not-listed"]
    waiting = [channel for channel in expected if channel.state == "refused"]
    if found.complete:
        return Seen("entitlement", "complete")
    if not waiting:
        enough = (found.checked or 0) >= CHECKED_ENOUGH * (found.expected or 1)
        return Seen("entitlement", "complete") if enough else None
    if _only_strays(known.job, {channel.channel for channel in expected}):
        states = known.job.select("account")["value"]
        stopped = len(states) > 0 and states.iloc[-1] in ("none", "rejected", "lapsed")
        dead = (found.p_account_dead or 0.0) >= 0.5 and not stopped  # what was done with the account is its own item
        dead = dead or (found.exposure_s or 0.0) >= NOTHING_AFTER_S
        return Seen("entitlement", "nothing" if dead else "early")
    lost = sum(channel.reason == "lost" for channel in expected)
    if lost >= 3 or (lost and lost >= 0.2 * (lost + (found.authorised or 0))):
        return Seen("entitlement", "lost")
    if not _arrival_seen(known.job):
        if (found.exposure_s or 0.0) >= NOTHING_AFTER_S:
            return Seen("entitlement", "stalled")
        if found.exposure_origin == "first-row":
            return Seen("entitlement", "early")
    chances = [channel.p_will_come for channel in waiting if channel.p_will_come is not None]
    coming = float(np.mean(chances)) if chances else 0.0
    return Seen("entitlement", "growing" if coming >= STILL_COMING else "stalled")


def _outside_package(job: Job) -> set[int]:
    """Channels that the line-up does not put into the booked package."""
    package = job.sheet.package
    return {c.channel for c in job.lineup or () if package and c.packages and not c.packages & {package, "open"}}


def _arrival_seen(job: Job) -> bool:
    """True if some channel was seen refused first and authorised later: the number did grow under our eyes."""
    rows = of_this_receiver(job, "channel")
    refused = rows[rows["value"] == "refused"].groupby("subject")["t_s"].min()
    last = rows.drop_duplicates("subject", keep="last").set_index("subject")
    plays = last.loc[last["value"] == "authorised", "t_s"]
    return bool((plays > refused.reindex(plays.index)).any())


def _only_strays(job: Job, expected: set[int]) -> bool:
    """True if 'authorised' was seen so rarely among the expected channels that misreading explains it."""
    rows = of_this_receiver(job, "channel")
    rows = rows[rows["subject"].astype("int64").isin(expected) & rows["value"].isin(["authorised", "refused"])]
    seen = int((rows["value"] == "authorised").sum())
    return seen == 0 or (len(rows) >= 10 and seen <= binom.ppf(0.95, len(rows), MISREAD_SHARE))


def _refused_pattern(known: Known) -> Seen | None:
    rows = of_this_receiver(known.job, "channel").drop_duplicates("subject", keep="last")
    state = {int(subject): value for subject, value in zip(rows["subject"], rows["value"], strict=True)}
    refused = {channel for channel, value in state.items() if value == "refused"}
    slips = {
        c.channel for c in known.entitlement.channels if c.state == "authorised" and (c.p_will_come or 0.0) < 0.5
    }
    plays = {channel for channel, value in state.items() if value == "authorised"} - slips
    refused |= slips & set(state)
    if not refused:
        return Seen("refused-pattern", "none") if plays else None
    outside = _outside_package(known.job)
    if refused <= outside:
        return Seen("refused-pattern", "outside-package", names_of(rows[rows["value"] == "refused"]))
    return Seen("refused-pattern", _by_category(known, refused, plays), names_of(rows[rows["value"] == "refused"]))


def _by_category(known: Known, refused: set[int], plays: set[int]) -> str:
    """'whole-categories' if nearly every category is either complete or refused as a whole, and both kinds exist."""
    members: dict[str, set[int]] = {}
    for channel in known.job.lineup or ():
        if channel.category and not channel.is_open:
            members.setdefault(channel.category, set()).add(channel.channel)
    split = [(len(group & refused), len(group & plays)) for group in members.values()]
    mixed = sum(min(no, yes) for no, yes in split)
    whole = [no for no, yes in split if no >= 2 and no > 9 * yes]
    full = [yes for no, yes in split if yes >= 2 and yes > 9 * no]
    return "whole-categories" if whole and full and mixed <= 0.05 * len(refused | plays) else "scattered"


def _site_now(known: Known) -> SiteSky | None:
    if not known.sky.sites:
        return None
    rows = known.job.select("site")
    name = str(rows["value"].iloc[-1]) if len(rows) else known.sky.sites[0].name
    return next((site for site in known.sky.sites if site.name == name), known.sky.sites[0])


def _elevation(known: Known) -> Seen | None:
    site, lowest = _site_now(known), known.sky.coverage_min_elevation_deg
    heights = [] if site is None else [s.elevation_deg for s in site.satellites if s.elevation_deg is not None]
    if not heights or lowest is None:
        return None
    return Seen("elevation", "too-low" if max(heights) < lowest else "high-enough")


def _sky_view(known: Known) -> Seen | None:
    site = _site_now(known)
    measured = [
        s.p_clear
        for s in (site.satellites if site else ())
        if s.p_clear is not None and s.from_ in ("gnss", "horizon", "obstacles")
    ]
    if not measured:
        return None
    blocked = sum(p < BLOCKED_BELOW for p in measured)
    word = "clear" if not blocked else "all-blocked" if blocked == len(measured) else "partly-blocked"
    return Seen("sky-view", word)


def _change_time(known: Known) -> Seen | None:
    p_slow = known.tuning.p_slow
    if p_slow is None or 0.4 < p_slow < 0.6:
        return None
    return Seen("change-time", "slow" if p_slow >= 0.6 else "normal", names_of(known.job.select("tune")))


_LOOKS: tuple[Callable[[Known], Seen | None], ...] = (
    _bias,
    _supply,
    _resets,
    _configuration,
    _other_nodes,
    _noise,
    _noise_rise,
    _audio,
    _unjudgeable,
    _open_channel,
    _entitlement,
    _refused_pattern,
    _elevation,
    _sky_view,
    _change_time,
)
