"""Evidence from the sky over the vehicle."""

from __future__ import annotations

import numpy as np

from satdiag.diagnosis.evidence.known import Known
from satdiag.diagnosis.log import log_of
from satdiag.diagnosis.seen import Seen, softly
from satdiag.findings import SiteSky


def _site_now(known: Known) -> SiteSky | None:
    if not known.sky.sites:
        return None
    rows = log_of(known.job).of("site")
    name = str(rows.value[-1]) if len(rows) else known.sky.sites[0].name
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
    p = np.array(measured)
    clear, blocked = float(p.prod()), float((1 - p).prod())
    chances = {"clear": clear, "partly-blocked": 1 - clear - blocked, "all-blocked": blocked}
    if len(p) == 1:
        del chances["partly-blocked"]
    return softly("sky-view", {state: max(chance, 0.0) for state, chance in chances.items()})


LOOKS = (_elevation, _sky_view)
