"""The mask on made skies: they prove the code against our own model only (see made_skies).

Real records are judged by `python scripts/benchmark.py sky --captures DIR`.
"""

import numpy as np
import pytest

from satdiag.gnss.identity import Satellite
from satdiag.sky.mask.combine import fit_mask
from satdiag.sky.mask.looks import Looks
from satdiag.sky.mask.patience import USEFUL_WIDTH, Place, stays_s
from satdiag.sky.mask.posterior import Z_90, walking_prior
from satdiag.sky.mask.thinning import WINDOW_S
from tests.sky.mask.made_skies import made_sky

SCENES = ("open", "wall", "canyon", "blocks")
AZIMUTH_DEG = np.arange(360.0)


def near_looks(mask, edge_deg):
    """Azimuths with a look within 5 deg beside and 8 deg above or below the true edge."""
    beside = (mask.cells.azimuth_deg[None, :] - AZIMUTH_DEG[:, None] + 180.0) % 360.0 - 180.0
    above = mask.cells.elevation_deg[None, :] - edge_deg[:, None]
    return ((np.abs(beside) <= 5.0) & (np.abs(above) <= 8.0)).any(axis=1)


EVERYDAY, ALL = range(20, 23), range(20, 26)


def measured(minutes, seeds):
    """Per scene: RMSE where looks came near, cover of the 90 % band there and everywhere, its mean half width."""
    found = {}
    for scene in SCENES:
        squares, cover_near, cover, width = [], [], [], []
        for seed in seeds:
            sky = made_sky(scene, minutes, seed, 15.0)
            mask = fit_mask(sky.looks)
            edge, sd = mask.edge.at(AZIMUTH_DEG)
            near = near_looks(mask, sky.edge_deg)
            inside = np.abs(edge - sky.edge_deg) <= Z_90 * sd
            squares.append(((edge - sky.edge_deg) ** 2)[near])
            cover_near.append(inside[near])
            cover.append(inside.mean())
            width.append(Z_90 * sd.mean())
        near_all = np.concatenate(cover_near)
        rmse = float(np.sqrt(np.concatenate(squares).mean()))
        found[scene] = rmse, float(near_all.mean()), float(np.mean(cover)), float(np.mean(width))
    return found


@pytest.mark.parametrize("seeds", [EVERYDAY, pytest.param(ALL, marks=pytest.mark.long)], ids=len)
def test_error_and_cover_of_the_horizon_by_length_of_stay(capsys, seeds):
    by_stay = {minutes: measured(minutes, seeds) for minutes in (5, 20, 60)}
    with capsys.disabled():
        print(
            "\nhorizon on made skies: RMSE near looks, cover of the 90 % band near looks and everywhere, half width"
        )
        for minutes, found in by_stay.items():
            for scene, (rmse, near, cover, width) in found.items():
                print(f"  {minutes:3d} min {scene:7s} {rmse:5.1f} deg  {near:.2f}  {cover:.2f}  {width:4.1f} deg")
    for found in by_stay.values():
        assert np.mean([cover for _, _, cover, _ in found.values()]) >= 0.85
        assert min(cover for _, _, cover, _ in found.values()) >= 0.75
    errors = {minutes: np.mean([rmse for rmse, *_ in found.values()]) for minutes, found in by_stay.items()}
    widths = {minutes: np.mean([width for *_, width in found.values()]) for minutes, found in by_stay.items()}
    assert errors[60] < errors[20] < 12.0
    assert errors[60] < 8.0
    assert widths[60] < widths[20] < widths[5]


@pytest.mark.parametrize("scene", SCENES)
def test_chances_beat_a_constant_and_intervals_on_one_side_are_right(scene):
    right, wrong, brier, constant = 0, 0, [], []
    random = np.random.default_rng(5)
    for seed in range(30, 34):
        sky = made_sky(scene, 60.0, seed, 15.0)
        mask = fit_mask(sky.looks)
        azimuth = random.uniform(0.0, 360.0, 400)
        elevation = np.degrees(np.arcsin(random.uniform(np.sin(np.radians(8.0)), 1.0, 400)))
        clear = elevation > np.interp(azimuth, np.arange(361.0), np.append(sky.edge_deg, sky.edge_deg[0]))
        found = mask.chances(azimuth, elevation)
        assert ((found.low <= found.value) & (found.value <= found.high)).all()
        brier.append(((found.value - clear) ** 2).mean())
        constant.append(clear.mean() * (1.0 - clear.mean()))
        sure = (found.low > 0.5) | (found.high < 0.5)
        right += int((sure & ((found.value > 0.5) == clear)).sum())
        wrong += int((sure & ((found.value > 0.5) != clear)).sum())
    assert np.mean(brier) < max(0.5 * np.mean(constant), 0.02)
    assert right > 0.92 * (right + wrong)
    assert right + wrong > 400


def test_tracked_is_not_in_view():
    # Everything is tracked, half of it 12 dB down: behind a wall, not open.
    sky = made_sky("wall", 60.0, 3, 15.0)
    hidden = sky.looks.elevation_deg < np.interp(
        sky.looks.azimuth_deg, np.arange(361.0), np.append(sky.edge_deg, sky.edge_deg[0])
    )
    level = np.round(46.0 - 9.0 * (1.0 - np.sin(np.radians(sky.looks.elevation_deg)))) - np.where(hidden, 12.0, 0.0)
    looks = Looks(*(getattr(sky.looks, name) for name in ("time_s", "satellite", "group", "azimuth_deg")),
                  sky.looks.elevation_deg, level, sky.looks.witness)  # fmt: skip
    mask = fit_mask(looks)
    wall = int(np.argmax(sky.edge_deg > 40.0))
    middle = (np.flatnonzero(sky.edge_deg > 40.0) if sky.edge_deg[0] < 40.0 else np.array([wall])).mean()
    assert mask.chances(middle, 25.0).value[0] < 0.2
    assert mask.chances(middle + 180.0, 40.0).value[0] > 0.8


def test_of_an_hour_of_forty_satellites_every_second_few_looks_are_left_to_reckon_with():
    """`scripts/benchmark.py sky` measures how long the mask of such an hour takes."""
    sky = made_sky("blocks", 60.0, 11, 1.0)
    mask = fit_mask(sky.looks)
    assert mask.chances(AZIMUTH_DEG, 30.0).value.shape == AZIMUTH_DEG.shape
    satellites = len(np.unique(sky.looks.satellite))
    assert satellites > 35
    assert len(sky.looks.time_s) > 3000 * 35
    assert len(mask.looks.time_s) <= satellites * (3600.0 / WINDOW_S + 1)


def test_after_the_stay_that_was_foretold_most_answers_are_useful(capsys):
    azimuth, elevation = (part.ravel() for part in np.meshgrid(np.arange(0.0, 360.0, 30.0), [20.0, 40.0, 60.0]))
    foretold, came = 0, 0
    for scene, seed in (("open", 0), ("wall", 1), ("blocks", 2)):
        looks = made_sky(scene, 5.0, seed, 15.0).looks
        system = np.zeros(int(looks.satellite.max()) + 1, dtype=int)
        system[looks.satellite] = looks.group
        names = tuple(Satellite(("gps", "glonass", "galileo", "beidou")[one], 11) for one in system)
        stays = stays_s(fit_mask(looks), walking_prior(), names, Place(45.0, 10.0, 0.0), azimuth, elevation)
        for stay in sorted({stay for stay in stays if stay and stay <= 7200.0}):
            at = [number for number, one in enumerate(stays) if one == stay]
            later = fit_mask(made_sky(scene, 5.0 + stay / 60.0, seed, 15.0).looks)
            found = later.chances(azimuth[at], elevation[at])
            foretold += len(at)
            came += int(((found.high - found.low <= USEFUL_WIDTH) & later.speaks(found, azimuth[at])).sum())
    with capsys.disabled():
        print(
            f"\nstays foretold after 5 min: {came} of {foretold} directions have a useful answer when they are over"
        )
    assert foretold > 30
    assert came >= 0.5 * foretold


def test_the_same_looks_in_another_order_give_the_same_mask():
    sky = made_sky("blocks", 20.0, 4)
    one = fit_mask(sky.looks)
    other = fit_mask(sky.looks.where(np.random.default_rng(1).permutation(len(sky.looks))))
    assert other.edge.edge_deg == pytest.approx(one.edge.edge_deg, abs=1e-6)
    assert other.settings == one.settings
