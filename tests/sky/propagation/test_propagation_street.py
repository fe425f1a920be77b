"""Streets and two satellites: masks, blockage, edges and correlation against published values and by counting."""

import numpy as np
import pytest
from scipy.integrate import quad

from satdiag.sky.propagation import diversity, street
from satdiag.sky.propagation.standing import OutsideDomain
from satdiag.sky.propagation.street import Street
from tests.references import propagation as reference

GHZ = 2.3325
SQUARE = Street(azimuth_deg=0.0, height_m=20.0, width_m=20.0)


def test_canyon_masks():
    for (height, width), rows in reference.CANYON.items():
        angle, mask = zip(*rows, strict=True)
        assert street.canyon_mask_deg(angle, height, width) == pytest.approx(mask, abs=1e-3)
        assert street.mask_deg(Street(0.0, height, width), angle) == pytest.approx(mask, abs=1e-3)


def test_open_share_by_formula_and_by_counting():
    azimuth = np.arange(0.0, 360.0, 0.05) + 0.025
    canyon = street.mask_deg(SQUARE, azimuth)
    crossing = street.mask_deg(Street(0.0, 20.0, 20.0, "crossing"), np.arange(0.0, 360.0, 0.5))
    for elevation, share, crossed in reference.OPEN_SHARE:
        assert float(street.open_share(elevation, 20.0, 20.0)) == pytest.approx(share, abs=1e-4)
        assert (canyon < elevation).mean() == pytest.approx(share, abs=1e-3)
        assert (crossing < elevation).mean() == pytest.approx(crossed, abs=5e-3)


def test_walls_and_junctions_have_an_open_side():
    north = {"azimuth_deg": 0.0, "height_m": 20.0, "width_m": 20.0}
    canyon, wall, junction, crossing = (
        street.mask_deg(Street(**north, shape=shape), np.array([90.0, 60.0, 30.0, 270.0, 0.0]))
        for shape in ("canyon", "wall", "junction", "crossing")
    )
    assert wall[:3] == pytest.approx(canyon[:3])
    assert wall[3] == 0.0
    assert junction[3] == pytest.approx(canyon[3])  # buildings on the left
    assert junction[0] == pytest.approx(0.0, abs=1e-6)  # the mouth of the side street on the right
    assert crossing[[0, 3]] == pytest.approx(0.0, abs=1e-6)
    # By the Recommendation's rule: past the corner the angle is counted from the other street.
    assert crossing[1] == pytest.approx(street.canyon_mask_deg(30.0, 20.0, 20.0))
    assert crossing[2] == pytest.approx(canyon[2])
    assert canyon[4] == 0.0
    turned = street.mask_deg(Street(azimuth_deg=100.0, height_m=20.0, width_m=20.0), 190.0)
    assert float(turned) == pytest.approx(canyon[0])


def _blockage(elevation, angle, clearance):
    return street.blockage_percent(
        elevation, angle, GHZ, modal_height_m=15.0, antenna_height_m=1.5, front_m=17.5, clearance=clearance
    )


def test_blockage_by_roadside_buildings():
    for rows, clearance in ((reference.BLOCKAGE_LINE_OF_SIGHT, 0.0), (reference.BLOCKAGE_CLEAR, 0.7)):
        for elevation, aslant, across in rows:
            assert _blockage(elevation, [45.0, 90.0], clearance) == pytest.approx([aslant, across], abs=1e-3)
    for elevation, aslant, across in reference.BLOCKAGE_OTHER:
        assert _blockage(elevation, [45.0, 90.0], 0.7) == pytest.approx([aslant, across], abs=2.0)


def test_blockage_by_drawing_buildings():
    heights = np.random.default_rng(15).rayleigh(15.0, 400_000)
    for elevation, angle in ((30.0, 90.0), (45.0, 45.0)):
        ray = 1.5 + 17.5 * np.tan(np.radians(elevation)) / np.sin(np.radians(angle))
        assert 100.0 * (heights > ray).mean() == pytest.approx(float(_blockage(elevation, angle, 0.0)), abs=0.3)


def test_half_plane():
    # 6.02 dB at the edge: any textbook. Elsewhere the Fresnel integral done by quadrature, and the usual
    # approximation 6.9 + 20 log10(sqrt((v - 0.1)^2 + 1) + v - 0.1) of ITU-R P.526 (from memory), good to
    # 0.1 dB or so.
    assert float(street.half_plane_loss_db(0.0)) == pytest.approx(6.0206, abs=1e-4)
    for v in (-0.7, 0.4, 1.0, 2.4):
        # The integral from v to infinity is that from 0 to infinity, (1 + j) / 2, less that from 0 to v.
        real = 0.5 - quad(lambda s: np.cos(np.pi * s * s / 2.0), 0.0, v)[0]
        imaginary = 0.5 - quad(lambda s: np.sin(np.pi * s * s / 2.0), 0.0, v)[0]
        exact = -10.0 * np.log10((real**2 + imaginary**2) / 2.0)
        assert float(street.half_plane_loss_db(v)) == pytest.approx(exact, abs=1e-6)
        near = 6.9 + 20.0 * np.log10(np.sqrt((v - 0.1) ** 2 + 1.0) + v - 0.1)
        assert exact == pytest.approx(near, abs=0.15)


def test_loss_over_an_edge():
    top = float(street.mask_deg(SQUARE, 90.0))
    assert float(street.edge_loss_db(SQUARE, 90.0, top, GHZ)) == pytest.approx(6.02, abs=0.01)
    falling = street.edge_loss_db(SQUARE, 90.0, [20.0, 40.0, 55.0, top], GHZ)
    assert (np.diff(falling) < 0).all()
    assert abs(float(street.edge_loss_db(SQUARE, 90.0, 85.0, GHZ))) < 1.5
    assert float(street.edge_loss_db(SQUARE, 0.0, 5.0, GHZ)) == 0.0
    assert float(street.edge_loss_db(Street(0.0, 20.0, 20.0, "wall"), 270.0, 5.0, GHZ)) == 0.0


def test_streets_that_cannot_be():
    for call in (
        lambda: Street(0.0, -1.0, 20.0),
        lambda: Street(0.0, 20.0, 0.0),
        lambda: _blockage(0.0, 90.0, 0.7),
        lambda: _blockage(30.0, 0.0, 0.7),
        lambda: street.open_share(95.0, 20.0, 20.0),
        lambda: diversity.joint_outage(1.2, 0.5),
        lambda: diversity.street_correlation(30.0, 45.0, 10.0, 20.0, 20.0, length_m=100.0),
    ):
        with pytest.raises(OutsideDomain):
            call()


# --- two satellites ----------------------------------------------------------------------------------------------


def test_joint_outage():
    for first, second, correlation, both in reference.JOINT:
        assert float(diversity.joint_outage(first, second, correlation)) == pytest.approx(both, abs=1e-5)
    low, high = diversity.correlation_range(0.3, 0.2)
    assert (float(low), float(high)) == pytest.approx((-0.3273, 0.7638), abs=1e-4)
    # Beyond what two outages can have in common, the bound stands.
    assert float(diversity.joint_outage(0.3, 0.2, 1.0)) == pytest.approx(0.2)
    assert float(diversity.joint_outage(0.9, 0.8, -1.0)) == pytest.approx(0.7)
    assert diversity.joint_outage([0.0, 1.0, 0.4], 0.4, 0.5) == pytest.approx([0.0, 0.4, 0.28])


def test_joint_outage_by_drawing():
    """Two correlated yes-or-no series made of a mixture: the same with probability w, independent otherwise."""
    random = np.random.default_rng(9)
    share, same = 0.3, 0.5
    first, second = random.random(400_000) < share, random.random(400_000) < share
    second = np.where(random.random(400_000) < same, first, second)
    expected = float(diversity.joint_outage(share, share, same))
    assert (first & second).mean() == pytest.approx(expected, abs=3e-3)
    assert np.corrcoef(first, second)[0, 1] == pytest.approx(same, abs=0.01)


@pytest.mark.parametrize("pair", reference.STREET_CORRELATION)
def test_correlation_in_a_street(pair):
    found = [diversity.street_correlation(*pair, turn, 20.0, 20.0) for turn in reference.STREET_TURN_DEG]
    assert found == pytest.approx(reference.STREET_CORRELATION[pair], abs=1e-4)
    swapped = [
        diversity.street_correlation(*pair[::-1], 360.0 - turn, 20.0, 20.0) for turn in reference.STREET_TURN_DEG
    ]
    assert swapped == pytest.approx(found)


def _counted(elevations, turn_deg):
    """Both satellites seen from every direction of the street, 0.02 deg apart: plain shadows, an endless street."""
    azimuth = np.arange(0.0, 360.0, 0.02) + 0.01
    first, second = (
        street.canyon_mask_deg(azimuth + shift, 20.0, 20.0) >= elevation
        for elevation, shift in zip(elevations, (0.0, turn_deg), strict=True)
    )
    return first, second


def test_correlation_and_joint_outage_by_counting_directions():
    for elevations in ((30.0, 45.0), (25.0, 60.0), (35.0, 40.0)):
        for turn in (0.0, 15.0, 30.0, 50.0, 80.0):
            first, second = _counted(elevations, turn)
            rho = diversity.street_correlation(*elevations, turn, 20.0, 20.0)
            assert rho == pytest.approx(np.corrcoef(first, second)[0, 1], abs=0.03)
            both = diversity.joint_outage(first.mean(), second.mean(), rho)
            assert float(both) == pytest.approx((first & second).mean(), abs=0.01)


def test_where_the_street_hides_nothing():
    assert diversity.street_correlation(70.0, 80.0, 40.0, 20.0, 20.0) == 1.0
    assert -1.0 <= diversity.street_correlation(30.0, 80.0, 40.0, 20.0, 20.0) <= 1.0


def test_bounds_of_any_path():
    assert diversity.any_share_range([0.7, 0.6]) == pytest.approx((0.7, 0.88))
    low, high = diversity.any_share_in_streets([0.7, 0.6], [38.0, 35.0], [150.0, 217.0], (45.0, 60.0, 75.0))
    # Equal fate is the least that can be; 67 deg apart a canyon hides them in turn: better than by chance.
    assert low == pytest.approx(0.7)
    assert 0.88 < high <= 1.0
    # A canyon that hides the lower one alone counts too.
    lower_only = diversity.any_share_in_streets([0.79, 0.53], [60.0, 29.0], [173.0, 231.0], (45.0,))
    rho = diversity.street_correlation(60.0, 29.0, 58.0, 0.5, 1.0)
    assert lower_only == pytest.approx((0.79, max(0.9013, 1.0 - float(diversity.joint_outage(0.21, 0.47, rho)))))
    # Streets too low to hide either say nothing: the plain bounds stand.
    assert diversity.any_share_in_streets([0.7, 0.6], [38.0, 35.0], [150.0, 217.0], (30.0,)) == (
        diversity.any_share_range([0.7, 0.6])
    )
    three = diversity.any_share_in_streets([0.7, 0.6, 0.5], [38.0, 35.0, 30.0], [150.0, 217.0, 180.0], (60.0,))
    assert three[0] == pytest.approx(0.7)
    assert three[1] >= diversity.any_share_range([0.7, 0.6, 0.5])[1]
