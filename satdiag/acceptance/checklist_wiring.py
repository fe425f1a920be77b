"""The checklist's judgements on supply, ring and configuration, each from its own rows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd

from satdiag.acceptance.checklist_signs import Judged, Known, entry_words, row_sign, settle, signs
from satdiag.acceptance.seen import counted
from satdiag.acceptance.vehicle import LISTED_SHARE, restarts
from satdiag.diagnosis.seen import names_of
from satdiag.language import tell, tell_many
from satdiag.spans import length_s
from satdiag.wiring.battery import STOP_V
from satdiag.wiring.supply_codes import CODES
from satdiag.wiring.supply_dips import CHARGING_V
from satdiag.wiring.supply_log import Floats

TOGETHER_S = 60.0
"""Rows so close together speak of one moment (judgement, no source)."""

NODE, OURS = "node:", "node:receiver"

Told = Callable[[str, int], str]

# --- supply ------------------------------------------------------------------------------------------------------


def battery(known: Known) -> Judged:
    """The last voltage: high enough for a long wait, or under charge."""
    rows = known.rows("supply", "receiver").tail(1)
    found = []
    for volts in rows["number"].to_numpy(dtype=float):
        good = bool(volts >= STOP_V)
        if volts >= CHARGING_V:
            text = tell("At {volts:g} V a charger or the engine feeds the battery.", volts=volts)
        elif good:
            text = tell(
                "At {volts:g} V the battery was above {stop:g} V when it was read last.", volts=volts, stop=STOP_V
            )
        else:
            text = tell("At {volts:g} V the battery is too low for a long wait: put a charger on.", volts=volts)
        found.append(row_sign(rows, good, text))
    return settle(found, known.visit_s, tell("No voltage of the supply is noted."))


def supply(known: Known) -> Judged:
    """Every voltage read in this visit lies within the receiver's supply code."""
    code = known.job.sheet.supply.code or "C"
    low_v, high_v = CODES[code]
    limits = tell("{low:g} V to {high:g} V (code {code})", low=low_v, high=high_v, code=code)
    rows = known.rows("supply")
    every = len(rows)
    now = rows[(rows["t_s"] >= known.visit_s).to_numpy()]
    rows = now if len(now) else rows
    volts = rows["number"].to_numpy(dtype=float)
    beyond = (volts < low_v) | (volts > high_v)
    if beyond.any():
        outside = rows[beyond]
        worst = outside["number"].to_numpy(dtype=float)
        text = tell_many(
            "{n} voltage outside {limits}: {ends}.",
            "{n} voltages outside {limits}: {ends}.",
            len(outside),
            limits=limits,
            ends=_ends(worst),
        )
        judged = settle([row_sign(outside.tail(1), False, text)], known.visit_s, "")
        only_low = bool((outside["subject"] == "receiver-minimum").all() and (worst <= high_v).all())
        if only_low and judged.state == "contradicted" and not (known.rows("reset")["t_s"] >= known.visit_s).any():
            start = tell("Only lowest values lie outside, as at a start of the engine, and no restart is noted.")
            return Judged("partly", f"{text} {start}", False, judged.seen, judged.t_s, judged.rows)
        return judged
    if len(rows):
        text = _within(len(rows), limits, _ends(volts), whole=len(rows) == every)
        return settle([row_sign(rows.tail(1), True, text)], known.visit_s, "")
    return settle([], known.visit_s, tell("No voltage of the supply is noted."))


def _within(count: int, limits: str, ends: str, *, whole: bool) -> str:
    """`whole`: these are all voltages of the log; else only those of this visit."""
    if whole:
        return tell_many(
            "{n} voltage read, {ends}, within {limits}. Nothing else was seen of it.",
            "{n} voltages read, {ends}, within {limits}. Nothing else was seen of it.",
            count,
            limits=limits,
            ends=ends,
        )
    return tell_many(
        "{n} voltage read in this visit, {ends}, within {limits}.",
        "{n} voltages read in this visit, {ends}, within {limits}.",
        count,
        limits=limits,
        ends=ends,
    )


def _ends(volts: Floats) -> str:
    low_v, high_v = float(volts.min()), float(volts.max())
    if low_v == high_v:
        return tell("{volts:g} V", volts=low_v)
    return tell("{low:g} V to {high:g} V", low=low_v, high=high_v)


def no_restarts(known: Known) -> Judged:
    """Awake for long enough without a restart or a dip."""
    found = restarts(known.seen)
    events = known.rows("reset")
    rows, seen = names_of(events), ""
    if len(events):
        seen = entry_words("reset", "receiver", "seen")
    t_s = float(events["t_s"].iloc[-1]) if len(events) else None
    if found.state == "holds":
        return Judged("proved", found.evidence, False, seen, t_s, rows)
    if found.state == "fails":
        return Judged("contradicted", found.evidence, False, seen, t_s, rows)
    awake = length_s(known.seen.clock.awake) >= 60.0
    text = tell("{evidence} Still lacking: {lacking}", evidence=found.evidence, lacking=found.lacking)
    return Judged("partly" if awake or len(events) else "missing", text, False, seen, t_s, rows)


def number_noted(known: Known) -> Judged:
    """The receiver's number stands in the job sheet."""
    receiver = known.job.sheet.receiver
    if not receiver.id:
        return Judged("missing", tell("job.toml holds no number of the receiver."))
    text = tell("job.toml holds the receiver's number, {number}.", number=receiver.masked_id)
    return Judged("proved", text, seen="job.toml")


# --- ring --------------------------------------------------------------------------------------------------------


def other_sources(known: Known) -> Judged:
    rows = known.rows("ring", "other-sources")
    text, against = tell("The ring's other sources play."), tell("The ring's other sources are lost.")
    found = signs(rows, {"working": True, "lost": False}, text, against)
    return settle(found, known.ring_s, tell("Nobody noted whether the ring's other sources play."))


def ring_closed(known: Known) -> Judged:
    rows = known.rows("ring", "bus")
    text, against = tell("The ring is reported closed."), tell("The ring is reported open.")
    found = signs(rows, {"closed": True, "open": False}, text, against)
    heard = known.heard_says(tell("A channel was heard: the ring carried it."))
    return settle([*found, *heard], known.ring_s, tell("Nobody noted whether the ring is closed."))


def receiver_answers(known: Known) -> Judged:
    rows = known.rows("ring", OURS)
    meaning = {"present": True, "absent": False}
    text, against = tell("The receiver answers on the ring."), tell("The receiver does not answer on the ring.")
    found = signs(rows, meaning, text, against)
    heard = known.heard_says(tell("A channel was heard: the receiver was on the ring then."))
    return settle([*found, *heard], known.ring_s, tell("Nobody noted whether the receiver answers on the ring."))


def other_nodes(known: Known) -> Judged:
    """Every other node that was asked answers, by the last row of each."""
    rows = known.rows("ring")
    other = rows["subject"].str.startswith(NODE).to_numpy(dtype=bool) & (rows["subject"] != OURS).to_numpy()
    last = rows[other].drop_duplicates("subject", keep="last")
    judged = _all_of(
        last,
        "absent",
        known.ring_s,
        lambda names, n: tell_many("{names} answers.", "{names} answer.", n, names=names),
        lambda names, n: tell_many("{names} does not answer.", "{names} do not answer.", n, names=names),
        tell("No other node of the ring was asked."),
    )
    ring = known.findings.wiring.ring
    if judged.state == "contradicted" and ring is not None and ring.second_ring_text:
        return replace(judged, text=f"{judged.text} {ring.second_ring_text}")
    return judged


# --- configuration -----------------------------------------------------------------------------------------------


def source_listed(known: Known) -> Judged:
    """The head unit offers the source; a channel looked at or heard shows it too."""
    rows = known.rows("listing", "source")
    text, against = tell("The head unit offers the source."), tell("The head unit does not offer it.")
    found = signs(rows, {"yes": True, "no": False}, text, against)
    channel = known.rows("channel")
    at_once = channel[(channel["span_s"] == 0).to_numpy()]
    shown = tell("A channel was looked at, so the source must be offered.")
    looked = signs(at_once, {"authorised": True, "refused": True}, shown)
    heard = known.heard_says(tell("A channel was heard: the source was offered then."))
    nothing = tell("Nobody noted whether the menu offers the source.")
    return settle([*found, *looked, *heard], known.listed_s, nothing)


def readback(known: Known) -> Judged:
    rows = known.rows("configuration", "readback")
    found = signs(
        rows,
        {"matches": True, "differs": False},
        tell("The vehicle's stored equipment was read back and matches."),
        tell("The vehicle's stored equipment was read back and differs."),
    )
    return settle(found, known.era_s, tell("The stored equipment was not read back."))


def readback_parts(known: Known) -> Judged:
    rows = known.rows("configuration")
    rows = rows[rows["subject"].str.startswith("readback:").to_numpy(dtype=bool)]
    last = rows.drop_duplicates("subject", keep="last")
    nothing = tell("No single unit's stored equipment was read back.")
    return _all_of(
        last,
        "differs",
        known.era_s,
        lambda names, n: tell_many("{names} matches.", "{names} match.", n, names=names),
        lambda names, n: tell_many("{names} differs.", "{names} differ.", n, names=names),
        nothing,
    )


def channels_listed(known: Known) -> Judged:
    """The list holds the channels that are expected, as far as they were looked for."""
    expected = known.seen.expected
    states = [one.state for one in known.findings.entitlement.channels if one.channel in expected]
    gone, there = states.count("missing"), states.count("authorised") + states.count("refused")
    log = known.job.log
    rows = log[log["kind"].isin(["channel", "tune"]).to_numpy(dtype=bool)].tail(1)
    if not gone + there or rows.empty:
        return Judged("missing", tell("No expected channel was looked for in the list."))
    values = {"looked": counted(gone + there, "expected channel"), "all": len(expected)}
    if gone > (1.0 - LISTED_SHARE) * (gone + there):
        text = tell_many(
            "{looked} looked for, of {all}: {n} is not in the list.",
            "{looked} looked for, of {all}: {n} are not in the list.",
            gone,
            **values,
        )
        return settle([row_sign(rows, False, text)], known.era_s, "")
    text = tell("{looked} looked for, of {all}: {there} are in the list.", **values, there=there)
    found = settle([row_sign(rows, True, text)], known.era_s, "")
    if found.state == "proved" and gone + there < LISTED_SHARE * len(expected):
        return Judged("partly", found.text, found.earlier, found.seen, found.t_s, found.rows)
    return found


def sound(known: Known) -> Judged:
    """What is heard. Silence speaks against only beside a lock, once a channel was authorised; broken sound never:

    a refused channel is silent by right, and sound breaks with the signal.
    """
    channel, tune, lock = known.rows("channel"), known.rows("tune"), known.rows("lock")
    allowed = channel.loc[(channel["value"] == "authorised").to_numpy(), "t_s"].to_numpy(dtype=float)
    locked = lock.loc[(lock["value"] == "yes").to_numpy(), "t_s"].to_numpy(dtype=float)
    lost = lock.loc[(lock["value"] == "no").to_numpy(), "t_s"].to_numpy(dtype=float)
    audio = known.rows("audio", "output")
    silent = audio[(audio["value"] == "muted").to_numpy()]
    speaks = [
        bool((allowed <= t_s).any() and _near(locked, t_s) and not _near(lost, t_s))
        for t_s in silent["t_s"].to_numpy(dtype=float)
    ]
    against = tell("No sound was noted while the lock held, after a channel was seen authorised.")
    mute = signs(silent[np.array(speaks, dtype=bool)], {"muted": False}, "", against)
    nothing = tell("Nobody noted what is heard.")
    if len(silent) or len(tune):
        nothing = tell(
            "No sound was noted, but also no steady lock with an authorised channel: that proves nothing of it."
        )
    heard = known.heard_says(tell("A channel was heard: its sound came through."))
    return settle([*mute, *heard], known.listed_s, nothing)


def _near(times_s: Floats, t_s: float) -> bool:
    """True if one of the times lies within a minute of an instant."""
    return bool((np.abs(times_s - t_s) <= TOGETHER_S).any())


def survives_sleep(known: Known) -> Judged:
    """Offered again after the receiver was off or in standby: what was stored was kept."""
    power = known.rows("power", "receiver")
    off = power.loc[power["value"].isin(["off", "standby"]).to_numpy(dtype=bool), "t_s"]
    if not len(off):
        return Judged("missing", tell("The log does not show the receiver asleep and awake again."))
    first_s = float(off.iloc[0])
    listing = known.rows("listing", "source")
    later = listing[(listing["t_s"] > first_s).to_numpy()]
    text, against = tell("After sleep the source was offered again."), tell("After sleep the source was not offered.")
    found = list(signs(later, {"yes": True, "no": False}, text, against))
    heard = known.heard_says(tell("A channel was heard: after sleep the source was there again."))
    found += [sign for sign in heard if sign.t_s > first_s]
    return settle(found, known.era_s, tell("After sleep nobody noted whether the source is offered."))


# --- parts -------------------------------------------------------------------------------------------------------


def _all_of(last: pd.DataFrame, bad: str, since_s: float, text: Told, against: Told, nothing: str) -> Judged:
    """Judge the last row of each of several units: one that is `bad` speaks against, whatever the others say.

    `text` and `against` make a sentence of the units' names and their number.
    """
    wrong = last[(last["value"] == bad).to_numpy()]
    rows, words = (wrong, against) if len(wrong) else (last, text)
    if not len(rows):
        return Judged("missing", nothing)
    names = ", ".join(str(subject).partition(":")[2] for subject in rows["subject"])
    told = words(names, len(rows))
    return settle([row_sign(rows.sort_values("t_s", kind="stable"), not len(wrong), told)], since_s, "")
