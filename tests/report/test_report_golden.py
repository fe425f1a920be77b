"""The reports of four samples say and draw what they did; `python scripts/golden.py` renews that and shows changes.

The samples are simulated: this holds the report still, and proves nothing of a vehicle.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from tests.report.outline import outline_of

_PLACE = Path(__file__).parents[2] / "scripts" / "golden.py"
_SPEC = importlib.util.spec_from_file_location("golden_script", _PLACE)
SCRIPT = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(SCRIPT)


@pytest.mark.parametrize("sample", SCRIPT.SAMPLES)
def test_the_report_says_what_it_did(sample):
    changed = SCRIPT.difference(sample, SCRIPT.outline(sample))
    assert not changed, "\n".join([*changed[:60], "If that is meant: python scripts/golden.py"])


def test_an_outline_is_small_and_names_the_parts_of_a_report():
    for sample in SCRIPT.SAMPLES:
        lines = SCRIPT.kept(sample)
        assert sum(map(len, lines)) < 40_000
        assert {line.split(":")[0] for line in lines if not line.startswith((" ", "drawing"))} >= {"h1", "p", "table"}
        assert any(line.startswith("drawing timeline-1: scatter") for line in lines)


def test_a_changed_cell_is_seen():
    page = "<h1>A</h1><table><caption>c</caption><tr><th>h</th></tr><tr><td>{}</td></tr></table>"
    assert outline_of(page.format(1)) == ["h1: A", "table: c", "  h", "  1"]
    assert outline_of(page.format(2)) != outline_of(page.format(1))
