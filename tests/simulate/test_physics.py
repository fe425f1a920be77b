"""The physical parts of the made-up world against published formulae and worked values."""

from __future__ import annotations

import ast
import math
from pathlib import Path
from random import Random

import pytest

import satdiag.simulate
from satdiag.simulate.fading import PathFade, block_loss, share_word, step_together
from satdiag.simulate.feed import BiasLoad, BiasSource, solve
from satdiag.simulate.geometry import Satellite, free_space_loss_db, knife_edge_loss_db, look
from satdiag.simulate.places import Passing, Wall
from satdiag.simulate.radio import Antenna, Chain, FrontEnd, Lead, noise_k, receiver_noise_db, system_k
from satdiag.simulate.readout import SCALES, number
from satdiag.simulate.ring import Ring
from satdiag.simulate.service import Carousel, Provider
from satdiag.simulate.supply import Supply


@pytest.mark.parametrize(
    ("site", "azimuth", "elevation", "range_km"),
    [  # skyfield 1.55 and pymap3d 3.2.0 on WGS 84, geostationary radius 42164.2 km, satellite at 100 W
        ((40.0, -75.0), 215.9822, 37.0596, 38005.933),
        ((47.6, -122.3), 150.9347, 31.1911, 38499.118),
        ((25.8, -80.2), 219.6248, 52.6484, 36912.656),
        ((64.8, -147.7), 129.4476, 8.0637, 40788.800),
    ],
)
def test_look_angles(site, azimuth, elevation, range_km):
    seen = look(*site, Satellite("x", -100.0, 66.0, 2332.5))
    assert seen.azimuth_deg == pytest.approx(
        azimuth, abs=0.06
    )  # a sphere: 0.03 deg in elevation, a little more in azimuth
    assert seen.elevation_deg == pytest.approx(elevation, abs=0.04)
    assert seen.range_km == pytest.approx(range_km, abs=15.0)


def test_free_space_loss():
    """ITU-R P.525: 191.3999 dB at 2332.5 MHz and 38 000 km."""
    assert free_space_loss_db(38000.0, 2332.5) == pytest.approx(191.3999, abs=0.001)


def test_knife_edge():
    """ITU-R P.526: 6.0 dB with the ray on the edge (v = 0), none well above it."""
    assert knife_edge_loss_db(0.0, 25.0, 2322.0) == pytest.approx(6.03, abs=0.05)
    assert knife_edge_loss_db(-5.0, 25.0, 2322.0) == 0.0
    assert knife_edge_loss_db(10.0, 25.0, 2322.0) > knife_edge_loss_db(2.0, 25.0, 2322.0) > 6.1


@pytest.mark.parametrize(
    ("noise_figure_db", "kelvin"), [(0.5, 35.39), (0.8, 58.66), (1.0, 75.09), (2.0, 169.62), (6.0, 864.51)]
)
def test_noise_temperature(noise_figure_db, kelvin):
    """T = 290 (10^(NF/10) - 1)."""
    assert noise_k(noise_figure_db) == pytest.approx(kelvin, abs=0.01)


@pytest.mark.parametrize(("loss_db", "kelvin"), [(3, 161.85), (6, 165.48), (10, 176.49), (16, 231.04), (26, 886.64)])
def test_cascade(loss_db, kelvin):
    """Friis by hand: sky 100 K, amplifier 0.8 dB / 28 dB, cable at 290 K, receiver 6 dB."""
    chain = Chain(Antenna(amplifier_gain_db=28.0, amplifier_noise_db=0.8), Lead(loss_db=loss_db), FrontEnd(6.0), True)
    assert system_k(chain, 100.0) == pytest.approx(kelvin, abs=0.05)


def test_noise_rise():
    """13.56 dB with the amplifier on against off: sky 100 K, 28 dB, 6 dB of cable, receiver 6 dB (Friis by hand)."""
    parts = (Antenna(amplifier_gain_db=28.0, amplifier_noise_db=0.8), Lead(loss_db=6.0), FrontEnd(6.0))
    rise = receiver_noise_db(Chain(*parts, True), 100.0, 0.0) - receiver_noise_db(Chain(*parts, False), 100.0, 0.0)
    assert rise == pytest.approx(13.56, abs=0.05)


def test_bias_circuit():
    """Ohm's law: 5 V behind 10 ohm gives 4.65 V at 35 mA; an open stays under 5 mA; a short sits at the limit."""
    source = BiasSource(5.0, 10.0, 150.0)
    assert solve(source, BiasLoad(amplifier_ma=35.0)).volts == pytest.approx(4.65)
    assert solve(source, BiasLoad(amplifier_ma=35.0)).amplifier_on
    assert solve(source, BiasLoad(kind="open")).milliamps < 5.0
    short = solve(source, BiasLoad(kind="short"))
    assert short.milliamps == pytest.approx(150.0)
    assert short.volts < 1.0
    assert not short.amplifier_on
    assert solve(source.dead(), BiasLoad()).milliamps == 0.0


def test_ring_positions_in_a_break():
    """The dark node counts 0, the next one 1, and so on round the ring."""
    ring = Ring(order=list("HAPTC"), expected=list("HAPTC"), broken_at="C")
    assert ring.positions() == {"C": 0, "H": 1, "A": 2, "P": 3, "T": 4}
    assert not ring.closed
    assert not ring.answers("A")


def test_carousel_without_loss_is_done_in_one_turn():
    """With no loss each message comes once in a period: the arrival is uniform over it (mean near half)."""
    provider = Provider(blocks_per_message=1, block_loss_floor=0.0, fast_period_s=300.0, channels_per_group=(1, 1))
    times = []
    for seed in range(40):
        carousel = Carousel(provider, list(range(20)), 0.0, Random(seed))
        times += [at_s for at_s, _ in carousel.pop_due(300.0)]
    assert len(times) == 800
    assert sum(times) / len(times) == pytest.approx(150.0, abs=6.0)


def test_carousel_loss_is_all_blocks():
    """A message of ten blocks at 10 % loss comes through with probability 0.9^10 = 0.3487."""
    carousel = Carousel(Provider(blocks_per_message=10, block_loss_floor=0.0), [1], 0.0, Random(1))
    rng = Random(2)
    share = sum(carousel.heard(0.1, rng) for _ in range(20000)) / 20000
    assert share == pytest.approx(0.9**10, abs=0.012)


def test_fade_share_follows_rate_and_dwell():
    """One path alone: share of time in events is rate x dwell / (1 + rate x dwell).

    Whole seconds lengthen an exponential dwell of mean d to 1 + d' where d' counts its overrun: on average d + 0.5.
    """
    passing = Passing(per_minute=6.0, dwell_s=6.0, deep_share=0.5, together=0.0)
    fade, rng, busy = PathFade(), Random(3), 0
    for _ in range(40000):
        step_together([fade], passing, rng)
        busy += fade.event_db > 0.0
    assert busy / 40000 == pytest.approx(0.65 / 1.65, abs=0.04)


def test_words_and_cliff():
    assert [share_word(loss) for loss in (2.9, 3.0, 14.9, 15.0)] == ["clear", "shadowed", "shadowed", "blocked"]
    assert block_loss(4.4) == pytest.approx(0.5)
    assert block_loss(7.0) < 0.002
    assert block_loss(2.0) > 0.99


def test_wall_across_north_and_its_edge():
    wall = Wall(340.0, 20.0, 10.0, 10.0, "")
    assert wall.covers(0.0)
    assert wall.covers(350.0)
    assert not wall.covers(180.0)
    assert wall.elevation_deg == pytest.approx(45.0)


def test_supply_remembers_its_lowest():
    supply, rng = Supply(source="battery", rest_v=12.5), Random(4)
    dip = supply.crank(rng)
    assert 7.0 < dip < 10.0
    assert supply.read_minimum(14.1, rng) <= dip
    assert supply.read_minimum(14.1, rng) > 13.5


def test_scales_rise_with_level():
    for scale in SCALES:
        low, high = (float(scale.read(cn, True, Random(5))) for cn in (5.0, 15.0))
        assert low < high
        assert float(scale.read(-math.inf, False, Random(5))) == (scale.floor or 0.0)
    assert number(-0.04, 0.1) == "0.0"
    assert number(12.26, 0.5) == "12.5"
    assert number(3.0, 1.0) == "3"


def test_simulate_stands_alone():
    """No import from satdiag outside this room, and nothing but the standard library."""
    folder = Path(satdiag.simulate.__file__).parent
    for path in folder.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                assert not name.startswith("satdiag") or name.startswith("satdiag.simulate"), (path.name, name)
                assert name.split(".")[0] not in ("numpy", "pandas", "scipy"), (path.name, name)
        assert len(path.read_text("utf-8").splitlines()) < 400, path.name
