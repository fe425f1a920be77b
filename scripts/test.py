"""All checks: makes the environment with the reference libraries, then lint, types and tests.

python scripts/test.py [--long] [pytest options]      --long: also the proofs that take longer than a minute
"""

import os
import sys

from _boot import inside, run


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
    return run([python, "-m", "pytest", *marked, *options])


if __name__ == "__main__":
    sys.exit(main())
