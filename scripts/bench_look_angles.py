"""Look angles a second, beside skyfield: `python scripts/benchmark.py look-angles`.

Each figure is the best of several runs in one process; both sides get their instants ready-made (satdiag as UTC
instants, skyfield as its own times), so that what is timed is from instant to azimuth, elevation and range. skyfield
turns to the Earth with nutation and precession as well, which satdiag leaves out (see `satdiag/sky/elements.py` for
what that costs); the last column is the largest difference of direction between the two in this run.
"""

import time

import numpy as np

SITE = (41.2, -96.1, 300.0)
SLOT_DEG = -100.0
COUNTS = (1_000, 100_000)
ENOUGH_S = 1.0
# An invented 24-h elliptical orbit, written with sgp4.exporter.export_tle.
TLE = (
    "1 90001U 26001A   26001.00000000  .00000000  00000-0  00000+0 0    11",
    "2 90001  63.4000 274.6609 2684000 270.0000 180.0000  1.00273791    18",
)


def best_s(work):
    """The shortest time of several runs, in seconds; runs for about a second, three times at least."""
    spent = []
    while len(spent) < 3 or sum(spent) < ENOUGH_S:
        began = time.perf_counter()
        work()
        spent.append(time.perf_counter() - began)
    return min(spent)


def apart_deg(ours, theirs):
    """The largest angle between directions (azimuth, elevation), degrees."""
    turn = (ours[0] - theirs[0] + 180.0) % 360.0 - 180.0
    return float(np.hypot(turn * np.cos(np.radians(ours[1])), ours[1] - theirs[1]).max())


def our_orbits():
    """The geostationary and the moving satellite as satdiag sees them."""
    from satdiag.sky.constellation import Satellite
    from satdiag.sky.elements import parse_elements
    from satdiag.sky.orbits import Orbit

    moving = parse_elements("\n".join(TLE), "elements.tle")[0]
    return Orbit(Satellite("still", longitude_deg=SLOT_DEG)), Orbit(Satellite("moving"), moving)


def row(kind, count):
    """One row of the table: satellite, instants, rates of both, ratio, largest difference."""
    from skyfield.api import Distance, EarthSatellite, load, wgs84
    from skyfield.toposlib import ITRSPosition

    from satdiag.sheet import Site
    from satdiag.sky.look_angles import geostationary_position_km

    offsets_s = np.linspace(0.0, 86400.0, count)
    instants = np.datetime64("2026-01-01", "us") + np.round(offsets_s * 1e6).astype("timedelta64[us]")
    orbit = our_orbits()[kind == "sgp4"]
    site, place = Site("site", *SITE), wgs84.latlon(*SITE)
    scale = load.timescale(builtin=True)
    times = scale.utc(2026, 1, 1, 0, 0, offsets_s)
    if kind == "sgp4":
        target = EarthSatellite(*TLE, "moving", scale)
    else:
        target = ITRSPosition(Distance(km=geostationary_position_km(SLOT_DEG)))

    def ours():
        return orbit.seen_from(site, instants)

    def theirs():
        # A time keeps what it has worked out; a fresh one makes each run pay for it.
        fresh = scale.tt_jd(times.whole, times.tt_fraction)
        return (target - place).at(fresh).altaz()

    elevation, azimuth, _ = theirs()
    seen = ours()
    off_deg = apart_deg((seen.azimuth_deg, seen.elevation_deg), (azimuth.degrees, elevation.degrees))
    return kind, count, count / best_s(ours), count / best_s(theirs), off_deg


def lines(quick=False, say=print):
    """Figures for `benchmark.py all`."""
    from bench_figures import Line

    for kind in ("geostationary", "sgp4"):
        for count in COUNTS[:1] if quick else COUNTS:
            name, number, own, other, _ = row(kind, count)
            what, size = f"look angles, {name}", f"{number:,} instants"
            yield Line(what, size, "s", number / own, number / other, "skyfield, same instants", 1.0)


def main():
    """Print the table as Markdown."""
    import skyfield

    version = ".".join(str(part) for part in skyfield.VERSION)
    print(f"| satellite | instants | satdiag, 1/s | skyfield {version}, 1/s | ratio | largest difference |")
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    for kind in ("geostationary", "sgp4"):
        for count in COUNTS:
            name, number, own, other, off_deg = row(kind, count)
            print(f"| {name} | {number} | {own:.3g} | {other:.3g} | {own / other:.1f} | {off_deg:.5f}° |")
    return 0
