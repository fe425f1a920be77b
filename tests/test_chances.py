"""Chances by special functions, beside scipy.stats; and that an analysis does without what is dear to import."""

import subprocess
import sys

import numpy as np
import pytest
from scipy import stats

from satdiag.chances import at_least, most_hits, normal_density


@pytest.mark.parametrize("chance", [0.001, 0.02, 0.3, 0.97])
def test_hits_in_tries(chance):
    for tries in (0, 1, 2, 9, 40, 333):
        for least in (-1, 0, 1, 2, tries // 2, tries, tries + 1):
            wanted = stats.binom.sf(least - 1, tries, chance)
            assert at_least(least, tries, chance) == pytest.approx(wanted, rel=1e-12, abs=1e-300)
        assert most_hits(0.95, tries, chance) == stats.binom.ppf(0.95, tries, chance)


def test_normal_density():
    random = np.random.default_rng(1)
    for law in random.uniform(0.1, 9.0, (200, 3)):
        assert normal_density(*law) == pytest.approx(stats.norm.pdf(*law), rel=1e-14)


def test_an_analysis_is_there_without_what_is_dear_to_import():
    code = "import sys, satdiag, satdiag.analysis; print(*list(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    there = {name for name in done.stdout.split() if name.count(".") == 1}
    assert "pandas.core" in there
    assert not there & {"scipy.stats", "scipy.signal", "scipy.optimize", "scipy.interpolate", "scipy.ndimage"}
    assert not {name for name in there if name.startswith(("plotly.", "jinja2.", "rich.", "sqlite3.", "starlette."))}
