"""The checklist's judgements on reception and on the account."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from satdiag.acceptance import account as criteria
from satdiag.acceptance.checklist_document import State
from satdiag.acceptance.checklist_signs import Judged, Known, Sign, entry_words, not_for, settle, signs
from satdiag.acceptance.document import Criterion
from satdiag.acceptance.seen import counted
from satdiag.acceptance.vehicle import FEWEST_READINGS, changes
from satdiag.diagnosis import reception
from satdiag.diagnosis.remarks import ACCOUNT_STOPPED
from satdiag.diagnosis.seen import name_row, names_of
from satdiag.language import mark, parted, tell, tell_many, translated
from satdiag.spans import NOTHING, Spans, union, within
from satdiag.vocabulary import RECEIVED_HOLD_S

LOCK_HELD_S = 300.0
"""So long must a lock hold (common practice, no source)."""

HEARD_WITHIN_S = 60.0
"""A channel seen playing and sound noted so close together belong together (judgement, no source)."""

REFRESH_S = 900.0
"""So long must the receiver listen after an activation message was sent (common practice, no source)."""

WORDS = {
    "satellites": {
        "good": mark("The satellites are received well here ({readings})."),
        "varying": mark("The satellites are not always received well here ({readings})."),
        "weak": mark("The satellites are received weakly here ({readings})."),
        "none": mark("The satellites are not received here ({readings})."),
    },
    "repeater": {
        "good": mark("The repeater is received well here ({readings})."),
        "varying": mark("The repeater is not always received well here ({readings})."),
        "weak": mark("The repeater is received weakly here ({readings})."),
        "none": mark("The repeater is not received here ({readings})."),
    },
}

# --- reception ---------------------------------------------------------------------------------------------------


def open_sky(known: Known) -> Judged:
    """What a person saw; where the satellites are received well, less than open sky does no harm."""
    found = _sky(known)
    if found.state == "contradicted" and satellites(known).state == "proved":
        return not_for(
            tell("Less than open sky is noted, but the satellites are received well where the vehicle stands.")
        )
    return found


def _sky(known: Known) -> Judged:
    rows = known.rows("place", "vehicle")
    meaning = {"open-sky": True, "street": False, "canopy": False, "indoors": False, "underground": False}
    text, against = (
        tell("A person saw open sky over the vehicle."),
        tell("The vehicle is noted under less than that."),
    )
    found = signs(rows, meaning, text, against)
    return settle(found, known.visit_s, tell("Nobody noted what the sky over the vehicle looks like."))


def satellites(known: Known) -> Judged:
    """The satellites where the vehicle stands; without open sky a poor level proves nothing."""
    missing = tell("No level or lock of a satellite is noted.")
    word, found = _path(known, reception.SATELLITES, "satellites", missing)
    if found.state != "contradicted":
        return found
    sky = _sky(known)
    state: State = "contradicted" if word == "none" and sky.state == "proved" else "partly"
    where = "" if sky.state == "proved" else tell("Open sky is not noted, so that may be the sky's doing.")
    return Judged(state, f"{found.text} {where}".strip(), False, found.seen, found.t_s, found.rows)


def repeater(known: Known) -> Judged:
    """A repeater where there is one; that none is received is no fault."""
    missing = tell("No level or lock of a repeater is noted; there may be none near.")
    word, found = _path(known, "repeater", "repeater", missing)
    if word == "none" and not found.earlier:
        if _path(known, reception.SATELLITES, "satellites", "")[0] == "none":
            both = tell("No repeater is received, and no satellite either: look for one cause of both first.")
            return Judged("partly", both, False, found.seen, found.t_s, found.rows)
        return not_for(tell("No repeater is received here, which is normal away from towns."))
    if found.state == "contradicted":
        return Judged("partly", found.text, False, found.seen, found.t_s, found.rows)
    return found


def _path(known: Known, group: str, what: str, missing: str) -> tuple[str | None, Judged]:
    """Reception of a group of paths since the vehicle stands where it stands: in a word, and judged."""
    table = reception.of_group(reception.readings(known.job), group)
    now = table[(table["t_s"] >= known.stands_s).to_numpy()]
    part = now if len(now) else table
    word = reception.word_for(part)
    if word is None:
        return None, Judged("missing", missing)
    number, last = int(part["bin"].nunique()), part.sort_values("t_s", kind="stable").iloc[-1]
    text = translated(WORDS[what][word]).format(readings=counted(number, "reading"))
    sign = Sign(float(last["t_s"]), word == "good", text, f"{last['path']}: {word}", (name_row(int(last["row"])),))
    found = settle([sign], known.stands_s, "")
    if number < FEWEST_READINGS and found.state in ("proved", "contradicted"):
        return word, Judged("partly", text, False, found.seen, found.t_s, found.rows)
    return word, found


def lock_held(known: Known) -> Judged:
    """A lock that held for five minutes: every row of some path says yes, none farther from the next than 10 min."""
    rows = known.rows("lock")
    if not len(rows):
        return Judged("missing", tell("No lock is noted."))
    held = union(*(_held(rows[(rows["subject"] == path).to_numpy()]) for path in sorted(set(rows["subject"]))))
    now = within(held, known.stands_s, known.job.end_s)
    longest = max((float(end - start) for start, end in now), default=0.0)
    if longest >= LOCK_HELD_S:
        start_s, end_s = max(((start, end) for start, end in now.tolist()), key=lambda span: span[1] - span[0])
        inside = rows[((rows["t_s"] >= start_s) & (rows["t_s"] <= end_s) & (rows["value"] == "yes")).to_numpy()]
        text = tell("A lock held for {minutes:.0f} minutes.", minutes=longest / 60.0)
        return Judged("proved", text, False, "lock: yes", end_s, names_of(inside))
    before = max((float(end - start) for start, end in held), default=0.0)
    if before >= LOCK_HELD_S:
        text = tell(
            "Earlier, before the last visit, swap or move, a lock held for {minutes:.0f} minutes. Look again.",
            minutes=before / 60.0,
        )
        return Judged("partly", text, True, "lock: yes")
    if (rows["value"] == "yes").any():
        text = tell_many(
            "A lock is noted, for {n} minute at a stretch at most; 5 are asked for.",
            "A lock is noted, for {n} minutes at a stretch at most; 5 are asked for.",
            round(longest / 60.0),
        )
        return Judged("partly", text)
    return settle(signs(rows, {"no": False}, "", tell("Every lock noted says no.")), known.stands_s, "")


def _held(rows: pd.DataFrame) -> Spans:
    """From each yes to the next row if that says yes too and is at most the hold time away."""
    t_s = rows["t_s"].to_numpy(dtype=float)
    yes = (rows["value"] == "yes").to_numpy()
    both = yes[:-1] & yes[1:] & (np.diff(t_s) <= RECEIVED_HOLD_S)
    return union(np.stack([t_s[:-1][both], t_s[1:][both]], axis=1)) if both.any() else NOTHING


def open_channel(known: Known) -> Judged:
    """A channel that plays without an account is heard: then all from the antenna to the configuration works."""
    marked = {str(line.channel) for line in known.job.lineup or () if line.is_open}
    if not marked:
        text = tell("The line-up marks no open channel: listen to the preview channel, and tick by hand.")
        return Judged("missing", text)
    tune, channel = known.rows("tune", *marked), known.rows("channel", *marked)
    proof = tell("An open channel was heard: antenna, lead, receiver, ring and configuration worked at that moment.")
    found = list(signs(tune, {"audio": True}, proof))
    playing = known.rows("audio", "output")
    sound_s = playing.loc[(playing["value"] == "playing").to_numpy(), "t_s"].to_numpy(dtype=float)
    plays = channel[(channel["value"] == "authorised").to_numpy()]
    near = np.array([bool((abs(sound_s - t_s) <= HEARD_WITHIN_S).any()) for t_s in plays["t_s"]], dtype=bool)
    found += signs(plays[near], {"authorised": True}, proof)
    last = channel.drop_duplicates("subject", keep="last")
    refused = last[(last["value"] == "refused").to_numpy()]
    if len(refused) >= 2 and len(refused) == len(last):
        against = tell_many("{n} open channel is refused.", "{n} open channels are refused.", len(refused))
        found += signs(refused, {"refused": False}, "", against)
    judged = settle(found, known.stands_s, tell("No open channel was looked at."))
    if judged.state == "missing" and not judged.earlier and len(plays):
        text = tell("An open channel is shown as playing; nobody noted that it was heard.")
        shown = settle(signs(plays, {"authorised": True}, text), known.stands_s, "")
        return Judged("partly", shown.text, shown.earlier, shown.seen, shown.t_s, shown.rows)
    return judged


def channel_changes(known: Known) -> Judged:
    found = _criterion(changes(known.seen), len(known.rows("tune")) > 0)
    last = known.rows("tune").tail(1)
    if found.state in ("proved", "contradicted") and len(last) and float(last["t_s"].iloc[0]) < known.fitted_s:
        text = tell("Earlier, before the last visit or swap: {before} Time some again.", before=found.text)
        return Judged("partly", text, True)
    return found


# --- account -----------------------------------------------------------------------------------------------------


def identity(known: Known) -> Judged:
    rows = known.rows("identity")
    found = signs(
        rows,
        {"match": True, "mismatch": False},
        tell("Label, screen and account show the same number."),
        tell("Label, screen and account do not show the same number."),
    )
    return settle(found, known.era_s, tell("The numbers on label, screen and account were not compared."))


STOPPED = {
    "rejected": mark("The log says that the account was refused by the provider."),
    "lapsed": mark("The log says that the account has ended."),
    "none": mark("The log says that the account does not exist."),
}


def confirmed(known: Known) -> Judged:
    """The account was confirmed for this receiver, and is not known to have ended."""
    rows = known.rows("account")
    rows = rows[(rows["t_s"] >= known.era_s).to_numpy()]
    if not len(rows):
        earlier = len(known.rows("account")) > 0
        before = tell("An account was dealt with for the receiver fitted before.")
        return Judged("missing", before if earlier else tell("No account is noted."), earlier)
    meaning = {"confirmed": True, "rejected": False, "lapsed": False, "none": False}
    stopped = rows[rows["value"].isin(list(ACCOUNT_STOPPED)).to_numpy(dtype=bool)]["value"]
    said = translated(STOPPED[str(stopped.iloc[-1])]) if len(stopped) else ""
    found = signs(rows, meaning, tell("The provider confirmed the account."), said)
    if not found:
        last = rows.tail(1)
        value = str(last["value"].iloc[0])
        text = tell("The account was dealt with, but no confirmation is noted.")
        seen = entry_words("account", "service", value)
        return Judged("partly", text, False, seen, float(last["t_s"].iloc[0]), names_of(last))
    return settle(found, known.era_s, "")


def package(known: Known) -> Judged:
    """The package is named in job.toml and the channels fit it."""
    named = known.job.sheet.package
    if not named:
        return Judged("missing", tell("job.toml does not name the package."))
    found = _criterion(_share_said(known), (known.findings.entitlement.checked or 0) > 0)
    if found.state == "missing":
        text = tell("job.toml names the package '{package}'; no channel of it was checked.", package=named)
        return Judged("partly", text, seen="job.toml")
    return found


def listened(known: Known) -> Judged:
    """How long the receiver has listened since the activation message was last sent."""
    found = known.findings.entitlement
    if found.exposure_origin != "confirmed":
        return Judged("missing", tell("No confirmation is noted, so nobody knows when the message was sent."))
    listened_s = found.exposure_since_resend_s
    listened_s = found.exposure_s if listened_s is None else listened_s
    if listened_s is None:
        return Judged("missing", tell("The log does not show that the receiver listened."))
    minutes = listened_s / 60.0
    if listened_s >= REFRESH_S:
        text = tell(
            "The receiver has listened for {minutes:.0f} minutes at least since the message was last sent.",
            minutes=minutes,
        )
        return Judged("proved", text)
    text = tell_many(
        "The receiver has listened for {n} minute at least since the message was last sent; 15 are asked for.",
        "The receiver has listened for {n} minutes at least since the message was last sent; 15 are asked for.",
        round(minutes),
    )
    return Judged("partly" if listened_s >= 60.0 else "missing", text)


def activated(known: Known) -> Judged:
    """The sequential test of `confirm`, without its figures: whoever ticks boxes needs its answer alone."""
    criterion, found = criteria.activated(known.seen)
    stopped = set(known.rows("account")["value"].tail(1)) & set(ACCOUNT_STOPPED)
    if found.looks and not stopped:
        evidence = translated(ENOUGH[criterion.state]).format(
            looks=counted(found.looks, "look"), checks=counted(found.counted, "separate check"), good=found.good
        )
        criterion = replace(criterion, evidence=evidence)
    return _criterion(criterion, found.looks > 0)


ENOUGH = {
    "holds": mark(
        "{looks} at expected channels, {checks}, {good} of them good: enough to call the account activated."
    ),
    "fails": mark(
        "{looks} at expected channels, {checks}, {good} of them good: enough to say that the account is not "
        "activated."
    ),
    "open": mark(
        "{looks} at expected channels, {checks}, {good} of them good: not enough to tell whether the account is "
        "activated."
    ),
}


def _share_said(known: Known) -> Criterion:
    """The criterion on the share with its evidence in plain words."""
    criterion, found = criteria.share(known.seen), known.findings.entitlement
    total, plays, interval = found.expected or 0, found.authorised or 0, found.entitled_fraction_90
    if not total or interval is None:
        return criterion
    said = [_play(plays, total)]
    if plays < total:
        few, many = (round(part * total) for part in interval)
        if few >= many or plays >= many:
            said.append(tell("by all that was seen, {few} will in the end", few=max(few, plays)))
        else:
            said.append(tell("by all that was seen, {few} to {many} will in the end", few=max(few, plays), many=many))
    refused = sum(one.reason == "lost" for one in found.channels if one.channel in known.seen.expected)
    if refused:
        said.append(
            tell_many("{n} that played before is refused now", "{n} that played before are refused now", refused)
        )
    dead = (found.p_account_dead or 0.0) >= 1.0 - criteria.DEAD_AT_MOST and criterion.state == "fails"
    evidence = f"{parted(said)}. {tell('The account looks dead.')}" if dead else f"{parted(said)}."
    return replace(criterion, evidence=evidence)


def _play(plays: int, total: int) -> str:
    """'3 of 20 expected channels play'."""
    channels = counted(total, "expected channel")
    return tell_many("{n} of {channels} plays", "{n} of {channels} play", plays, channels=channels)


def all_here(known: Known) -> Judged:
    """Every expected channel was seen playing."""
    found = known.findings.entitlement
    total, plays = found.expected or 0, found.authorised or 0
    if not total or not found.checked:
        return Judged("missing", tell("No expected channel was checked."))
    state: State = "proved" if plays >= total else "partly" if plays else "missing"
    return Judged(state, f"{_play(plays, total)}.")


def second_hand(known: Known) -> Judged:
    """An earlier owner's account must have ended; no row can show that."""
    used = known.job.sheet.receiver.second_hand
    if used is None:
        return Judged("missing", tell("job.toml does not say whether the receiver is second-hand."))
    if not used:
        return not_for(tell("job.toml says that the receiver is new."))
    text = tell("The receiver is second-hand: ask the provider whether an earlier account still holds it.")
    return Judged("missing", text)


def _criterion(found: Criterion, looked: bool) -> Judged:
    """A criterion of `confirm` as a state; `looked`: there is some evidence at all."""
    states: dict[str, State] = {"holds": "proved", "fails": "contradicted", "open": "partly" if looked else "missing"}
    text = found.evidence
    if found.lacking:
        text = tell("{evidence} Still lacking: {lacking}", evidence=found.evidence, lacking=found.lacking)
    return Judged(states[found.state], text)
