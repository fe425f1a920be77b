"""The criteria that speak of the vehicle: listed, locked, changes in time, no restarts, nothing found wrong."""

from __future__ import annotations

import math

import numpy as np

from satdiag.acceptance.document import Criterion
from satdiag.acceptance.plan import faultless_needed
from satdiag.acceptance.seen import Seen, about_minutes, counted, criterion, sentence_case
from satdiag.diagnosis import reception
from satdiag.diagnosis.wording import percent
from satdiag.exposure import stretches
from satdiag.findings import DelayFindings, TuningFindings
from satdiag.language import listed as listed_words
from satdiag.language import mark, tell, tell_many, translated
from satdiag.spans import length_s, within
from satdiag.tuning.slowness import SLOW_MEDIAN_S
from satdiag.wiring.supply import CODE_C_MINIMUM_V

# Judgements, no source.
LISTED_SHARE = 0.95  # of the expected channels that were looked for
FEWEST_READINGS = 3  # of lock or level, in different 10 s
FEWEST_CHANGES = 3
CHANGES_AT_MOST_SLOW = 0.10
CHANGES_SURELY_SLOW = 0.90
ODDS_PER_CHANGE = 0.3  # what one change at normal speed leaves of the odds for 'slow' (a test compares)
RESTARTS_EVERY_MIN = 8.0  # a supply fault that matters restarts the receiver about this often (range 3 to 20)
UNDER_OPEN_SKY_MIN = 2.0
CHANGE_MINUTES = 0.5


def listed(seen: Seen) -> Criterion:
    """The head unit offers the source, and lists the expected channels."""
    job, era_s = seen.job, seen.clock.era_start_s
    rows = job.select("listing", "source")
    rows = rows[(rows["t_s"] >= era_s).to_numpy()]
    log = job.log
    shown = log[(log["kind"] == "channel").to_numpy() & log["value"].isin(["authorised", "refused"]).to_numpy()]
    last_shown_s = float(shown["t_s"].iloc[-1]) if len(shown) else -math.inf
    if len(rows) and rows["value"].iloc[-1] == "no" and last_shown_s <= float(rows["t_s"].iloc[-1]):
        return criterion(
            "listed", "fails", tell("The head unit does not offer the source."), tell("The source in the menu.")
        )
    states = [one.state for one in seen.findings.entitlement.channels if one.channel in seen.expected]
    missing, there = states.count("missing"), states.count("authorised") + states.count("refused")
    if there + missing and missing > (1.0 - LISTED_SHARE) * (there + missing):
        channels = counted(there + missing, "expected channel")
        what = tell("{missing} of {channels} looked for are not in the list.", missing=missing, channels=channels)
        return criterion("listed", "fails", what, tell("The missing channels in the list."), missing)
    if not len(rows) and last_shown_s == -math.inf:
        what = tell("Nobody noted whether the source is offered.")
        return criterion("listed", "open", what, tell("1 look at the menu."), 1, 1.0)
    return _channels_listed(bool(len(rows)), there)


def _channels_listed(noted: bool, there: int) -> Criterion:
    """The source is offered: `noted`, or by what was looked at; are channels in its list?"""
    if not there:
        what = tell("The head unit must offer the source, since channels were looked at; no expected one was yet.")
        if noted:
            what = tell("The head unit offers the source; no expected channel was looked at yet.")
        return criterion("listed", "open", what, tell("1 look at the list of channels."), 1, 1.0)
    channels = counted(there, "expected channel")
    what = tell(
        "The head unit must offer the source, since channels were looked at, and lists {channels}.", channels=channels
    )
    if noted:
        what = tell("The head unit offers the source, and lists {channels}.", channels=channels)
    return criterion("listed", "holds", what)


def locked(seen: Seen) -> Criterion:
    """Reception is good where a person saw open sky: of the satellites, where they are read by themselves."""
    job, era_s = seen.job, seen.clock.era_start_s
    place = job.select("place", "vehicle")
    elsewhere = {"street", "canopy", "indoors", "underground"}
    under_sky = within(stretches(place, {"open-sky"}, elsewhere, job.end_s), era_s, job.end_s)
    if not len(under_sky):
        what = tell("No time under open sky is noted.") if len(place) else tell("The place is not noted.")
        lacking = tell("Stand under open sky, note the place, and read the lock or the level three times.")
        return criterion("locked", "open", what, lacking, FEWEST_READINGS, UNDER_OPEN_SKY_MIN)
    table = reception.readings(job)
    at_s = table["t_s"].to_numpy(dtype=float)
    inside = np.zeros(len(table), dtype=bool)
    for start_s, end_s in under_sky:
        inside |= (at_s >= start_s) & (at_s <= end_s)
    part = table[inside]
    satellites = reception.of_group(part, reception.SATELLITES)
    part = satellites if len(satellites) else part
    number = int(part["bin"].nunique())
    if number < FEWEST_READINGS:
        more = FEWEST_READINGS - number
        said = tell("{readings} of lock or level under open sky.", readings=counted(number, "reading"))
        lacking = tell("{readings} under open sky.", readings=counted(more, "more reading"))
        return criterion("locked", "open", said, lacking, more, 1.0)
    word = reception.word_for(part)
    sentence = (SATELLITES_ARE if len(satellites) else SIGNAL_IS)[str(word)]
    said = translated(sentence).format(readings=counted(number, "reading"))
    if word == "good":
        return criterion("locked", "holds", said)
    lacking = tell("Steady and good reception under open sky.")
    return criterion("locked", "fails" if word == "none" else "open", said, lacking)


SATELLITES_ARE = {
    "good": mark("The satellites are received well under open sky ({readings})."),
    "varying": mark("The satellites are not always received well under open sky ({readings})."),
    "weak": mark("The satellites are received weakly under open sky ({readings})."),
    "none": mark("The satellites are not received under open sky ({readings})."),
}
SIGNAL_IS = {
    "good": mark("The signal is received well under open sky ({readings})."),
    "varying": mark("The signal is not always received well under open sky ({readings})."),
    "weak": mark("The signal is received weakly under open sky ({readings})."),
    "none": mark("The signal is not received under open sky ({readings})."),
}


def changes(seen: Seen) -> Criterion:
    """Channel changes come to audio at normal speed."""
    tuning = seen.findings.tuning
    audio, slow = tuning.audio_s, tuning.p_slow
    if audio is not None and slow is None and audio.timed_out >= FEWEST_CHANGES:
        what = tell("{changes} given up, none came to audio.", changes=counted(audio.timed_out, "channel change"))
        return criterion("changes", "fails", what, tell("A channel change that comes to audio."))
    if audio is None or slow is None:
        more = counted(FEWEST_CHANGES, "timed channel change")
        lacking = tell("{changes} to channels that play.", changes=more)
        what = tell("No timed channel change came to audio.")
        minutes = FEWEST_CHANGES * CHANGE_MINUTES
        return criterion("changes", "open", what, lacking, FEWEST_CHANGES, minutes)
    number, above_s = audio.n - audio.timed_out, tuning.slow_above_s or SLOW_MEDIAN_S
    stop = tuning.stop
    what = _changes_text(number, audio, above_s, slow)
    what += f" {stop.text}" if stop and stop.text else ""
    shown = stop is not None and stop.state == "slow"
    if number >= FEWEST_CHANGES and (shown or slow >= CHANGES_SURELY_SLOW):
        line_s = stop.line_s if stop is not None and shown else above_s
        return criterion("changes", "fails", what, tell("Changes that take less than {line_s:.1f} s.", line_s=line_s))
    settled = stop is None or stop.state == "normal"
    if number >= FEWEST_CHANGES and slow <= CHANGES_AT_MOST_SLOW and settled:
        return criterion("changes", "holds", what)
    left = max(FEWEST_CHANGES - number, _changes_to_go(tuning, slow), 1)
    lacking = tell("{changes} at normal speed.", changes=counted(left, "timed change"))
    return criterion("changes", "open", what, lacking, left, left * CHANGE_MINUTES)


def _changes_text(number: int, audio: DelayFindings, above_s: float, slow: float) -> str:
    """How many changes came to audio, how soon, and the chance that they are slow."""
    changes, chance = counted(audio.n, "timed change"), percent(slow)
    if audio.median is None:
        return tell(
            "{number} of {changes} not given up; the chance that half take over {above_s:.1f} s is {chance}.",
            number=number,
            changes=changes,
            above_s=above_s,
            chance=chance,
        )
    return tell(
        "{number} of {changes} not given up, half of them within {median_s:.1f} s; the chance that half take over "
        "{above_s:.1f} s is {chance}.",
        number=number,
        changes=changes,
        median_s=audio.median,
        above_s=above_s,
        chance=chance,
    )


def _changes_to_go(tuning: TuningFindings, p_slow: float) -> int:
    """About how many more changes settle it by the rule for stopping, and by the chance that they are slow."""
    stop = tuning.stop
    by_rule = stop.more or 0 if stop is not None and stop.state == "go-on" else 0
    return max(by_rule, changes_lacking(p_slow))


def changes_lacking(p_slow: float) -> int:
    """About how many more changes at normal speed bring the chance of slow ones down to what is asked."""
    odds = min(p_slow, 0.999) / (1.0 - min(p_slow, 0.999))
    goal = CHANGES_AT_MOST_SLOW / (1.0 - CHANGES_AT_MOST_SLOW)
    return max(math.ceil(math.log(goal / odds) / math.log(ODDS_PER_CHANGE)), 0) if odds > 0.0 else 0


def restarts(seen: Seen) -> Criterion:
    """Awake for long enough since the last restart or dip of the supply.

    Enough: a fault that restarts the receiver every `RESTARTS_EVERY_MIN` would have shown with chance 1 - alpha (so
    many faultless minutes, of which each succeeds with exp(-1 / that time)).
    """
    job, era_s = seen.job, seen.clock.era_start_s
    needed_min = faultless_needed(1.0 - seen.alpha, math.exp(-1.0 / RESTARTS_EVERY_MIN))
    resets, supply = job.select("reset"), job.select("supply")
    seen_s = resets.loc[resets["t_s"] >= era_s, "t_s"].to_numpy(dtype=float)
    low = ((supply["number"] < CODE_C_MINIMUM_V) & (supply["t_s"] >= era_s)).to_numpy()
    dips_s = supply.loc[low, "t_s"].to_numpy(dtype=float)
    last_s = float(np.concatenate([seen_s, dips_s]).max()) if len(seen_s) + len(dips_s) else era_s
    awake_min = length_s(within(seen.clock.awake, last_s, job.end_s)) / 60.0
    if len(seen_s) + len(dips_s):
        events = [counted(len(seen_s), "restart")] if len(seen_s) else []
        dips = counted(len(dips_s), "dip")
        events += [tell("{dips} below {volts:g} V", dips=dips, volts=CODE_C_MINIMUM_V)] if len(dips_s) else []
        what = tell_many(
            "{events} since the receiver was fitted, and {n} minute awake since the last.",
            "{events} since the receiver was fitted, and {n} minutes awake since the last.",
            round(awake_min),
            events=listed_words(events),
        )
    else:
        what = tell_many(
            "No restart and no dip of the supply is noted in {n} minute awake.",
            "No restart and no dip of the supply is noted in {n} minutes awake.",
            round(awake_min),
        )
    if awake_min >= needed_min:
        return criterion("restarts", "holds", what)
    left_min = needed_min - awake_min
    lacking = sentence_case(tell("{time} awake without a restart.", time=about_minutes(left_min)))
    return criterion("restarts", "fails" if len(seen_s) >= 2 else "open", what, lacking, None, left_min)


def no_fault(seen: Seen) -> Criterion:
    """The analysis of the whole log finds no fault."""
    verdict = seen.findings.verdict
    if verdict.state in ("works", "filling", "explained"):
        return criterion("no-fault", "holds", verdict.text)
    if verdict.state == "fault" and verdict.sure:
        return criterion("no-fault", "fails", verdict.text, verdict.do_next)
    return criterion("no-fault", "open", verdict.text, verdict.do_next)
