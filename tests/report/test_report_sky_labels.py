"""In the figure of the sky words keep off marks and off each other, on a telephone and on a wide page."""

import dataclasses

import pytest

from satdiag.findings import SatelliteSky
from satdiag.report import report_html
from satdiag.report.sky_words import Words, sides_of, words_box
from tests.report import made

# Directions of satellites: far apart, close together, near the rim, near the zenith, one above the other.
SKIES = {
    "far": ((154.2, 38.9), (217.6, 35.1)),
    "close": ((170.0, 45.0), (190.0, 44.0)),
    "rim": ((90.0, 6.0), (180.0, 5.0), (270.0, 7.0)),
    "zenith": ((10.0, 86.0), (200.0, 40.0)),
    "above": ((180.0, 30.0), (180.0, 55.0)),
    "four": ((110.0, 40.0), (150.0, 50.0), (200.0, 45.0), (250.0, 35.0)),
    "hidden": ((128.8, 31.9), (168.4, 46.0), (243.0, 24.0)),
}
BOXES = """
() => {
  const box = node => { const b = node.getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom]; };
  const seen = node => getComputedStyle(node).opacity !== '0' && node.getBoundingClientRect().width > 0;
  return [...document.querySelectorAll('#sky .drawing')].map(plot => ({
    words: [...plot.querySelectorAll('.textpoint text')].map(box),
    marks: [...plot.querySelectorAll('.scatterlayer path.point')].filter(seen).map(box),
    plot: box(plot),
  }));
}
"""


def _site(name, directions):
    chances = (0.97, 0.46, 0.08, 0.3)
    satellites = tuple(
        SatelliteSky(f"sat-{number}", azimuth, elevation, 38000.0, chance, (0.0, 1.0), "horizon")
        for number, ((azimuth, elevation), chance) in enumerate(zip(directions, chances, strict=False))
    )
    return dataclasses.replace(made.full_findings().sky.sites[0], name=name, satellites=satellites)


def _gap(one, other):
    """How far two boxes are apart, px; below 0 they lie over each other."""
    return max(one[0] - other[2], other[0] - one[2], one[1] - other[3], other[1] - one[3])


@pytest.mark.parametrize("width", [390, pytest.param(1280, marks=pytest.mark.long)])
def test_words_touch_no_mark_and_no_other_words(seen, width):
    whole = made.full_findings()
    sites = tuple(_site(name, directions) for name, directions in SKIES.items())
    sky = dataclasses.replace(whole.sky, sites=sites)
    page, complaints = seen(report_html(made.full_job(), dataclasses.replace(whole, sky=sky)), width)
    assert complaints == []
    for (name, directions), found in zip(SKIES.items(), page.evaluate(BOXES), strict=True):
        assert len(found["words"]) == len(found["marks"]) == len(directions), name
        for number, words in enumerate(found["words"]):
            assert min(_gap(words, mark) for mark in found["marks"]) >= 2.0, (name, number)
            assert all(_gap(words, other) >= 0.0 for other in found["words"][:number]), (name, number)
            assert found["plot"][0] <= words[0] < words[2] <= found["plot"][2], (name, number)


def test_many_satellites_get_a_side_each():
    words = [Words((15.0 * number, 10.0), f"sat-{number}", "50 % clear") for number in range(-2, 3)]
    sides = sides_of(words, [])
    assert len(sides) == len(words)
    boxes = [words_box(one, side) for one, side in zip(words, sides, strict=True)]
    assert all(
        not (box.left < at < box.right and box.low < 10.0 < box.high) for box in boxes for at, _ in [words[2].at]
    )
