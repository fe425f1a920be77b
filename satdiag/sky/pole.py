"""At a pole there is no north; what azimuths are counted from there."""

from __future__ import annotations

from satdiag.language import in_figures, tell
from satdiag.sheet import Site

POLE_WITHIN_DEG = 1e-6


def at_a_pole(site: Site) -> bool:
    """True where every direction is south, or north."""
    return 90.0 - abs(site.latitude_deg) < POLE_WITHIN_DEG


def pole_words(site: Site) -> tuple[str, ...]:
    """What must be said of azimuths at a site that is a pole; nothing elsewhere.

    They keep what north becomes on the way to the pole along the site's meridian: at the north pole the way on over
    it, at the south pole the way back.
    """
    if not at_a_pole(site):
        return ()
    longitude = site.longitude_deg + (180.0 if site.latitude_deg > 0.0 else 0.0)
    east = (longitude + 180.0) % 360.0 - 180.0
    angle = in_figures(f"{abs(east):g}")
    meridian = tell("{angle}° E", angle=angle) if east >= 0.0 else tell("{angle}° W", angle=angle)
    said = tell(
        "at a pole there is no north: azimuths are counted clockwise from the meridian of {meridian}",
        meridian=meridian,
    )
    return (said,)
