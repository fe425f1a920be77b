"""The oldest versions that pyproject.toml allows, tried: every direct dependency at its lower bound, on Python 3.11.

python scripts/minimum.py [--show] [pytest options]     --show: only print the versions

Makes `.venv-minimum` and runs the tests that touch each library, and the samples. What the dependencies need in turn
is as new as they allow.
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

from _boot import OLDEST, ROOT, run

PLACE = ROOT / ".venv-minimum"
LOWEST = re.compile(r"([\w.-]+)(?:\[[\w,-]+\])?(?:>=|==)([\w.]+)")
TOUCHING = {
    "click": ["tests/cli/test_main.py", "tests/cli/test_new.py", "tests/cli/test_note.py"],
    "dask": ["tests/fleet"],
    "distributed": ["tests/fleet"],
    "h11": ["tests/live/test_serve.py"],
    "jinja2": ["tests/report/test_report_page.py", "tests/language"],
    "kaleido": ["tests/handover/test_figures_export.py"],
    "markupsafe": ["tests/report/test_report_words.py"],
    "numpy": ["tests/sky/test_look_angles.py", "tests/entitlement/test_posterior.py", "tests/gnss/test_bulk.py"],
    "openpyxl": ["tests/handover/test_workbook.py"],
    "pandas": ["tests/sky/test_day_plan.py", "tests/signal/test_segments.py", "tests/report/test_report_appendix.py"],
    "plotly": ["tests/report/test_report_figures.py", "tests/report/test_report_golden.py"],
    "pyarrow": ["tests/handover/test_parquet_export.py"],
    "pyserial": ["tests/recorder/test_port.py", "tests/recorder/test_serial_source.py"],
    "rich": ["tests/recorder/test_screen.py", "tests/cli/test_confirm_command.py"],
    "scikit-rf": ["tests/wiring/test_touchstone.py", "tests/wiring/test_lead_transform.py"],
    "scipy": [
        "tests/entitlement/test_likelihood.py",
        "tests/signal/test_markov.py",
        "tests/wiring/test_cable_loss.py",
    ],
    "segno": ["tests/live/test_serve.py"],
    "sgp4": ["tests/sky/test_elements.py", "tests/sky/test_orbits.py"],
    "starlette": ["tests/live/test_app.py", "tests/live/test_making.py"],
    "tzdata": ["tests/mapping/test_local_time.py"],
    "uvicorn": ["tests/live/test_serve.py"],
}
"""For each library that users install, tests of ours that call it."""
ALSO = ["tests/test_samples.py", "tests/test_readme.py", "tests/cli/test_schema_docs_selfcheck.py"]


def lower_bounds():
    """The lowest version of every direct dependency, those of all extras too: a mapping of names to versions."""
    told = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    bounds = {}
    for text in [
        *told["dependencies"],
        *(each for extra in told["optional-dependencies"].values() for each in extra),
    ]:
        match = LOWEST.match(text)
        if match is None:
            sys.exit(f"pyproject.toml: '{text}' has no lowest version; write it as name>=version.")
        name, version = match[1].lower(), match[2]
        if bounds.setdefault(name, version) != version:
            sys.exit(f"pyproject.toml: '{name}' has two lowest versions, {bounds[name]} and {version}.")
    return bounds


def make(bounds):
    """Make the environment anew and return its Python. Ends the program if the versions do not go together."""
    python = PLACE / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp = PLACE / "satdiag-stamp"
    wanted = "\n".join(f"{name}=={version}" for name, version in sorted(bounds.items())) + "\n"
    if stamp.is_file() and stamp.read_text("utf-8") == wanted:
        return str(python)
    print("making the environment of the lowest versions in .venv-minimum ...", file=sys.stderr, flush=True)
    shutil.rmtree(PLACE, ignore_errors=True)
    venv.EnvBuilder(with_pip=True).create(PLACE)
    extras = sorted(tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"])
    with tempfile.TemporaryDirectory(prefix="satdiag-minimum-") as folder:
        pins = Path(folder) / "pins.txt"
        pins.write_text(wanted, "utf-8")
        command = [
            str(python),
            "-m",
            "pip",
            "install",
            "--constraint",
            str(pins),
            "--editable",
            f".[{','.join(extras)}]",
        ]
        told = subprocess.run(command, cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        if told.returncode:
            _, _, conflict = told.stdout.partition("The conflict is caused by:")
            print(conflict.partition("To fix")[0].strip() or told.stdout[-2000:], file=sys.stderr)
            sys.exit("The lowest versions do not go together, or there is no network; the lines above say which.")
    stamp.write_text(wanted, "utf-8")
    return str(python)


def main(words):
    """Make the environment, say what is in it, run the tests."""
    bounds = lower_bounds()
    if "--show" in words:
        print("\n".join(f"{name} {version}" for name, version in sorted(bounds.items())))
        return 0
    if sys.version_info[:2] != OLDEST:
        print(f"The lowest versions are tried on Python {OLDEST[0]}.{OLDEST[1]}; this is {sys.version.split()[0]}.")
        return 2
    python = make(bounds)
    print("lowest versions:", ", ".join(f"{name} {bounds[name]}" for name in sorted(TOUCHING)), flush=True)
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    touching = dict.fromkeys(path for paths in TOUCHING.values() for path in paths)
    return run([python, "-m", "pytest", "-m", "not long", *touching, *ALSO, *words])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
