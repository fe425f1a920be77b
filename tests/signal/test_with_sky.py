"""What was received beside what the sky allows: small jobs with an answer by construction."""

import numpy as np
import pytest

from satdiag.findings import SatelliteSky, SiteSky, SkyFindings
from satdiag.signal.estimate import estimate_signal
from satdiag.signal.with_sky import _drawn
from tests.helpers import make_job

SHEET = "[[site]]\nname = 'yard'\nlatitude_deg = 41.2\nlongitude_deg = -96.1\n"


def sky(p_clear, interval, from_="horizon", site="yard"):
    east = SatelliteSky("east", 150.0, 40.0, 38_000.0, p_clear, interval, from_)
    return SkyFindings((SiteSky(site, (east,), None, None),))


def locks(share, count=180, each_s=10):
    """Locks every ten seconds, `share` of them no, in stretches of a minute."""
    random = np.random.default_rng(4)
    lost = np.repeat(random.permutation(np.arange(count // 6) < share * count / 6), 6)
    times = np.arange(count) * each_s
    return "\n".join(
        f"{t // 3600}:{t // 60 % 60:02d}:{t % 60:02d} lock satellite:east {'no' if one else 'yes'}"
        for t, one in zip(times, lost, strict=True)
    )


def agreement(share, allowed):
    found = estimate_signal(make_job(locks(share), SHEET), allowed)
    assert len(found.sky_agreement) == 1
    return found.sky_agreement[0]


def test_blocked_under_a_clear_skyline_is_no_matter_of_the_sky():
    found = agreement(0.8, sky(0.97, (0.93, 0.99)))
    assert found.state == "more-blocked"
    assert found.blocked_share == pytest.approx(0.8, abs=0.01)
    # a way that is clear or not for the whole stay: hidden in 3 cases of 100
    assert found.chance_by_sky == pytest.approx(0.03, abs=0.02)
    assert "antenna" in found.text
    assert found.text.startswith("the satellite 'east' at yard: not received")


def test_received_through_a_skyline_that_hides_it():
    found = agreement(0.0, sky(0.03, (0.005, 0.08)))
    assert found.state == "less-blocked"
    assert found.chance_by_sky < 0.06
    assert "skyline" in found.text


@pytest.mark.parametrize(
    ("share", "p_clear", "interval"),
    [
        (0.1, 0.97, (0.93, 0.99)),  # some drop-outs under a clear sky: not far
        (1.0, 0.5, (0.2, 0.8)),  # one obstacle, there or not: either is as likely
        (0.0, 0.5, (0.2, 0.8)),
        (0.5, 0.5, (0.3, 0.7)),
        (1.0, 0.02, (0.0, 0.05)),
    ],
)
def test_what_the_sky_may_well_do_is_not_called_odd(share, p_clear, interval):
    found = agreement(share, sky(p_clear, interval))
    assert found.state == ("agrees" if abs(share - 1.0 + p_clear) <= 0.2 else "undecided")
    assert found.text.endswith("the two agree" if found.state == "agrees" else "too often to rule it out")


def test_only_time_at_the_site_counts():
    sheet = SHEET + "[[site]]\nname = 'road'\nlatitude_deg = 41.3\nlongitude_deg = -96.1\n"
    rows = locks(0.0, 60) + "\n0:10:01 site vehicle road\n"
    rows += "\n".join(f"0:{10 + t // 60}:{t % 60:02d} lock satellite:east no" for t in range(5, 600, 10))
    found = estimate_signal(make_job(rows, sheet), sky(0.97, (0.93, 0.99)))
    assert [(one.site, one.state) for one in found.sky_agreement] == [("yard", "agrees")]
    found = estimate_signal(make_job(rows, sheet), sky(0.97, (0.93, 0.99), site="road"))
    assert [(one.site, one.state) for one in found.sky_agreement] == [("road", "more-blocked")]


def test_nothing_is_compared_with_nothing():
    rows = make_job(locks(0.5), SHEET)
    assert estimate_signal(rows).sky_agreement == ()
    assert estimate_signal(rows, sky(None, None, "none")).sky_agreement == ()
    short = "0:00 lock satellite:east yes\n0:20 lock satellite:east yes"
    assert estimate_signal(make_job(short, SHEET), sky(0.9, (0.8, 1.0))).sky_agreement == ()


def test_drawn_chances_keep_their_interval():
    drawn = _drawn(0.8, (0.6, 0.92), 20_000)
    assert np.quantile(drawn, [0.05, 0.5, 0.95]) == pytest.approx([0.6, 0.8, 0.92], abs=0.03)


def below_horizon(elevation_deg=-24.0):
    east = SatelliteSky("east", 150.0, elevation_deg, 42_000.0, 0.0, (0.0, 0.0), "none")
    return SkyFindings((SiteSky("yard", (east,), None, None),))


def test_received_from_below_the_horizon_is_said():
    found = agreement(0.0, below_horizon())
    assert found.state == "less-blocked"
    assert "24.0 degrees below the horizon" in found.text
    assert "received 100 %" in found.text
    assert "right satellite" in found.text
    silent = agreement(1.0, below_horizon())
    assert silent.state == "agrees"
    assert silent.text.endswith("the two agree")


def test_two_in_a_hundred_beside_all_of_ten_minutes():
    """A skyline all round that leaves 2 % (2 to 2 %), and ten minutes without one loss."""
    job = make_job(locks(0.0, 60), SHEET)
    (found,) = estimate_signal(job, sky(0.02, (0.02, 0.0202))).sky_agreement
    assert (found.state, found.blocked_share) == ("less-blocked", 0.0)
    assert found.chance_by_sky == pytest.approx(0.02, abs=0.01)
