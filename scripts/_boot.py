"""Makes `.venv` with satdiag in it, then goes on inside it. Standard library only; the same on every system."""

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

from _systems import cut_off, trouble_with

ROOT = Path(__file__).resolve().parent.parent
ENVIRONMENT = ROOT / ".venv"
STAMP = ENVIRONMENT / "satdiag-stamp"
OLDEST = (3, 11)


def python_in_environment():
    """The environment's Python, by system."""
    return ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def wanted(extras):
    """What the environment must hold, as one line: the project file, the extras, this Python."""
    project = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    return f"{project} {','.join(sorted(extras))} {sys.version_info[:2]}"


def already_there(extras):
    """True if an earlier run made an environment that holds at least these extras."""
    if not (STAMP.is_file() and python_in_environment().is_file()):
        return False
    project, held, version = STAMP.read_text("utf-8").split(" ", 2)
    now = wanted(extras).split(" ", 2)
    return project == now[0] and version == now[2] and set(extras) <= set(held.split(","))


def held_extras():
    """The extras of the environment that is there, so that a smaller run does not take any away."""
    return set(STAMP.read_text("utf-8").split(" ", 2)[1].split(",")) - {""} if STAMP.is_file() else set()


def without_network(words):
    """Take `--offline DIR` out of a command line. Returns (the other words, the folder or None)."""
    if "--offline" not in words:
        return words, None
    at = words.index("--offline")
    if at + 1 == len(words):
        sys.exit("--offline needs a folder of wheels. `python scripts/wheelhouse.py DIR` makes one.")
    return words[:at] + words[at + 2 :], Path(words[at + 1])


def wheels_for(extras, wheels):
    """The folder from which to install, or None for the network: the named one, or `wheelhouse` if it serves.

    Ends the program if the named one cannot serve this system.
    """
    if wheels is None:
        beside = ROOT / "wheelhouse"
        return beside if beside.is_dir() and trouble_with(beside, extras) is None else None
    if trouble := trouble_with(wheels, extras):
        print(trouble, file=sys.stderr)
        sys.exit(2)
    return wheels


def make_environment(extras, wheels):
    """Make or renew the environment. Ends the program with a plain word if that fails."""
    extras = sorted({*extras, *(() if wheels else held_extras())})
    print("making the environment in .venv (once; takes a minute) ...", file=sys.stderr, flush=True)
    try:
        other = STAMP.is_file() and not STAMP.read_text("utf-8").endswith(str(sys.version_info[:2]))
        if other or not python_in_environment().is_file():
            venv.EnvBuilder(with_pip=True, clear=ENVIRONMENT.exists()).create(ENVIRONMENT)
    except (OSError, subprocess.CalledProcessError) as error:
        sys.exit(
            f"no environment could be made in {ENVIRONMENT}: {error}\n"
            "On Debian and Ubuntu: sudo apt install python3-venv. Elsewhere: install Python from python.org."
        )
    STAMP.unlink(missing_ok=True)
    target = f".[{','.join(extras)}]" if extras else "."
    command = [str(python_in_environment()), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    surroundings = cut_off(wheels) if wheels else None
    if subprocess.call([*command, "--editable", target], cwd=ROOT, env=surroundings):
        sys.exit(
            "The installation failed; the lines above say why.\n"
            "Without a network: run `python scripts/wheelhouse.py DIR` on a computer that has one, bring DIR here, "
            "and add `--offline DIR`. Behind a proxy: set HTTPS_PROXY. Then run the same command again."
        )
    STAMP.write_text(wanted(extras), "utf-8")


def inside(extras=(), wheels=None):
    """Make sure of the environment and return its Python. `wheels`: a folder that serves instead of a network."""
    if sys.version_info < OLDEST:
        sys.exit(f"satdiag needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is {sys.version.split()[0]}.")
    serving = wheels_for(extras, wheels)
    if not already_there(extras):
        make_environment(extras, serving)
    return str(python_in_environment())


def run(command):
    """Run a command in the project folder; a Ctrl-C ends both quietly."""
    try:
        return subprocess.call(command, cwd=ROOT)
    except KeyboardInterrupt:
        return 130
