"""Figures for claims: how often the diagnosis is right on simulated jobs, what the recorder carries, and what the
fill-in estimator costs beside libraries.

    python scripts/benchmark.py diagnosis --worlds 2000 --seed 1 --setting tune [--tier all] [--workers 2]
                                          [--json FILE] [--report FILE.html] [--minutes-every 25]
    python scripts/benchmark.py all [--quick] [--json FILE] [--markdown FILE]
    python scripts/benchmark.py diagnosis --seeds 1000:1200
    python scripts/benchmark.py record [--seconds 10] [--json FILE]
    python scripts/benchmark.py entitlement
    python scripts/benchmark.py look-angles
    python scripts/benchmark.py sky --captures DIR
    python scripts/benchmark.py signal

all: every figure of speed in one table, each a ratio against a library or a floor measured in the same run, see
`bench_all.py`. diagnosis: simulated jobs prove the code against our own model of the world only; they say nothing
about real vehicles. With --worlds, worlds drawn at random are judged tier by tier, see `bench_diagnosis.py`; with
--seeds, the named scenarios of `satdiag simulate`. record: each figure stands beside the bare cost of the same work,
measured in the same run; what each means is said in `bench_record.py`. entitlement: fit times and log-likelihoods
beside two libraries, see `bench_entitlement.py`. look-angles: directions a second beside skyfield, see
`bench_look_angles.py`. signal: segmentation of long logs beside hmmlearn, see `bench_signal.py`. sky: chances of a
clear way from recorded sentences of navigation receivers beside a constant, the elevation and plain bins, see
`bench_sky.py`. Each takes one or two minutes, and is worth little while the computer does something else.
"""

import argparse
import os
import sys
import tempfile
import time
import tomllib
from collections import Counter
from pathlib import Path

from _boot import inside, python_in_environment, run

NEED_DEV = ("all", "entitlement", "look-angles", "signal")


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


def _world_options(parser):
    """What `diagnosis --worlds` takes."""
    parser.add_argument("--worlds", type=int, default=0, metavar="N", help="diagnosis: how many worlds to judge")
    parser.add_argument("--seed", type=int, default=1, help="diagnosis of worlds: seed of the set")
    parser.add_argument(
        "--setting",
        choices=["tune", "calibrate", "final", "later", "unseen", "afresh", "untried", "unmet"],
        default="tune",
        help="how they are drawn",
    )
    parser.add_argument("--tier", choices=["all", "sparse", "typical", "rich"], default="all", help="who looks")
    parser.add_argument("--workers", type=int, default=1, help="diagnosis of worlds: processes at a time")
    parser.add_argument("--report", metavar="FILE", help="diagnosis of worlds: also write an HTML page")
    parser.add_argument("--minutes-every", type=int, default=0, metavar="N", help="measure minutes in each Nth world")
    parser.add_argument("--train", nargs="*", metavar="FILE", help="results of other runs, to train the ceilings on")
    parser.add_argument("--once", action="store_true", help="say that this is the one run on a set to be judged once")
    parser.add_argument("--write", metavar="DIR", help="write the worlds named by --only as job folders, and stop")
    parser.add_argument("--only", default="0", metavar="N,N", help="with --write: which worlds")


def main():
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["all", "diagnosis", "record", "entitlement", "look-angles", "sky", "signal"])
    parser.add_argument("--seeds", default="1000:1200", help="diagnosis of scenarios: from:to, e.g. 1000:1200")
    _world_options(parser)
    parser.add_argument("--verbose", action="store_true", help="diagnosis: name each job that was judged wrongly")
    parser.add_argument("--seconds", type=float, default=10.0, help="record: how long each stretch is measured")
    parser.add_argument(
        "--json",
        metavar="FILE",
        help="record, all: also write the figures into this file; diagnosis: "
        "keep each world's result in it, as JSON lines, and go on from it",
    )
    parser.add_argument("--captures", metavar="DIR", help="sky: the folder with the captures, see bench_sky.py")
    parser.add_argument("--quick", action="store_true", help="all: a tenth of the sizes")
    parser.add_argument("--markdown", metavar="FILE", help="all: also write the table into this file")
    options = parser.parse_args()
    if options.what == "sky" and not options.captures:
        parser.error("`sky` needs --captures DIR")
    if options.what == "record" and sys.platform == "win32":
        parser.error("`record` needs pseudo-terminals, which this system does not have: run it on Linux or macOS")
    if not 1 <= options.seconds <= 3600:
        parser.error("--seconds takes a number from 1 to 3600")
    if Path(sys.prefix).resolve() != python_in_environment().parent.parent.resolve():
        return again_in(inside(("dev",) if options.what in NEED_DEV else ()))
    if options.what == "all":
        import bench_all

        return bench_all.main(options.quick, options.json, options.markdown)
    if options.what == "record":
        import bench_record

        return bench_record.main(options.seconds, options.json)
    if options.what == "entitlement":
        import bench_entitlement

        return bench_entitlement.main()
    if options.what == "signal":
        import bench_signal

        return bench_signal.main()
    if options.what == "look-angles":
        import bench_look_angles

        return bench_look_angles.main()
    if options.what == "sky":
        import bench_sky

        return bench_sky.main(options.captures)
    if options.worlds or options.write:
        import bench_diagnosis

        return bench_diagnosis.main(options)
    first, last = (int(part) for part in options.seeds.split(":"))
    diagnosis(range(first, last), options.verbose)
    return 0


def again_in(python):
    """The same command in the environment; in this very process where that can be, so that Ctrl-C finds but one."""
    command = [python, str(Path(__file__).resolve()), *sys.argv[1:]]
    if sys.platform == "win32":
        return run(command)
    os.execv(python, command)


if __name__ == "__main__":
    sys.exit(main())
