"""What the findings of one job say, as rows of the three tables. Computes nothing but changes of units."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from typing import Any

from satdiag.analysis import seen_before_mended
from satdiag.diagnosis.lessons import confirmed_faults
from satdiag.diagnosis.model import load_model
from satdiag.entitlement.channels import Expected, History, checks_by_channel, expected_channels, history_of
from satdiag.entitlement.grid import Priors
from satdiag.entitlement.outlook import account_stopped_s
from satdiag.entitlement.predict import NEGLIGIBLE
from satdiag.exposure import exposure_clock
from satdiag.findings import EntitlementFindings, Findings, Quantiles, SignalFindings, TuningFindings
from satdiag.job import Job

HOUR_S = 3600.0
BITS_PER_DB = math.log2(10.0) / 10.0
"""A weight in decibans (10 log10 of a ratio) as bits (log2 of it)."""

Row = dict[str, Any]

_TIMES = {"0.5": "hours_to_half", "0.9": "hours_to_90", "1.0": "hours_to_last"}


def job_row(job: Job, found: Findings) -> Row:
    """The row of `jobs`, without what the fleet itself knows (key, place, time)."""
    told = found.verdict
    sheet, receiver = job.sheet, job.sheet.receiver
    confirmed = confirmed_faults(job)
    dead_bits = None if account_stopped_s(job) is not None else _dead_bits(found.entitlement)
    diagnosis = found.diagnosis
    return {
        "job": sheet.id,
        "started": _moment(job, 0.0),
        "ended": _moment(job, job.end_s),
        "hours": job.end_s / HOUR_S,
        "visits": found.visits,
        "rows": len(job.rows),
        "region": next((site.timezone for site in sheet.sites if site.timezone), None),
        "constellation": sheet.constellation,
        "package": sheet.package or None,
        "receiver": receiver.masked_id if receiver.id else None,
        "second_hand": receiver.second_hand,
        "antenna_lead": receiver.antenna_lead,
        "adaptor": receiver.adaptor,
        "reason": sheet.reason,
        "state": told.state,
        "class": told.class_,
        "fault": told.fault,
        "probability": told.probability,
        "sure": told.sure,
        "conflict_bits": diagnosis.conflict_bits,
        "next_test": diagnosis.next_tests[0].test if diagnosis.next_tests else None,
        "stop": diagnosis.stop or None,
        "faults": [{"fault": name, "p": p} for name, p in diagnosis.faults.items()],
        **{f"p_{name}": p for name, p in diagnosis.classes.items()},
        "earlier": [one.fault for one in diagnosis.earlier],
        "confirmed_fault": None if confirmed is None else sorted(confirmed),
        "mended_evidence": _mended(job, confirmed),
        "could_not": len(found.could_not),
        "learned_jobs": diagnosis.learned_jobs,
        **_entitlement(found.entitlement),
        "dead_account_bits": dead_bits,
        **_tuning(found.tuning),
        **_signal(found.signal),
    }


def _mended(job: Job, confirmed: Collection[str] | None) -> list[Row] | None:
    seen = seen_before_mended(job, confirmed) if confirmed else None
    return None if seen is None else [{"item": one.item, "state": one.state} for one in seen]


def _moment(job: Job, t_s: float) -> datetime | None:
    at = job.instant(t_s)
    return None if at is None else at.astype("datetime64[us]").item().replace(tzinfo=UTC)


def _entitlement(found: EntitlementFindings) -> Row:
    share = found.entitled_fraction_90 or (None, None)
    laws = found.law_weights or {}
    law = max(laws, key=lambda name: laws[name], default=None)
    row = {
        "awake_h": _hours(found.awake_s),
        "exposure_low_h": _hours(found.exposure_s),
        "exposure_high_h": _hours(found.exposure_max_s),
        "exposure_origin": found.exposure_origin,
        "exposure_basis": found.exposure_basis,
        "channels_total": len(found.channels),
        "channels_expected": found.expected,
        "channels_playing": found.authorised,
        "channels_refused": found.refused,
        "channels_checked": found.checked,
        "expected_from": found.expected_from,
        "complete": found.complete,
        "arrivals": found.arrival_events,
        "dead_account": found.p_account_dead,
        "not_begun": found.p_not_begun,
        "all_come": found.p_all_expected,
        "entitled_share": found.entitled_fraction,
        "entitled_share_low": share[0],
        "entitled_share_high": share[1],
        "likeliest_law": law,
        "likeliest_law_weight": None if law is None else laws[law],
        "dispersion": found.dispersion,
        **_quantiles("hours_to_first", found.time_to_first_s),
        **_quantiles("hours_typical_wait", found.typical_wait_s),
        "wait_prior_jobs": found.wait_prior_jobs,
    }
    shares: Mapping[str, Quantiles | None] = found.time_to_share_s or {}
    for key, name in _TIMES.items():
        row |= _quantiles(name, shares.get(key))
    return row


def _dead_bits(found: EntitlementFindings) -> float | None:
    """What the checks say of a dead account without what was believed before; None where other things said it."""
    p, prior = found.p_account_dead, Priors().account_dead
    if p is None or found.wait_prior_jobs or any(channel.reason == "lost" for channel in found.channels):
        return None
    p = min(max(p, NEGLIGIBLE), 1.0 - NEGLIGIBLE)
    return math.log2(p / (1.0 - p)) - math.log2(prior / (1.0 - prior))


def _tuning(found: TuningFindings) -> Row:
    audio, title = found.audio_s, found.title_s
    low, high = audio.median_90 if audio and audio.median_90 else (None, None)
    return {
        "change_to_audio_s": audio.median if audio else None,
        "change_to_audio_low_s": low,
        "change_to_audio_high_s": high,
        "changes": audio.n if audio else None,
        "change_to_title_s": title.median if title else None,
        "block_loss": found.block_loss,
        "p_slow": found.p_slow,
    }


def _signal(found: SignalFindings) -> Row:
    deficits = {
        name: path.deficit_db
        for name, path in found.paths.items()
        if path.deficit_db is not None and name.partition(":")[0] == "satellite"
    }
    worst = max(deficits, key=lambda name: deficits[name], default=None)
    return {
        "deficit_db": None if worst is None else deficits[worst],
        "deficit_path": worst,
        "any_path_share": found.any_path_share,
    }


def channel_rows(job: Job, found: EntitlementFindings) -> list[Row]:
    """The rows of `channels`: what the findings say of each, and when it came by its checks alone.

    Of the readings of a channel's checks the one with the fewest slips, the plain one where two are alike.
    """
    clock = exposure_clock(job)
    checks = checks_by_channel(job, clock)
    expected = expected_channels(job, checks)
    is_open = frozenset(line.channel for line in job.lineup or () if line.is_open)
    rows = []
    for one in found.channels:
        history = history_of(one.channel, checks.get(one.channel, []), clock)
        wait = one.remaining_s
        rows.append(
            {
                "channel": one.channel,
                "state": one.state,
                "reason": one.reason,
                "package_state": _package_state(one.channel, job, expected, is_open),
                "expected": one.channel in expected.channels,
                "held_before": history.held_before,
                "checks": history.judged,
                **_arrival(history),
                "chance_to_come": one.p_will_come,
                "remaining_h": wait and _hours(wait.median),
                "remaining_low_h": wait and _hours(wait.p05),
                "remaining_high_h": wait and _hours(wait.p95),
            }
        )
    return rows


def _package_state(channel: int, job: Job, expected: Expected, is_open: frozenset[int]) -> str:
    if channel in is_open:
        return "open"
    if expected.source != "package":
        return "unknown"
    if channel in expected.channels:
        return "in"
    return "outside" if channel in expected.outside else "unknown"


def _arrival(history: History) -> Row:
    readings = [reading for reading in history.readings if not reading.revoked]
    best = min(readings, key=lambda reading: reading.slips, default=None)
    seen = history.readings[0].upper_s if history.readings else math.inf
    return {
        "first_seen_h": _hours(_bounded(seen)),
        "arrival_low_h": None if best is None else _hours(_bounded(best.lower_s)),
        "arrival_high_h": None if best is None else _hours(_bounded(best.upper_s)),
        "slips": None if best is None else best.slips,
    }


def evidence_rows(found: Findings) -> list[Row]:
    """The rows of `evidence`; an item that faults.toml does not hold has no family and no order of states."""
    items = load_model().items
    rows = []
    for one in found.diagnosis.evidence:
        item = items.get(one.item)
        soft = None
        if one.likelihood is not None and item is not None:
            soft = [float(one.likelihood.get(state, 0.0)) for state in item.states]
        rows.append(
            {
                "item": one.item,
                "state": one.state,
                "family": item.family if item is not None else None,
                "weight_bits": one.weight_db * BITS_PER_DB,
                "for_fault": one.for_,
                "soft": soft,
            }
        )
    return rows


def _bounded(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _hours(seconds: float | None) -> float | None:
    return None if seconds is None else float(seconds) / HOUR_S


def _quantiles(name: str, time: Quantiles | None) -> Row:
    return {
        name: time and _hours(time.median),
        f"{name}_low": time and _hours(time.p05),
        f"{name}_high": time and _hours(time.p95),
    }
