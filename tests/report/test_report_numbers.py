"""Numbers rounded to what they are worth."""

from __future__ import annotations

import pytest

from satdiag.findings import Quantiles
from satdiag.report import numbers


def _plain(text: str) -> str:
    return text.replace("\u202f", " ").replace("\u00a0", " ").replace("\u2212", "-")


@pytest.mark.parametrize(
    ("share", "interval", "text"),
    [
        (None, None, "not known"),
        (0.0, None, "0 %"),
        (0.004, None, "under 1 %"),
        (0.97, None, "97 %"),
        (0.996, None, "over 99 %"),
        (1.0, None, "100 %"),
        (0.712, (0.64, 0.78), "71 % (64 to 78 %)"),
        (0.996, (0.98, 0.999), "over 99 % (98 to over 99 %)"),
        (0.998, (0.996, 0.999), "over 99 %"),
        (0.002, (0.001, 0.004), "under 1 %"),
    ],
)
def test_percent(share, interval, text):
    assert _plain(numbers.percent(share, interval)) == text


@pytest.mark.parametrize(
    ("value", "interval", "text"),
    [
        (None, None, "not known"),
        (5.02, None, "5.02 V"),
        (0.0, None, "0 V"),
        (41.737, None, "41.7 V"),
        (0.93, (0.21, 1.58), "0.9 V (0.2 to 1.6)"),
        (-0.04, (-0.7, 0.6), "0.0 V (-0.7 to 0.6)"),
        (312.0, (60.0, 900.0), "300 V (60 to 900)"),
        (5.0, (5.0, 5.0), "5 V (5 to 5)"),
    ],
)
def test_quantity(value, interval, text):
    assert _plain(numbers.quantity(value, "V", interval)) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (None, "not known"),
        (0.0, "0 s"),
        (4.04, "4.0 s"),
        (40.0, "40 s"),
        (900.0, "15 min"),
        (9000.0, "2.5 h"),
        (260000.0, "3.0 days"),
    ],
)
def test_duration(seconds, text):
    assert _plain(numbers.duration(seconds)) == text


def test_a_wait_is_in_minutes_with_its_range():
    assert _plain(numbers.wait_minutes(Quantiles(900, 400, 2100))) == "15 min (7 to 35)"
    assert _plain(numbers.wait_minutes(Quantiles(40, 10, 90))) == "1 min (under 1 to 2)"
    assert _plain(numbers.wait_minutes(Quantiles(180, 0, 13800))) == "3 min (0 to 230)"
    assert numbers.wait_minutes(None) == "not known"


def test_an_open_end_of_a_delay_is_said():
    assert _plain(numbers.seconds(3.0, (2.4, None))) == "3.0 s (2.4 to not known)"


@pytest.mark.parametrize(("weight_db", "text"), [(21.3, "+21"), (-3.24, "-3.2"), (0.0, "0.0"), (-0.01, "0.0")])
def test_decibans(weight_db, text):
    assert _plain(numbers.decibans(weight_db)) == text


@pytest.mark.parametrize(("p", "said"), [(0.0, "under 1 %"), (0.004, "under 1 %"), (0.3, "30 %"), (1.0, "over 99 %")])
def test_a_chance_is_never_nought_or_certain(p, said):
    assert _plain(numbers.chance(p)) == said
