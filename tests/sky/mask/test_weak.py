"""Satellites that transmit less than the others: found in the open, and not taken for what stands behind something.

Made skies: this proves the code against our own model only; `python scripts/benchmark.py sky` tries real ones.
"""

import numpy as np
import pytest

from satdiag.sky.mask.combine import fit_mask
from satdiag.sky.mask.looks import Looks
from satdiag.sky.mask.parked import parked_at, record_in
from satdiag.sky.mask.thinning import thinned
from satdiag.sky.mask.weak import weak_on_the_move
from tests.sky.mask.made_skies import as_nmea, made_sky


def changed(looks, level):
    columns = Looks.__dataclass_fields__
    return Looks(*(level if name == "cn0_db_hz" else getattr(looks, name) for name in columns))


def weakened(looks, number, by_db):
    return changed(looks, looks.cn0_db_hz - np.where(looks.satellite == number, by_db, 0.0))


def highest(looks):
    """The satellite whose lowest look is highest."""
    numbers = np.unique(looks.satellite)
    return int(max(numbers, key=lambda number: looks.elevation_deg[looks.satellite == number].min()))


@pytest.mark.parametrize("scene", ["open", "wall"])
def test_a_weak_one_is_found_and_draws_no_skyline(scene):
    looks = made_sky(scene, 60.0, 3, 15.0).looks
    number = highest(looks)
    at = looks.satellite == number
    where = looks.azimuth_deg[at].mean(), looks.elevation_deg[at].mean()
    plain, mended = fit_mask(looks), fit_mask(weakened(looks, number, 12.0))
    assert plain.weak == ()
    assert mended.weak == (number,)
    assert number not in mended.looks.satellite
    assert mended.chances(*where).value[0] == pytest.approx(plain.chances(*where).value[0], abs=0.1)


def test_a_satellite_behind_a_wall_is_not_called_weak():
    for seed in range(4):
        for scene in ("wall", "blocks", "canyon"):
            assert fit_mask(made_sky(scene, 60.0, seed, 15.0).looks).weak == ()


def test_under_trees_nobodys_word_holds():
    looks = made_sky("open", 60.0, 5, 15.0).looks
    random = np.random.default_rng(1)
    # Every few minutes of every satellite another fade, 0 to 20 dB.
    spots = looks.satellite * 1000 + (looks.time_s // 240.0).astype(int)
    fade = random.uniform(0.0, 20.0, spots.max() + 1)[spots]
    under = weakened(changed(looks, looks.cn0_db_hz - fade), highest(looks), 12.0)
    assert fit_mask(under).weak == ()


def test_a_drive_tells_too_and_its_word_counts_for_the_stay():
    drive, stay = made_sky("open", 25.0, 2, 5.0).looks, made_sky("open", 5.0, 2, 5.0).looks
    number = highest(drive)
    rows = thinned(weakened(drive, number, 12.0), 10.0)
    deficit = 46.4 - 9.0 * (1.0 - np.sin(np.radians(rows.elevation_deg))) - rows.cn0_db_hz
    assert np.flatnonzero(weak_on_the_move(rows, deficit)).tolist() == [number]
    moving = as_nmea(weakened(drive, number, 12.0), speed_knots=30.0)
    record = record_in({"gnss-a.nmea": moving, "gnss-b.nmea": as_nmea(weakened(stay, number, 12.0))})
    found = parked_at(record, 45.0, 10.0, True)
    assert len(found.weak) == 1
    kept = fit_mask(found.looks, baseline_db_hz=found.baseline_db_hz, known_weak=found.weak)
    assert found.weak[0] in kept.weak
    assert found.weak[0] not in kept.looks.satellite
