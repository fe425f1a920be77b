"""How much of the store, the bulk, the parsers, the recorder and the repair the tests reach, statements and branches.

python scripts/covered.py [pytest options]      without options: the everyday tests of these rooms
python scripts/covered.py --add [pytest options] as before, added to what was measured last; room by room, if need be
python scripts/covered.py --report              only the table, from what was measured last

Processes and threads that tests start are measured too, unless they are killed. A room below 95 % of its branches,
or a module of some size below 90 %, fails. What belongs to another operating system alone is left out:
`[tool.coverage.report]` in pyproject.toml.
"""

import json
import os
import sys
import tempfile
from pathlib import Path

from _boot import ROOT, inside, run

WANTED = 95.0
WANTED_OF_ONE = 90.0
SMALL = 10
"""A module of fewer branches is judged with its room only: one of them would be too much of it."""

ROOMS = {
    "store": ("satdiag/store/", "satdiag/opening.py", "satdiag/safe_write.py"),
    "bulk": ("satdiag/bulk/",),
    "parsers": (
        "satdiag/csv_text.py",
        "satdiag/rows.py",
        "satdiag/sheet.py",
        "satdiag/tables.py",
        "satdiag/touchstone.py",
        "satdiag/lead_keys.py",
        "satdiag/feed_keys.py",
        "satdiag/folder.py",
        "satdiag/job.py",
        "satdiag/ring_file/",
        "satdiag/mapping/",
        "satdiag/gnss/",
    ),
    "recorder": ("satdiag/recorder/",),
    "repair": ("satdiag/repair/",),
}
TESTS = (
    "tests/store",
    "tests/bulk",
    "tests/repair",
    "tests/gnss",
    "tests/mapping",
    "tests/cli",
    "tests/recorder",
    "tests/hardening",
    "tests/wiring/test_touchstone.py",
    "tests/wiring/test_ring_file.py",
    "tests/wiring/test_ring_plan.py",
    *(
        f"tests/test_{name}.py"
        for name in ("folder", "job", "parsers_limits", "rows", "sheet", "tables", "roundtrip", "samples")
    ),
)
FOLDER = ROOT / ".coverage-data"


def table(python):
    """Print the table; 1 if a room or a module falls short, else 0."""
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "coverage.json"
        if code := run([python, "-m", "coverage", "json", "-q", "-o", str(made)]):
            return code
        files = {
            name.replace("\\", "/"): found for name, found in json.loads(made.read_text("utf-8"))["files"].items()
        }
    print(f"{'room':10} {'statements':>18} {'branches':>18}")
    short = 0
    for room, starts in ROOMS.items():
        counts = [found["summary"] for name, found in files.items() if any(start in name for start in starts)]
        statements, branches = (_share(counts, *keys) for keys in (_STATEMENTS, _BRANCHES))
        print(f"{room:10} {statements[1]:>18} {branches[1]:>18}")
        short |= branches[0] < WANTED
    for name, found in sorted(files.items()):
        missing = found["missing_branches"]
        percent, said = _share([found["summary"]], *_BRANCHES)
        is_short = percent < WANTED_OF_ONE and found["summary"]["num_branches"] >= SMALL
        short |= is_short
        if missing:
            places = ", ".join(f"{one}->{other}" for one, other in missing)
            print(f"  {name}{f' ({said}: too few)' if is_short else ''}: {places}")
    return int(short)


_STATEMENTS = ("covered_lines", "num_statements")
_BRANCHES = ("covered_branches", "num_branches")


def _share(counts, reached, there):
    """Percent, and 'reached/there percent' as text."""
    one, all_ = sum(count[reached] for count in counts), sum(count[there] for count in counts)
    percent = 100.0 * one / all_ if all_ else 0.0
    return percent, f"{one}/{all_} {percent:5.1f} %"


def main():
    """Run the tests under measurement, join what all processes measured, and print the table."""
    options = sys.argv[1:]
    python = inside(["dev"])
    os.environ["COVERAGE_FILE"] = str(FOLDER / "data")
    if options != ["--report"]:
        FOLDER.mkdir(exist_ok=True)
        more = ["--append"] if options[:1] == ["--add"] else []
        options = options[len(more) :]
        for left in () if more else FOLDER.iterdir():
            left.unlink()
        tests = options or [test for test in TESTS if (ROOT / test).exists()]
        failed = run(
            [python, "-m", "coverage", "run", "-m", "pytest", "-q", "-p", "no:xdist", "-m", "not long", *tests]
        )
        run([python, "-W", "ignore", "-m", "coverage", "combine", "-q", *more])
        if failed:
            return failed
    return table(python)


if __name__ == "__main__":
    sys.exit(main())
