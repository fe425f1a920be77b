"""Renew the outlines that the reports of some samples are compared with, and show what has changed.

    python scripts/golden.py            write tests/report/golden/SAMPLE.json anew, and print the differences
    python scripts/golden.py --look     print the differences only; exit 1 if there are any

Look at every difference before it is committed: the outline is what a customer would read.
"""

from __future__ import annotations

import argparse
import difflib
import json
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

import satdiag  # noqa: E402
from satdiag.report import report_html  # noqa: E402
from tests.report.outline import outline_of  # noqa: E402

SAMPLES = ("antenna-open", "filling", "partial-package", "supply-dropout")
GOLDEN = ROOT / "tests" / "report" / "golden"


def outline(sample: str) -> list[str]:
    """What the report of a sample says now."""
    job = satdiag.open_job(ROOT / "sample_logs" / sample)
    return outline_of(report_html(job, satdiag.analyse(job)))


def kept(sample: str) -> list[str]:
    """What it said when the outline was last renewed; nothing if it never was."""
    place = GOLDEN / f"{sample}.json"
    lines: list[str] = json.loads(place.read_text("utf-8")) if place.is_file() else []
    return lines


def difference(sample: str, now: list[str]) -> list[str]:
    """The lines that changed, as `diff -u` writes them."""
    before, after = f"{sample}, as kept", f"{sample}, now"
    return list(difflib.unified_diff(kept(sample), now, before, after, lineterm="", n=1))


def main() -> int:
    """Compare, print and, unless only to look, write; see the module's text."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--look", action="store_true", help="write nothing; exit 1 if something differs")
    asked = parser.parse_args()
    changed = 0
    for sample in SAMPLES:
        now = outline(sample)
        lines = difference(sample, now)
        changed += bool(lines)
        print(*lines, sep="\n", end="\n" if lines else "")
        if lines and not asked.look:
            (GOLDEN / f"{sample}.json").write_text(json.dumps(now, indent=0, ensure_ascii=False) + "\n", "utf-8")
    print(f"{changed} of {len(SAMPLES)} outlines {'differ' if asked.look else 'renewed'}")
    return 1 if asked.look and changed else 0


if __name__ == "__main__":
    sys.exit(main())
