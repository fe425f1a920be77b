"""The sky mask on real records of navigation satellites, beside plain references, and how fast it is.

Needs a folder with two captures, which do not come with the project: `laegern_forest_pair_24h.npz`, one day of two
receivers, under a forest and above it (arrays t, sv, az, el, cn_ground, cn_ref in tenths, -9999 missing, sv_names),
and `f9k_drive_29min.nmea`, a car in suburban streets. Settings were chosen on the first hour of the forest and on the
drive only.

Forest: a satellite is clear where the ground receiver reads less than 6 dB below the one above the canopy, whatever
level the mask works with. `tower level`: the zenith level of each constellation is that of the receiver above
(equal antennas assumed), as one would know it after a drive in the open, and satellites that are weak above it are
left out for the mask and the references alike. `own level`: learnt under the canopy itself.
Rows of 120 s, every 7th tested, above 5 deg of elevation. Satellites without a direction are left out.

Drive: in each window of 60 s each satellite above 15 deg is foretold from the others. There is no truth but its own
level: clear is a deficit below 6 dB against the level learnt from the whole drive. No window trains another.

References: `constant`, the share of clear rows among those tested, `elevation`, clear shares by 10 deg of elevation
(forest: of the looks trained on; drive: of the rows tested, which favours it; `without its own`: of the whole drive's
rows of the other satellites), `bins`, the share of looks with a
deficit below 6 dB in 10 x 10 deg, leaning on the share of all as one look; `tracked`, the same with the share that is
tracked at all, to show that tracked is not in view. `horizon` is the mask without its canopy.
Brier score and log loss (chances kept within 0.01 and 0.99), smaller is better. Differences are mask minus the best
reference; their error is the deviation over 400 resamplings of satellites (they, not rows, are independent). `level`:
within two errors.
"""

import contextlib
import io
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np
from bench_stay import stays

FOREST, DRIVE = "laegern_forest_pair_24h.npz", "f9k_drive_29min.nmea"
ROW_S, EVERY, TRUTH_DB, LEAST_DEG = 120.0, 7, 6.0, 5.0
WINDOW_S, LEAST_DRIVE_DEG = 60.0, 15.0
RESAMPLED = 400
BIG_BYTES = 50_000_000


class Case(NamedTuple):
    """Rows tested: truth (n,), satellite (n,), and chances by method, each (n,)."""

    name: str
    clear: np.ndarray
    satellite: np.ndarray
    chances: dict


def brier(chance, clear):
    """Squared error of each row."""
    return (chance - clear) ** 2


def log_loss(chance, clear):
    """Minus the log of the chance given to what was so, of each row."""
    kept = np.clip(chance, 0.01, 0.99)
    return -np.where(clear, np.log(kept), np.log1p(-kept))


def difference(score, satellite, one, other):
    """Mean difference of two methods' scores and its error over resampled satellites."""
    gap = score[one] - score[other]
    known, inside = np.unique(satellite, return_inverse=True)
    total, count = np.bincount(inside, gap), np.bincount(inside)
    random = np.random.default_rng(1)
    picks = random.integers(0, len(known), (RESAMPLED, len(known)))
    return float(gap.mean()), float((total[picks].sum(axis=1) / count[picks].sum(axis=1)).std())


def report(case):
    """Print one case: a line a score, and the mask against the best of the references."""
    references = ("constant", "elevation", "bins")
    known, mean = len(np.unique(case.satellite)), case.chances["mask"].mean()
    share = case.clear.mean()
    print(f"{case.name}: {len(case.clear)} rows, {known} satellites, {share:.2f} clear, mean chance {mean:.2f}")
    for title, rule in (("Brier", brier), ("log loss", log_loss)):
        score = {name: rule(chance, case.clear) for name, chance in case.chances.items()}
        line = "  ".join(f"{name} {each.mean():.3f}" for name, each in score.items())
        best = min(references, key=lambda name: score[name].mean())
        gap, error = difference(score, case.satellite, "mask", best)
        word = "level" if abs(gap) < 2.0 * error else "mask better" if gap < 0.0 else "MASK WORSE"
        print(f"   {title:>8}  {line}   mask - {best} {gap:+.3f} +- {error:.3f}: {word}")


def bins(azimuth, elevation, flag, at_azimuth, at_elevation):
    """Share of flags in 10 x 10 deg, leaning on the share of all as one look."""

    def place(along, up):
        return (np.floor(up / 10.0) * 36 + np.floor(along % 360.0 / 10.0)).astype(int)

    here = place(azimuth, elevation)
    count, sum_ = np.bincount(here, minlength=360), np.bincount(here, flag, minlength=360)
    return ((sum_ + flag.mean()) / (count + 1.0))[place(at_azimuth, at_elevation)]


def by_elevation(elevation, flag, at_elevation):
    """Share of flags by 10 deg of elevation, leaning on the share of all as one look."""
    return bins(np.zeros(len(elevation)), elevation, flag, np.zeros(len(at_elevation)), at_elevation)


# --- forest ------------------------------------------------------------------------------------------------------


def forest_rows(path):
    """Thinned looks of the ground receiver, the reference's C/N0 beside each, and its zenith levels by group."""
    from satdiag.sky.mask.likelihood import expected_cn0
    from satdiag.sky.mask.looks import Looks
    from satdiag.sky.mask.thinning import thinned
    from satdiag.sky.mask.weak import weak_on_the_move

    with np.load(path) as file:
        held = {key: file[key] for key in file}
    number = held["sv"].astype(np.int64)
    kind = np.array(["GREC".find(str(name)[0]) for name in held["sv_names"]])[number]
    parts = (np.where(held[key] == -9999, np.nan, held[key] / 10.0) for key in ("az", "el", "cn_ground", "cn_ref"))
    azimuth, elevation, ground, above = parts
    use = (kind >= 0) & np.isfinite(azimuth) & (elevation > 0.0)
    none = np.zeros(use.sum(), dtype=bool)
    columns = (held["t"][use].astype(float), number[use], kind[use], azimuth[use] % 360.0, elevation[use])
    looks = thinned(Looks(*columns, ground[use], none), ROW_S)
    reference = thinned(Looks(*columns, above[use], none), ROW_S)
    raised = above[use] + 9.0 * (1.0 - np.sin(np.radians(elevation[use])))
    sure = (elevation[use] > 15.0) & np.isfinite(raised)
    levels = np.array([np.median(raised[sure & (kind[use] == group)]) for group in range(4)])
    bare = expected_cn0(reference.elevation_deg, levels[reference.group]) - reference.cn0_db_hz
    weak = tuple(np.flatnonzero(weak_on_the_move(reference, bare)).tolist())
    return looks, reference.cn0_db_hz, levels, weak


def forest_case(name, rows, train, test, levels):
    """Train on some looks, foretell others. `levels` None: learnt from the looks trained on."""
    from satdiag.sky.mask.baseline import blind_baselines
    from satdiag.sky.mask.combine import fit_mask
    from satdiag.sky.mask.likelihood import expected_cn0

    looks, reference, _, weak = rows
    judged = np.flatnonzero(test & np.isfinite(reference) & (looks.elevation_deg > LEAST_DEG))[::EVERY]
    known = looks.where(np.flatnonzero(train))
    level = blind_baselines(known, 4) if levels is None else levels
    if levels is not None:
        known = known.where(~np.isin(known.satellite, weak))
    mask = fit_mask(known, baseline_db_hz=level, window_s=ROW_S)
    flag = np.nan_to_num(expected_cn0(known.elevation_deg, level[known.group]) - known.cn0_db_hz, nan=99.0) < TRUTH_DB
    heard = np.isfinite(known.cn0_db_hz).astype(float)
    azimuth, elevation = looks.azimuth_deg[judged], looks.elevation_deg[judged]
    clear = np.nan_to_num(reference - looks.cn0_db_hz, nan=99.0)[judged] < TRUTH_DB
    return Case(
        f"{name}, {'tower' if levels is not None else 'own'} level",
        clear,
        looks.satellite[judged],
        {
            "constant": np.full(len(judged), clear.mean()),
            "tracked": bins(known.azimuth_deg, known.elevation_deg, heard, azimuth, elevation),
            "elevation": by_elevation(known.elevation_deg, flag.astype(float), elevation),
            "bins": bins(known.azimuth_deg, known.elevation_deg, flag.astype(float), azimuth, elevation),
            "horizon": mask.edge.p_clear(azimuth, elevation)[0],
            "mask": mask.chances(azimuth, elevation).value,
        },
    )


def forest(path):
    """All forest cases."""
    rows = forest_rows(path)
    looks, reference, tower, weak = rows
    seen = np.isfinite(reference) & (looks.elevation_deg > LEAST_DEG)
    near = np.nan_to_num(reference - looks.cn0_db_hz, nan=99.0)[seen] < TRUTH_DB
    heard = np.isfinite(looks.cn0_db_hz[seen])
    levels = ", ".join(f"{level:.1f}" for level in tower)
    print(f"forest: {seen.sum()} rows with a reference, {heard.mean():.2f} tracked below, {near.mean():.2f} clear")
    print(f"zenith levels above it {levels} dB-Hz (GPS, GLONASS, Galileo, BeiDou); weak there {len(weak)} satellites")
    hour, two = looks.time_s < 3600.0, looks.group <= 1
    half = looks.time_s >= 43200.0
    for levels in (tower, None):
        report(forest_case("GPS + GLONASS 24 h -> Galileo + BeiDou", rows, two, ~two, levels))
        report(forest_case("Galileo + BeiDou 24 h -> GPS + GLONASS", rows, ~two, two, levels))
        report(forest_case("first 12 h -> last 12 h", rows, ~half, half, levels))
        report(forest_case("first 1 h -> last 12 h", rows, hour, half, levels))
        report(forest_case("first 3 h -> last 12 h", rows, looks.time_s < 10800.0, half, levels))


# --- drive -------------------------------------------------------------------------------------------------------


def drive(path):
    """Each satellite of each minute from the others."""
    from satdiag.gnss.bulk import read_sky
    from satdiag.sky.mask.baseline import blind_baselines
    from satdiag.sky.mask.canopy import Settings
    from satdiag.sky.mask.combine import fit_mask
    from satdiag.sky.mask.likelihood import expected_cn0
    from satdiag.sky.mask.parked import record_of
    from satdiag.sky.mask.thinning import thinned

    looks = thinned(record_of([read_sky(path.read_bytes())]).looks, WINDOW_S)
    levels = blind_baselines(looks)
    deficit = np.nan_to_num(expected_cn0(looks.elevation_deg, levels[looks.group]) - looks.cn0_db_hz, nan=99.0)
    clear = deficit < TRUTH_DB
    high = looks.elevation_deg > LEAST_DRIVE_DEG
    window = np.floor(looks.time_s / WINDOW_S)
    judged, horizon, mask, binned, fair = [], [], [], [], []
    for minute in np.unique(window):
        inside = np.flatnonzero(window == minute)
        for one in inside[high[inside]]:
            others = inside[looks.satellite[inside] != looks.satellite[one]]
            if len(others) < 6:
                continue
            known = looks.where(others)
            at = looks.azimuth_deg[[one]], looks.elevation_deg[[one]]
            found = fit_mask(known, baseline_db_hz=levels, settings=Settings())
            judged.append(one)
            horizon.append(found.edge.p_clear(*at)[0][0])
            mask.append(found.chances(*at).value[0])
            binned.append(bins(known.azimuth_deg, known.elevation_deg, clear[others].astype(float), *at)[0])
            rest = high & (looks.satellite != looks.satellite[one])
            fair.append(by_elevation(looks.elevation_deg[rest], clear[rest].astype(float), at[1])[0])
    row = np.array(judged)
    truth, up = clear[row], looks.elevation_deg[row]
    report(
        Case(
            "drive, one satellite left out",
            truth,
            looks.satellite[row],
            {
                "constant": np.full(len(row), truth.mean()),
                "elevation": by_elevation(up, truth.astype(float), up),
                "without its own": np.array(fair),
                "bins": np.array(binned),
                "horizon": np.array(horizon),
                "mask": np.array(mask),
            },
        )
    )


# --- speed -------------------------------------------------------------------------------------------------------


def reading(path):
    """A log of about 50 MB: ours against pynmeagps, in this run."""
    from pynmeagps import NMEAReader

    from satdiag.gnss.bulk import read_sky
    from satdiag.gnss.read import read_nmea

    one = path.read_bytes()
    copies = -(-BIG_BYTES // len(one))
    with tempfile.TemporaryDirectory() as folder:
        big = Path(folder) / "big.nmea"
        big.write_bytes(one * copies)
        data = big.read_bytes()
        begun = time.perf_counter()
        rows = read_sky(data)
        ours = time.perf_counter() - begun
        begun = time.perf_counter()
        read_nmea(one)
        whole = (time.perf_counter() - begun) * copies
        begun = time.perf_counter()
        entries = _by_pynmeagps(NMEAReader, one)
        theirs = (time.perf_counter() - begun) * copies
    size = len(data) / 1e6
    print(f"reading {size:.1f} MB: as arrays {ours:.2f} s ({size / ours:.0f} MB/s, {len(rows.epoch)} rows)")
    print(f"   sentence by sentence {whole:.1f} s, pynmeagps {theirs:.1f} s ({entries} entries), times {copies}")
    print(f"   as arrays is {theirs / ours:.0f} times as fast as pynmeagps")


def _by_pynmeagps(reader, data):
    """Number of satellite entries with their numbers taken out."""
    found = 0
    with contextlib.redirect_stdout(io.StringIO()):
        for _, message in reader(io.BytesIO(data), quitonerror=0):
            if message is not None and message.msgID == "GSV":
                for at in range(1, 5):
                    if getattr(message, f"svid_{at:02d}", "") != "":
                        found += 1
                        (getattr(message, f"{name}_{at:02d}") for name in ("elv", "az", "cno"))
    return found


def hour():
    """The mask of one hour at 1 Hz with 40 satellites (made), from plain looks to chances and stays."""
    from satdiag.gnss.identity import Satellite
    from satdiag.sky.mask.combine import fit_mask
    from satdiag.sky.mask.looks import Looks
    from satdiag.sky.mask.patience import Place, stays_s
    from satdiag.sky.mask.posterior import walking_prior

    random = np.random.default_rng(3)
    count, seconds = 40, 3600
    time_s = np.tile(np.arange(seconds, dtype=float), count)
    number = np.repeat(np.arange(count), seconds)
    azimuth = np.repeat(random.uniform(0, 360, count), seconds) + time_s * 0.004
    elevation = np.repeat(np.degrees(np.arcsin(random.uniform(0.05, 0.9, count))), seconds) + time_s * 0.003
    hidden = elevation < 25.0 + 20.0 * np.sin(np.radians(azimuth))
    level = np.round(45.0 - 9.0 * (1.0 - np.sin(np.radians(elevation))) + random.normal(0, 2, len(time_s)))
    level = np.where(hidden, level - 14.0, level)
    looks = Looks(time_s, number, number % 4, azimuth % 360.0, elevation, level, np.zeros(len(level), dtype=bool))
    kinds = ("gps", "glonass", "galileo", "beidou")
    names = tuple(Satellite(kinds[one % 4], 11 + one // 4) for one in range(count))
    begun = time.perf_counter()
    mask = fit_mask(looks)
    mask.chances(np.array([150.0]), np.array([35.0]))
    fitted = time.perf_counter() - begun
    stays_s(mask, walking_prior(), names, Place(45.0, 10.0, 0.0), np.array([150.0, 210.0]), np.array([15.0, 30.0]))
    both = time.perf_counter() - begun
    print(f"one hour, 1 Hz, 40 satellites ({len(level)} looks, made): mask {fitted:.2f} s, with stays {both:.2f} s")


def main(folder):
    """Print all of it. Returns 0, or 2 without the captures."""
    place = Path(folder)
    missing = [name for name in (FOREST, DRIVE) if not (place / name).is_file()]
    if missing:
        print(f"{place} has no {' and no '.join(missing)}", file=sys.stderr)
        return 2
    forest(place / FOREST)
    stays(place / FOREST)
    drive(place / DRIVE)
    hour()
    reading(place / DRIVE)
    return 0
