"""All checks: makes the environment with the reference libraries, then lint, types and tests.

python scripts/test.py [--long] [pytest options]      --long: also the proofs that take longer than a minute

All tests together run on up to four cores at once; those of a path that an option names run one after the other.
"""

import os
import sys

from _boot import ROOT, inside, run

MOST_WORKERS = 4
ALONE = {"-s", "--pdb", "--trace"}
"""Options for which somebody looks on while the tests run."""


def workers(options):
    """The pytest options that spread the tests over the cores, or none. `-n` among the options has the last word."""
    cores = min(os.cpu_count() or 1, MOST_WORKERS)
    named = any((ROOT / option.partition("::")[0]).exists() for option in options)
    if cores == 1 or named or ALONE.intersection(options):
        return []
    return ["-n", str(cores), "--dist", "loadscope", "--no-loadscope-reorder"]


def main():
    """Run everything; the first failure decides the exit code."""
    options = sys.argv[1:]
    marked = [] if "--long" in options else ["-m", "not long"]
    options = [option for option in options if option != "--long"]
    python = inside(["dev"])
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    if not options:
        for check in (["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]):
            if code := run([python, "-m", *check]):
                return code
    return run([python, "-m", "pytest", *marked, *workers(options), *options])


if __name__ == "__main__":
    sys.exit(main())
