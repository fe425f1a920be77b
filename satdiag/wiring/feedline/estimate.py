"""The findings on the antenna lead: from a sweep and what is known of the lead, and of a job that holds a sweep."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable

import numpy as np

from satdiag.errors import SatdiagError
from satdiag.findings import FeedlineFindings, Interval, LeadProfile, Reflection
from satdiag.job import FEEDLINE, Job
from satdiag.language import tell
from satdiag.wiring.feedline import band as band_of
from satdiag.wiring.feedline.cable import SDARS_MHZ, Range, loss_db_per_m
from satdiag.wiring.feedline.distance import distance_of
from satdiag.wiring.feedline.ends import POOR, End, Place, corrected_by, end_of, fault_of, margin_m
from satdiag.wiring.feedline.kinds import kind_of, rise_at
from satdiag.wiring.feedline.loss import whole_reflection
from satdiag.wiring.feedline.peaks import MOST_TURN, Peak, find_reflections, noise_floor, noise_gamma
from satdiag.wiring.feedline.profile import profile_of
from satdiag.wiring.feedline.reflection import return_loss_db
from satdiag.wiring.feedline.said import Scene, verdict_text
from satdiag.wiring.feedline.said_of_limits import sentences
from satdiag.wiring.feedline.setup import Setup, setup_of
from satdiag.wiring.feedline.smear import smears_m
from satdiag.wiring.feedline.sweep import Array, Sweep, read_sweep, scikit_rf_is_there
from satdiag.wiring.feedline.transform import (
    HANN_WIDTH,
    Response,
    response,
    step_response,
)

CONFIRM_WINDOW = "blackman"
SERVICE_BAND_MHZ = (2320.0, 2345.0)
"""The band of satellite radio in North America, where no constellation states one."""
COMES_NEAR = 0.5
"""From this share of the highest on a reflection may make up the return loss of the whole lead (judgement)."""


def feedline_findings(job: Job) -> tuple[FeedlineFindings | None, tuple[str, ...]]:
    """The findings on the sweep kept with a job, and what could not be done; None without one."""
    if FEEDLINE not in job.documents:
        return None, ()
    if not scikit_rf_is_there():
        return None, (tell('{file} was not read: it needs scikit-rf (pip install "satdiag[rf]")', file=FEEDLINE),)
    sweep = read_sweep(job.documents[FEEDLINE], FEEDLINE)
    found = examine(sweep, setup_of(job.sheet.feedline, band_of_job(job)))
    return found, tuple(
        tell("{file}: {said}", file=FEEDLINE, said=text) for text in (*_unfit(sweep), *found.cautions)
    )


def band_of_job(job: Job) -> tuple[float, float]:
    """The band of the job's constellation, else that of satellite radio in North America."""
    from satdiag.sky.estimate import constellation_of

    try:
        found = constellation_of(job)
    except SatdiagError:  # a wrong constellation is told elsewhere
        found = None
    return found.band_mhz if found is not None and found.band_mhz is not None else SERVICE_BAND_MHZ


def _unfit(sweep: Sweep) -> tuple[str, ...]:
    return () if sweep.unfit is None else (sweep.unfit,)


def examine(sweep: Sweep, setup: Setup) -> FeedlineFindings:
    """Everything the sweep says of the lead."""
    if sweep.unfit is not None:
        return _without_distances(sweep, setup)
    return _Examination(sweep, setup).findings()


def _without_distances(sweep: Sweep, setup: Setup) -> FeedlineFindings:
    """Only what needs no transform."""
    band = setup.band_mhz or SERVICE_BAND_MHZ
    loss, mhz, length = _loss(setup, band, None)
    raw, corrected, ends = _band_figures(sweep, band, loss, loss, loss)
    return FeedlineFindings(
        fault_m=None,
        verdict=tell("Cannot tell where the lead ends: {why}.", why=sweep.unfit),
        expected_length_m=setup.expected_length_m,
        joints_m=setup.joints_m,
        reference_plane_m=setup.reference_plane_m,
        velocity_factor=setup.velocity,
        velocity_factor_range=setup.velocity_range,
        velocity_from=setup.velocity_from,
        cable=setup.cable,
        band_mhz=band,
        band_return_loss_db=raw,
        band_return_loss_corrected_db=corrected,
        band_return_loss_corrected_db_90=ends,
        **_loss_figures(loss, mhz, length, setup),  # type: ignore[arg-type]
        cautions=sweep.cautions,
    )


def _loss(setup: Setup, band: tuple[float, float], end_m: float | None) -> tuple[Range | None, float, float | None]:
    """One-way loss in the middle of the band up to the end, else over the expected length; None without either."""
    mhz = 0.5 * sum(band)
    length = end_m if end_m is not None else setup.expected_length_m
    if length is None or length <= 0.0:
        return None, mhz, None
    return loss_db_per_m(setup.cable, mhz).times(length), mhz, length


def _loss_figures(loss: Range | None, mhz: float, length: float | None, setup: Setup) -> dict[str, object]:
    if loss is None:
        return {}
    middle = loss.middle if setup.cable else None
    return {"loss_db": middle, "loss_db_90": (loss.low, loss.high), "loss_mhz": mhz, "loss_length_m": length}


def _band_figures(
    sweep: Sweep, band: tuple[float, float], nearest: Range | None, highest: Range | None, farthest: Range | None
) -> tuple[float | None, float | None, Interval | None]:
    """Return loss in the band as measured, and with twice the loss taken off: in the middle, and least and most.

    The loss is that of the way to the reflection that makes up most of it: `highest`; the others are those to the
    nearest and the farthest that may.
    """
    raw = band_of.band_return_loss_db(sweep, band)
    if raw is None or nearest is None or highest is None or farthest is None:
        return raw, None, None
    least, middle, most = raw - 2.0 * farthest.high, raw - 2.0 * highest.middle, raw - 2.0 * nearest.low
    return raw, max(0.0, middle), (max(0.0, least), max(0.0, most))


class _Examination:
    """One sweep under examination; each step rests on those before."""

    def __init__(self, sweep: Sweep, setup: Setup) -> None:
        self.sweep, self.setup = sweep, setup
        self.found: Response = response(sweep)
        self.band = setup.band_mhz or SERVICE_BAND_MHZ
        per_second = float(self._metres(np.array([1.0]))[0] + setup.reference_plane_m)
        self.width_m = HANN_WIDTH * self.found.width_s * per_second
        slowest = (
            per_second
            if setup.velocity is not None
            else per_second * min(setup.velocity_range) / setup.usual_velocity
        )
        self.range_m = self.found.range_s * slowest - setup.reference_plane_m
        peaks = find_reflections(self.found, response(sweep, CONFIRM_WINDOW), self.share_left)
        step = step_response(sweep)
        self.places = tuple(self._place(peak, rise_at(step, self.found, peak.delay_s)) for peak in peaks)
        self.end: End = end_of(
            self.places, setup.expected_length_m, self.width_m, self.range_m, setup.reference_plane_m
        )
        self.fault = fault_of(self.places, self.end, setup.expected_length_m, self.width_m)

    def _metres(self, delay_s: Array) -> Array:
        """Distances of delays with the usual velocity factor."""
        one_way = distance_of(1.0, 0.0, self.setup).usual_m + self.setup.reference_plane_m
        return delay_s * one_way - self.setup.reference_plane_m

    @functools.cached_property
    def share_left(self) -> Callable[[float], float]:
        """How much of a whole reflection comes back from a delay, in the middle of the class of cable."""

        def left(delay_s: float) -> float:
            return self._share(delay_s).middle

        return left

    def _share(self, delay_s: float) -> Range:
        along = float(self._metres(np.array([delay_s]))[0]) + self.setup.reference_plane_m
        return whole_reflection(self.sweep, self.found, self.setup.cable, along)

    def _place(self, peak: Peak, rise: float | None) -> Place:
        noise = self.found.width_s * noise_gamma(self.found) / peak.gamma
        sd_s = math.hypot(self.found.bin_s / math.sqrt(12.0), 0.5 * noise)
        distance = distance_of(peak.delay_s, sd_s, self.setup)
        share = self._share(peak.delay_s)
        kind = kind_of(peak.gamma, corrected_by(peak, share), rise) if peak.role == "reflection" else peak.role
        return Place(peak, distance, share, kind)

    def findings(self) -> FeedlineFindings:
        """All of it."""
        setup, end = self.setup, self.end
        end_m = None if end.at is None else end.at.distance.usual_m
        loss, mhz, length = _loss(setup, self.band, end_m)
        raw, corrected, ends = _band_figures(self.sweep, self.band, *self._losses_of_highest(loss))
        of_end, of_end_90 = self._end_return_loss()
        until = min(self.range_m, end_m if end_m is not None else setup.expected_length_m or self.range_m)
        smeared = self._smeared(until)
        scene = Scene(
            setup,
            end,
            self.fault,
            self.places,
            self.range_m,
            self.width_m,
            smeared,
            self._hidden_db(),
            loss,
            mhz,
            length,
            of_end,
            of_end_90,
        )
        expected = setup.expected_length_m
        return FeedlineFindings(
            fault_m=None if self.fault is None else self.fault.distance.middle_m,
            fault_m_90=None if self.fault is None else self.fault.distance.interval_m,
            verdict=verdict_text(scene),
            sentences=sentences(scene),
            reflections=tuple(self._reflection(one) for one in self.places),
            end=end.state,
            end_m=None if end.at is None else end.at.distance.middle_m,
            end_m_90=None if end.at is None else end.at.distance.interval_m,
            p_before=end.p_before,
            p_at=end.p_at,
            p_beyond=end.p_beyond,
            expected_length_m=expected,
            expected_margin_m=None if expected is None else margin_m(expected, self.width_m),
            joints_m=setup.joints_m,
            reference_plane_m=setup.reference_plane_m,
            velocity_factor=setup.velocity,
            velocity_factor_range=setup.velocity_range,
            velocity_from=setup.velocity_from,
            cable=setup.cable,
            range_m=self.range_m,
            resolution_m=self.width_m,
            noise_floor_db=20.0 * math.log10(max(noise_floor(self.found), 1e-9)),
            smeared_m=smeared,
            band_mhz=self.band,
            band_return_loss_db=raw,
            band_return_loss_corrected_db=corrected if setup.cable else None,
            band_return_loss_corrected_db_90=ends,
            end_return_loss_db=of_end,
            end_return_loss_db_90=of_end_90,
            **_loss_figures(loss, mhz, length, setup),  # type: ignore[arg-type]
            profile=self._profile(until),
            cautions=(*self.sweep.cautions, *self._odd()),
        )

    def _reflection(self, one: Place) -> Reflection:
        known = self.setup.cable is not None
        low, middle, high = one.corrected
        return Reflection(
            distance_m=one.distance.middle_m,
            distance_m_90=one.distance.interval_m,
            delay_ns=one.peak.delay_s * 1e9,
            gamma=one.peak.gamma,
            gamma_corrected=middle if known else None,
            gamma_corrected_90=(low, high),
            return_loss_db=return_loss_db(one.peak.gamma),
            return_loss_corrected_db=max(0.0, return_loss_db(middle)) if known else None,
            kind=one.kind,
            of=tuple(number + 1 for number in one.peak.of),
        )

    def _smeared(self, until_m: float) -> tuple[Interval, ...]:
        """Nothing where the lead is longer than the sweep reads: what folds back would be taken for a smear."""
        if self.end.why in ("beyond-range", "coarse"):
            return ()
        return smears_m(self.found, [one.peak for one in self.places], self._metres, until_m, self.share_left)

    def _losses_of_highest(self, whole: Range | None) -> tuple[Range | None, Range | None, Range | None]:
        """One-way losses to the reflections that come near to the highest: nearest, highest, farthest."""
        high = max((one.peak.gamma for one in self._real()), default=0.0)
        if high == 0.0:
            return whole, whole, whole
        near = [one for one in self._real() if one.peak.gamma >= COMES_NEAR * high]
        top = max(near, key=lambda one: one.peak.gamma)
        nearest, highest, farthest = (self._loss_to(one) for one in (near[0], top, near[-1]))
        return nearest, highest, farthest

    def _loss_to(self, one: Place) -> Range:
        along = max(0.0, one.distance.usual_m + self.setup.reference_plane_m)
        return loss_db_per_m(self.setup.cable, 0.5 * sum(self.band)).times(along)

    def _end_return_loss(self) -> tuple[float | None, Interval | None]:
        """Return loss in the band of what hangs at the end, the loss of the cable and of the joints taken off.

        What a joint lets through there and back is between (1 - G)^2 and 1 - G^2 (see peaks.py): behind a bad one
        there is only a range.
        """
        at = self.end.at
        if at is None or self.setup.cable is None or at.distance.usual_m <= 0.0:
            return None, None
        others = [one for one in self._real() if one is not at]
        raw = band_of.end_return_loss_db(self.sweep, self.found, self.band, at.peak, [one.peak for one in others])
        if raw is None:
            return None, None
        own_s = band_of.OWN_WIDTHS * self.found.width_s
        joints = [
            min(one.corrected.middle, MOST_TURN) for one in others if one.peak.delay_s < at.peak.delay_s - own_s
        ]
        most_db = sum(-40.0 * math.log10(1.0 - gamma) for gamma in joints)
        least_db = sum(-20.0 * math.log10(1.0 - gamma**2) for gamma in joints)
        twice = self._loss_to(at).times(2.0)
        low = raw.value_db - twice.high - most_db - raw.doubt_db
        high = raw.value_db - twice.low - least_db + raw.doubt_db
        middle = raw.value_db - twice.middle - 0.5 * (least_db + most_db)
        known = max(joints, default=0.0) < POOR
        return (max(0.0, middle) if known else None), (max(0.0, low), max(0.0, high))

    def _hidden_db(self) -> float | None:
        """Return loss at the antenna's place from which on a reflection would not stand out of the noise."""
        expected = self.setup.expected_length_m
        if expected is None:
            return None
        share = whole_reflection(self.sweep, self.found, self.setup.cable, expected + self.setup.reference_plane_m)
        return max(0.0, return_loss_db(max(noise_floor(self.found) / max(share.middle, 1e-6), 1e-6)))

    def _profile(self, until_m: float) -> LeadProfile:
        farthest = max([until_m, self.setup.expected_length_m or 0.0, *(p.distance.usual_m for p in self._shown())])
        to_m = self._metres if self.setup.velocity is not None else None
        last = float(np.interp(1.25 * farthest + 0.5, self._metres(self.found.delay_s), self.found.delay_s))
        return profile_of(self.found, last, to_m)

    def _real(self) -> list[Place]:
        return [one for one in self.places if one.peak.role == "reflection"]

    def _shown(self) -> list[Place]:
        return [one for one in self.places if one.peak.role != "sidelobe"]

    def _odd(self) -> list[str]:
        """What does not fit together."""
        said = []
        band = self.band
        if band_of.points_in(self.sweep, band) is None:
            said.append(
                tell(
                    "the sweep does not reach the band of the service, {low:g} to {high:g} MHz",
                    low=band[0],
                    high=band[1],
                )
            )
        over = [one for one in self.places if one.peak.role == "reflection" and one.peak.gamma > 1.1 * one.share.high]
        if over and self.setup.cable is not None:
            said.append(
                tell(
                    "more comes back than {cable} lets through: the cable loses less than that class, or the "
                    "calibration is off",
                    cable=self.setup.cable,
                )
            )
        return said


__all__ = ["SDARS_MHZ", "band_of_job", "examine", "feedline_findings"]
