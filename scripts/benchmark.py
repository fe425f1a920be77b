"""Figures for claims: how often the diagnosis is right on simulated jobs, and how long an analysis takes.

    python scripts/benchmark.py diagnosis [--seeds 1000:1200]

Simulated jobs prove the code against our own model of the world only; they say nothing about real vehicles.
"""

import argparse
import sys
import tempfile
import time
import tomllib
from collections import Counter
from pathlib import Path

from _boot import inside, python_in_environment, run


def judge(scenario, seed, folder):
    """Make one job, analyse it, and compare: (truth class, found class, truth state, found state, p, sure, s)."""
    import satdiag
    from satdiag.simulate import make_job, write_job

    place = Path(folder) / f"{scenario}-{seed}"
    made = make_job(scenario, seed)
    write_job(made, place)
    truth = tomllib.loads((place / "truth.toml").read_text("utf-8"))
    job = satdiag.open_job(place)
    began = time.perf_counter()
    verdict = satdiag.analyse(job).verdict
    spent = time.perf_counter() - began
    return truth["class"], verdict.class_, truth["state"], verdict.state, verdict.probability, verdict.sure, spent


def diagnosis(seeds, verbose):
    """Print accuracy, the confusion matrix of classes, and calibration of what was called sure."""
    from satdiag.simulate import scenarios

    names = list(scenarios())
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for number, seed in enumerate(seeds):
            name = names[number % len(names)]
            row = judge(name, seed, folder)
            rows.append(row)
            if verbose and (row[0] != row[1] or row[2] != row[3]):
                print(f"{name} {seed}: truth {row[2]}/{row[0]}, found {row[3]}/{row[1]} p={row[4]:.2f} sure={row[5]}")
    classes = sorted({row[0] for row in rows} | {row[1] for row in rows})
    table = Counter((row[0], row[1]) for row in rows)
    print(f"{len(rows)} simulated jobs over {len(names)} scenarios, seeds {seeds.start}..{seeds.stop - 1}")
    print(f"{'truth | found':>14} " + " ".join(f"{name[:12]:>13}" for name in classes))
    for truth in classes:
        print(f"{truth:>14} " + " ".join(f"{table[truth, found]:>13}" for found in classes))
    right = sum(row[0] == row[1] for row in rows)
    state = sum(row[2] == row[3] for row in rows)
    sure = [row for row in rows if row[5]]
    wrong = sum(row[0] != row[1] for row in sure)
    spent = sorted(row[6] for row in rows)
    print(f"class right {right}/{len(rows)} = {right / len(rows):.1%}; state right {state}/{len(rows)}")
    print(f"called sure {len(sure)}, of them wrong {wrong}; analysis median {spent[len(spent) // 2]:.3f} s")


def main():
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["diagnosis"])
    parser.add_argument("--seeds", default="1000:1200", help="from:to, e.g. 1000:1200")
    parser.add_argument("--verbose", action="store_true", help="name each job that was judged wrongly")
    options = parser.parse_args()
    if Path(sys.prefix).resolve() != python_in_environment().parent.parent.resolve():
        return run([inside(), str(Path(__file__).resolve()), *sys.argv[1:]])
    first, last = (int(part) for part in options.seeds.split(":"))
    diagnosis(range(first, last), options.verbose)
    return 0


if __name__ == "__main__":
    sys.exit(main())
