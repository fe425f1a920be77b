"""Cable loss by class, and the usual forms of a reflection, against published figures."""

import pytest

from satdiag.errors import SatdiagError
from satdiag.lead_keys import CABLES
from satdiag.wiring.feedline.cable import (
    CLASSES,
    SDARS_MHZ,
    Fit,
    cable_class,
    cable_loss,
    loss_db_per_m,
    one_port_loss_db,
)
from satdiag.wiring.feedline.reflection import (
    gamma_of_return_loss,
    gamma_of_vswr,
    mismatch_loss_db,
    return_loss_db,
    vswr,
)
from tests.references.rf_lines import LOSSES, RETURN_LOSS_VSWR, STANDING_WAVES
from tests.wiring.lines import line_of, sweep_of


@pytest.mark.parametrize(("name", "fit"), LOSSES)
def test_each_published_fit(name, fit):
    at_1000, at_2332, over_5_m = LOSSES[name, fit]
    found = CLASSES[name].fits[fit]
    assert found.db_per_m(1000.0) == pytest.approx(at_1000, abs=6e-4)
    assert found.db_per_m(SDARS_MHZ) == pytest.approx(at_2332, abs=6e-4)
    assert 5 * found.db_per_m(SDARS_MHZ) == pytest.approx(over_5_m, abs=6e-3)


def test_every_class_of_the_sheet_is_known_and_no_other():
    assert tuple(CLASSES) == CABLES
    with pytest.raises(SatdiagError, match="Known: rg-174"):
        cable_class("rg-9")


def test_a_class_is_a_range_not_a_figure():
    # RG-174: 1.20 to 1.90 dB/m among three published cables, the middle one 1.60.
    assert loss_db_per_m("rg-174", SDARS_MHZ) == pytest.approx((1.198, 1.604, 1.898), abs=6e-4)
    low, middle, high = loss_db_per_m("240-type", SDARS_MHZ)  # one published fit: 10 % either way is our judgement
    assert (low, high) == pytest.approx((0.9 * middle, 1.1 * middle))
    low, _, high = loss_db_per_m(None, SDARS_MHZ)
    assert low == pytest.approx(0.9 * 0.414, abs=1e-3)
    assert high == pytest.approx(1.898, abs=1e-3)


def test_the_square_root_law_alone_understates_a_lossy_dielectric():
    # Scaled from 1 GHz by sqrt(2.3325): 1.668 against 1.898 dB/m.
    fit = CLASSES["rg-174"].fits[0]
    assert fit.db_per_m(1000.0) * 2.3325**0.5 == pytest.approx(1.668, abs=1e-3)
    assert fit.db_per_m(SDARS_MHZ) > 1.13 * 1.668


def test_the_band_of_the_service_shows_no_tilt_to_speak_of():
    # Below 0.14 dB in 10 m between 2320 and 2345 MHz, whatever the cable.
    fits = [fit for one in CLASSES.values() for fit in one.fits]
    assert max(10 * (fit.db_per_m(2345.0) - fit.db_per_m(2320.0)) for fit in fits) < 0.14


def test_warmth_acts_on_the_conductor_alone():
    # 0.2 %/K of the copper part, from memory: +20 K is +4 % of it.
    assert Fit(0.02, 0.0).db_per_m(2500.0, 40.0) == pytest.approx(1.04 * Fit(0.02, 0.0).db_per_m(2500.0))
    assert Fit(0.0, 1e-4).db_per_m(2500.0, 40.0) == Fit(0.0, 1e-4).db_per_m(2500.0)


def test_connectors_add_to_the_loss():
    bare, joined = cable_loss("rg-58", 3.0), cable_loss("rg-58", 3.0, connectors=2)
    # 0.1 to 0.2 dB a good pair: common practice, no source.
    added = [after - before for before, after in zip(bare.loss_db, joined.loss_db, strict=True)]
    assert added == pytest.approx([0.2, 0.3, 0.4])


def test_delay_of_a_length():
    # 5.054 ns/m one way at a velocity factor of 0.66.
    assert cable_loss("rg-174", 1.0).delay_ns.middle == pytest.approx(5.054, abs=1e-3)


def test_half_the_return_loss_of_an_open_end_is_the_loss_of_the_lead():
    # 3.2 m of the first RG-174, open, at the measured point nearest 2332.5 MHz: 12.148 dB, half of it 6.074 dB.
    media = line_of("rg-174", 0)
    found = sweep_of(media.line(3.2, "m") ** media.open())
    near = abs(found.frequency_hz - 2332.5e6).argmin()
    measured = return_loss_db(abs(found.s[near]))
    assert measured == pytest.approx(12.148, abs=2e-3)
    assert one_port_loss_db(measured) == pytest.approx(3.2 * CLASSES["rg-174"].fits[0].db_per_m(2333.0), abs=2e-3)


def test_an_open_end_behind_five_metres_looks_fine():
    # The first RG-174: return loss 18.98 dB, VSWR 1.25.
    found = cable_loss("rg-174", 5.0)
    assert found.open_end_return_loss_db.high == pytest.approx(18.98, abs=0.01)
    assert found.open_end_vswr.low == pytest.approx(1.25, abs=0.005)


@pytest.mark.parametrize("ratio", STANDING_WAVES)
def test_forms_of_a_reflection(ratio):
    gamma, loss, mismatch = STANDING_WAVES[ratio]
    assert gamma_of_vswr(ratio) == pytest.approx(gamma, abs=6e-5)
    assert return_loss_db(gamma_of_vswr(ratio)) == pytest.approx(loss, abs=6e-3)
    assert mismatch_loss_db(gamma_of_vswr(ratio)) == pytest.approx(mismatch, abs=6e-4)
    assert vswr(gamma_of_vswr(ratio)) == pytest.approx(ratio)


@pytest.mark.parametrize("loss", RETURN_LOSS_VSWR)
def test_vswr_of_a_return_loss(loss):
    assert vswr(gamma_of_return_loss(loss)) == pytest.approx(RETURN_LOSS_VSWR[loss], abs=6e-4)
    assert vswr(1.0) == float("inf")
