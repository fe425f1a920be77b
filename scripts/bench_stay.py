"""Stays foretold, tried on one day of two receivers: after the stated stay, is the answer as useful as was said?

Part of `python scripts/benchmark.py sky --captures DIR`. From each fourth hour on, the first 5, 15 or 30 minutes of
the record (under the forest, and above it) give a mask, and that how much longer to stay for directions such as those
of geostationary satellites. Then the mask is fitted anew, settings and all, with the record up to the end of that
stay. `useful`: interval no wider than 0.4, and resting on looks. `within twice`: useful at twice the stated stay at
the latest. Where no stay up to eight hours was foretold, eight hours are tried. Levels are learnt from the record
itself.
"""

from collections import defaultdict

import numpy as np

KNOWN_S = (300.0, 900.0, 1800.0)
STARTS_S = np.arange(0.0, 15.0 * 3600.0, 14400.0)
AZIMUTH_DEG = np.array([110.0, 135.0, 160.0, 180.0, 200.0, 225.0, 250.0] * 2)
ELEVATION_DEG = np.array([20.0] * 7 + [38.0] * 7)
KINDS = {"G": "gps", "R": "glonass", "E": "galileo", "C": "beidou"}
LAST_S = 86400.0


def record(path):
    """The satellites' names as the project knows them, and the looks of the receiver below and of that above."""
    from satdiag.gnss.identity import Satellite
    from satdiag.sky.mask.looks import Looks
    from satdiag.sky.mask.patience import Place

    with np.load(path) as file:
        held = {key: file[key] for key in file}
    names = [str(name) for name in held["sv_names"]]
    satellites = tuple(Satellite(KINDS.get(name[0], "sbas"), int(name[1:])) for name in names)
    kind = np.array(["GREC".find(name[0]) for name in names])[held["sv"]]
    use = (kind >= 0) & (held["az"] != -9999) & (held["el"] > 0)
    azimuth, elevation = held["az"] / 10.0 % 360.0, held["el"] / 10.0
    columns = (held["t"].astype(float), held["sv"].astype(np.int64), kind, azimuth, elevation)
    looks = {}
    for name, key in (("under the forest", "cn_ground"), ("above the forest", "cn_ref")):
        level = np.where(held[key] == -9999, np.nan, held[key] / 10.0)
        looks[name] = Looks(*(one[use] for one in columns), level[use], np.zeros(use.sum(), dtype=bool))
    return satellites, looks, Place(47.48, 8.36, 500.0)


def useful(mask):
    """Which directions have a useful answer, and the widths of their intervals."""
    from satdiag.sky.mask.patience import USEFUL_WIDTH

    found = mask.chances(AZIMUTH_DEG, ELEVATION_DEG)
    width = found.high - found.low
    return (width <= USEFUL_WIDTH) & mask.speaks(found, AZIMUTH_DEG), width


def stays(path):
    """Print how often a stay that was foretold gave what was said."""
    from satdiag.sky.mask.combine import fit_mask
    from satdiag.sky.mask.patience import STAYS_S, stays_s
    from satdiag.sky.mask.posterior import walking_prior

    satellites, records, place = record(path)
    for name, looks in records.items():
        tried = defaultdict(list)
        for start in STARTS_S:
            for known_s in KNOWN_S:
                first = looks.where((looks.time_s >= start) & (looks.time_s < start + known_s))
                mask = fit_mask(first)
                if mask is None:
                    continue
                told = stays_s(mask, walking_prior(), satellites, place, AZIMUTH_DEG, ELEVATION_DEG)
                for stay in sorted({one or STAYS_S[-1] for one in told if one != 0.0}):
                    at = [n for n, one in enumerate(told) if one != 0.0 and (one or STAYS_S[-1]) == stay]
                    ends = [start + known_s + times * stay for times in (1.0, 2.0)]
                    later = [fit_mask(looks.where((looks.time_s >= start) & (looks.time_s < end))) for end in ends]
                    (now, width), (twice, _) = (useful(one) for one in later)
                    for n in at:
                        whole = ends[1] <= LAST_S or told[n] is None
                        tried[told[n]].append((now[n], width[n], (now[n] or twice[n]) if whole else np.nan))
        told_rows = [row for stay, rows in tried.items() if stay is not None for row in rows]
        now, _, twice = (np.array(part, dtype=float) for part in zip(*told_rows, strict=True))
        shares = f"useful then {now.mean():.2f}, within twice {np.nanmean(twice):.2f}"
        print(f"stays {name}: {len(now)} were foretold, {shares}")
        for stay in sorted(tried, key=lambda one: one or np.inf):
            now, width, twice = (np.array(part, dtype=float) for part in zip(*tried[stay], strict=True))
            words = f"{stay / 60:.0f} min more" if stay else "none up to 8 h"
            line = f"   {words:>14}: {len(now)} directions, useful then {now.mean():.2f}, within twice "
            line += f"{np.nanmean(twice):.2f}, width then median {np.median(width):.2f}"
            print(f"{line}, 90 % below {np.quantile(width, 0.9):.2f}")
