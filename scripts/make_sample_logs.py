"""Write the sample job folders: one a scenario, the same bytes for the same seed.

    python scripts/make_sample_logs.py --seed 1 [--to sample_logs]

The setting is invented, and what is true of each job stands in its truth.toml.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from satdiag.simulate import make_job, scenarios, write_job  # noqa: E402

NAIVE = "not-activated"  # one log in the set has times without an offset


def main(arguments: list[str] | None = None) -> int:
    """Write every sample and print its size."""
    parser = argparse.ArgumentParser(description="Write one made-up job folder a scenario.")
    parser.add_argument("--seed", type=int, default=1, help="the same seed gives the same bytes (default 1)")
    parser.add_argument("--to", type=Path, default=ROOT / "sample_logs", help="where to (default sample_logs)")
    options = parser.parse_args(arguments)
    for name in scenarios():
        place = options.to / name
        if place.is_dir() and any(place.iterdir()) and not (place / "truth.toml").is_file():
            raise SystemExit(f"{place} holds something that is no sample log; name another place with --to")
        made = make_job(name, options.seed, time_style="naive" if name == NAIVE else None)
        folder = write_job(made, options.to / name)
        for stale in {path.name for path in folder.iterdir()} - set(made.files):
            (folder / stale).unlink()
        rows = made.files["observations.csv"].count(b"\n") - 1
        size = sum(len(data) for data in made.files.values())
        print(f"{name:20} {rows:4d} rows {size / 1000:6.1f} kB  {', '.join(sorted(made.files))}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
