"""Throw changed inputs at every parser and count what does not end as it should.

    python scripts/fuzz.py                      the long run: so many inputs as LONG says
    python scripts/fuzz.py --tenth              a tenth of them, as `.ci/run` does
    python scripts/fuzz.py --seconds 60         each parser for so long
    python scripts/fuzz.py --inputs 500 --parser nmea --parser omm
    python scripts/fuzz.py --list               the parsers by name

A parser may give a value or refuse the input with one of satdiag's own errors, in words that can be printed and that
say how to mend it. Anything else counts as a crash: another exception, a RuntimeWarning, more than two seconds of CPU
time (more for analyses and command lines), more than 300 MB. What crashed is printed as the smallest plan of changes
that still does it, and kept with --keep. The same seed and number of inputs give the same inputs. Each core has a
process with parsers of its own. Exit code 1 after a crash.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
import tempfile
import warnings
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from _boot import ROOT, inside, python_in_environment, run

LONG = {
    "": 10_000,
    "observations": 6_000,
    "line-up": 4_000,
    "nmea": 1_500,
    "lesson-used": 4_000,
    "pasted-channels": 700,
    "paper-lines": 1_000,
    "foreign-csv": 5_000,
    "user-zip": 5_000,
    "bundle-zip": 5_000,
    "redact-rows": 4_000,
    "job-file": 3_000,
    "acceptance-record": 1_000,
    "analysis": 150,
    "command-line": 300,
    "http": 4_000,
}
"""Inputs of the long run, fewer where one takes longer ('' is all others)."""

MEMORY_BYTES = 6_000_000_000


def options():
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, help="so long for each parser")
    parser.add_argument("--inputs", type=int, help="so many inputs of each parser")
    parser.add_argument("--tenth", action="store_true", help="a tenth of the long run")
    parser.add_argument("--parser", action="append", metavar="NAME", help="this one only; may be given again")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", metavar="FOLDER", help="write every input that crashed into this folder")
    parser.add_argument("--list", action="store_true", help="name the parsers and stop")
    return parser.parse_args()


def main():
    """Run what was asked for; 1 if anything crashed."""
    asked = options()
    if Path(sys.prefix).resolve() != python_in_environment().parent.parent.resolve():
        return run([inside(["dev"]), str(Path(__file__).resolve()), *sys.argv[1:]])
    sys.path.insert(0, str(ROOT))
    from tests.hardening.fuzz_all import PARSERS

    if asked.list:
        print("\n".join(PARSERS))
        return 0
    if unknown := set(asked.parser or ()) - set(PARSERS):
        sys.exit(f"no parser is called {sorted(unknown)[0]}: {', '.join(PARSERS)}")
    with tempfile.TemporaryDirectory() as folder:
        return report(asked.parser or list(PARSERS), asked, folder)


def get_ready(folder):
    """In each process: no input may take the computer down, or reach into a person's own folder."""
    sys.path.insert(0, str(ROOT))
    os.environ["SATDIAG_USER_FOLDER"] = folder
    warnings.simplefilter("error", RuntimeWarning)  # a number that does not fit, a division by nothing
    _bound_memory()


def _bound_memory():
    """Systems without such a limit go without."""
    try:
        import resource
    except ImportError:
        return
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    if hard == resource.RLIM_INFINITY or hard > MEMORY_BYTES:
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, hard))


def inputs_of(name, asked):
    """How many inputs a parser gets, or None where its time is given."""
    if asked.seconds is not None and asked.inputs is None:
        return None
    whole = asked.inputs or LONG.get(name, LONG[""])
    return max(whole // 10, 1) if asked.tenth else whole


def tried(name, seed, inputs, seconds):
    """Run one parser."""
    from tests.hardening.fuzz_all import PARSERS
    from tests.hardening.fuzz_engine import run as tried_with

    return tried_with(PARSERS[name], seed, inputs, seconds)


def report(names, asked, folder):
    """Run the parsers, a line each in their order; 1 if anything crashed."""
    print(
        f"{'parser':20} {'inputs':>8} {'sound':>8} {'seconds':>8} {'outcomes':>9} {'crashes':>8}   seed {asked.seed}"
    )
    total = [0, 0.0, 0]
    cores = min(os.cpu_count() or 1, len(names))
    with ProcessPoolExecutor(cores, initializer=get_ready, initargs=(folder,)) as pool:
        runs = {name: pool.submit(tried, name, asked.seed, inputs_of(name, asked), asked.seconds) for name in names}
        for name in names:
            found = runs[name].result()
            total = [total[0] + found.inputs, total[1] + found.seconds, total[2] + found.broke]
            print_run(found, asked)
    print(f"{len(names)} parsers, {total[0]} inputs, {total[1]:.0f} s, {total[2]} crashes")
    return 1 if total[2] else 0


def print_run(found, asked):
    """The line of one parser, and two more for each of its failures."""
    print(
        f"{found.parser:20} {found.inputs:8} {found.sound:8} {found.seconds:8.1f} {len(found.outcomes):9} "
        f"{found.broke:8}",
        flush=True,
    )
    for words, (base, plan, data) in found.failures.items():
        print(
            f"    {words}\n        {plan_text(plan)} of a seed of {len(base)} bytes; "
            f"{len(data)} bytes: {data[:120]!r}"
        )
        keep(asked.keep, found.parser, data)


def plan_text(plan):
    """The changes of an input in a line."""
    return " + ".join(f"{one.operator}({one.where}, {one.what})" for one in plan) or "nothing changed"


def keep(folder, name, data):
    """Write an input that crashed, named by its digest."""
    if folder is not None:
        place = Path(folder)
        place.mkdir(parents=True, exist_ok=True)
        (place / f"{name}-{hashlib.sha256(data).hexdigest()[:12]}").write_bytes(data)


if __name__ == "__main__":
    sys.exit(main())
