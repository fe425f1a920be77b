"""All checks: makes the environment with the reference libraries, then lint, types and tests.

python scripts/test.py [--long] [pytest options]      --long: also the proofs that take longer than a minute
        --offline DIR     make the environment from a folder of wheels (`scripts/wheelhouse.py DIR --extra dev`)

All tests together run on up to four cores at once, with one worker more than cores: many tests mostly wait. Those
of a path that an option names run one after the other.
"""

import os
import subprocess
import sys

from _boot import ROOT, inside, run, without_network

MOST_CORES = 4
ALONE = {"-s", "--pdb", "--trace"}
"""Options for which somebody looks on while the tests run."""


def workers(options):
    """The pytest options that spread the tests over the cores, or none. `-n` among the options has the last word."""
    cores = min(os.cpu_count() or 1, MOST_CORES)
    named = any((ROOT / option.partition("::")[0]).exists() for option in options)
    if cores == 1 or named or ALONE.intersection(options):
        return []
    waiting = int(hasattr(os, "nice"))  # where those that compute cannot give way, one more would disturb the clocks
    return ["-n", str(cores + waiting), "--dist", "loadscope", "--no-loadscope-reorder"]


def checked_without_running(python):
    """Lint and types; returns the first exit code that is not 0.

    Beside it another process collects the tests, which leaves their compiled form for all workers and all commands.
    """
    collect = [python, "-m", "pytest", "--collect-only", "--quiet", "-p", "no:cacheprovider"]
    with subprocess.Popen(collect, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as collecting:
        for check in (["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]):
            if code := run([python, "-m", *check]):
                collecting.terminate()
                return code
    return 0


def main():
    """Run everything; the first failure decides the exit code."""
    options, wheels = without_network(sys.argv[1:])
    marked = [] if "--long" in options else ["-m", "not long"]
    options = [option for option in options if option != "--long"]
    python = inside(["dev"], wheels)
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # without compiled files each worker and command compiles anew
    if not options and (code := checked_without_running(python)):
        return code
    return run([python, "-m", "pytest", *marked, *workers(options), *options])


if __name__ == "__main__":
    sys.exit(main())
