"""Gather all wheels that satdiag needs into a folder, for computers without a network.

    python scripts/wheelhouse.py                              this system and this Python, into wheelhouse/
    python scripts/wheelhouse.py STICK --system windows macos-arm --python 3.11 3.12 --extra page
    python scripts/wheelhouse.py STICK --check                no network: does it hold all that it says?

On the computer without a network, in a copy of this project: python scripts/demo.py --offline STICK
or, without the project: python -m pip install --no-index --find-links STICK "satdiag[page]"

What is there already is not fetched again, so that a run that was cut off goes on when it is started anew. A wheel
gets its place when it is whole. `wheelhouse.json` lists every wheel with its version, SHA-256, size and licence.
"""

import argparse
import email.parser
import json
import os
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from pathlib import Path

from _boot import ROOT, inside
from _systems import FORM, MANIFEST, SYSTEMS, cut_off, read_manifest, sha256_of, this_python, this_system

PYTHONS = ("3.11", "3.12", "3.13", "3.14")
EDITABLE = "editables>=0.5"
"""What the build backend asks for, beside itself, when a checkout is installed in place."""
NO_NETWORK = (
    "NewConnectionError",
    "Failed to establish",
    "name resolution",
    "ConnectTimeout",
    "ProxyError",
    "Max retries",
)


class CannotGather(Exception):
    """Why there is no wheelhouse, in a sentence that says how to mend it."""


def options_of(words):
    """The command line, read."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", nargs="?", type=Path, default=ROOT / "wheelhouse", metavar="DIR")
    names = ", ".join(f"{name}: {text}" for name, text in SYSTEMS.items())
    parser.add_argument("--system", nargs="+", default=["this"], choices=["this", "all", *SYSTEMS], help=names)
    parser.add_argument("--python", nargs="+", default=[this_python()], choices=PYTHONS, help="versions of Python")
    extras = sorted(project()["optional-dependencies"])
    parser.add_argument(
        "--extra",
        nargs="+",
        default=["page"],
        choices=["none", "users", *extras],
        metavar="EXTRA",
        help=f"'none', 'users' (all but dev) or any of {', '.join(extras)}; 'page' if not said",
    )
    parser.add_argument(
        "--check", action="store_true", help="use no network; only see whether the wheels are all there"
    )
    return parser.parse_args(words)


def project():
    """The table `project` of pyproject.toml."""
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]


def chosen_extras(named):
    """The extras that are meant, sorted."""
    every = set(project()["optional-dependencies"])
    chosen = set(named) - {"none", "users"}
    return sorted(chosen | (every - {"dev"} if "users" in named else set()))


def chosen_targets(systems, pythons):
    """Pairs of system and Python. Raises CannotGather if 'this' is none that wheels are gathered for."""
    from _resolve import Target

    here = this_system()
    if "this" in systems and here is None:
        raise CannotGather(f"This system is none of {', '.join(SYSTEMS)}. Name one with --system.")
    meant = list(SYSTEMS) if "all" in systems else [here if name == "this" else name for name in systems]
    return [Target(system, python) for system in dict.fromkeys(meant) for python in dict.fromkeys(pythons)]


def requirements(extras):
    """All that a target needs to install satdiag from a checkout, with these extras."""
    backend = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["build-system"]["requires"]
    told = project()
    return [
        *told["dependencies"],
        *backend,
        EDITABLE,
        *(each for name in extras for each in told["optional-dependencies"][name]),
    ]


def gather(folder, targets, extras, only_check):
    """Fill the folder and return for each target what it needs. Raises CannotGather."""
    from _resolve import PipFailed, resolve

    asked = requirements(extras)
    answers = {}
    for target in targets:
        said = f"{target.system} with Python {target.python}"
        try:
            answers[target] = resolve(target, asked, folder, cut_off(folder))
            print(f"{said}: all {len(answers[target])} wheels are there", flush=True)
            continue
        except PipFailed as error:
            if only_check:
                raise CannotGather(
                    f"{said}: {_last_error(str(error))}\nRun it without --check to fetch what is missing."
                ) from None
        print(f"{said}: asking which wheels it needs ...", flush=True)
        _fetch(folder, target, asked)
        try:
            answers[target] = resolve(target, asked, folder, cut_off(folder))
        except PipFailed as error:
            raise CannotGather(f"{said}: still not whole: {_last_error(str(error))}") from None
    return answers


def _fetch(folder, target, asked):
    """Bring what a target needs into the folder, each wheel in one piece. Raises CannotGather."""
    from _resolve import PipFailed, pip, resolve

    with tempfile.TemporaryDirectory(prefix=".unfinished-", dir=folder) as unfinished:
        part = Path(unfinished)
        try:
            wanted = _with_built(folder, part, lambda: resolve(target, asked, folder))
            missing = [each for each in wanted if not (folder / each.file).is_file()]
            print(f"  fetching {len(missing)} of {len(wanted)} wheels ...", flush=True)
            for count, each in enumerate(missing, 1):
                print(f"  {count:3} {each.name} {each.version}", flush=True)
                words = ["--no-deps", "--quiet", "--dest", str(part), "--find-links", str(folder)]
                pip("download", *words, *target.pip_options(), f"{each.name}=={each.version}")
                for wheel in part.glob("*.whl"):
                    _put(wheel, folder / wheel.name)
        except PipFailed as error:
            raise CannotGather(_why(str(error), target)) from None


def _with_built(folder, part, ask):
    """An answer of `ask`; a package that publishes no wheel is built here, if what comes out fits every system."""
    from _resolve import PipFailed, pip

    tried = set()
    while True:
        try:
            return ask()
        except PipFailed as error:
            name = _without_wheel(str(error))
            if name is None or name in tried:
                raise
            tried.add(name)
            print(f"  {name} comes without a wheel: building it ...", flush=True)
            pip("wheel", "--no-deps", "--quiet", "--wheel-dir", str(part), name)
            built = next(part.glob("*.whl"))
            if not built.name.endswith("-none-any.whl"):
                raise PipFailed(f"{name} must be compiled on the system it is for") from None
            _put(built, folder / built.name)


def _without_wheel(said):
    """The requirement for which no wheel was found though the index answered, or None."""
    if any(mark in said for mark in NO_NETWORK):
        return None
    found = [
        line.rpartition("found for ")[2].partition(" (")[0].strip()
        for line in said.splitlines()
        if "No matching distribution found for " in line
    ]
    return found[0] if found else None


def _why(said, target):
    """What went wrong with pip, in a sentence."""
    if any(mark in said for mark in NO_NETWORK):
        return (
            "No network, or the index does not answer. Behind a proxy: set HTTPS_PROXY. Then run the command again."
        )
    return f"{target.system} with Python {target.python}: {_last_error(said)}"


def _last_error(said):
    """The lines of pip that name an error, or its last ones."""
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    named = [line.removeprefix("ERROR: ") for line in lines if line.startswith("ERROR")]
    return " / ".join(named[-2:] or lines[-3:]) or "pip failed and did not say why"


def _put(made, place):
    """Give a wheel its place in one step; what is there already stays."""
    if place.exists():
        made.unlink()
    else:
        os.replace(made, place)


def own_wheel(folder):
    """Build satdiag's own wheel, with the backend out of the folder, and return its name. Raises CannotGather."""
    from _resolve import PipFailed, pip

    with tempfile.TemporaryDirectory(prefix=".unfinished-", dir=folder) as unfinished:
        try:
            pip("wheel", "--no-deps", "--quiet", "--wheel-dir", unfinished, str(ROOT), env=cut_off(folder))
        except PipFailed as error:
            raise CannotGather(f"satdiag's own wheel could not be built: {_last_error(str(error))}") from None
        made = next(Path(unfinished).glob("satdiag-*.whl"))
        for old in folder.glob("satdiag-*.whl"):
            old.unlink()
        os.replace(made, folder / made.name)
    return made.name


def described(path):
    """A wheel's line in the list."""
    from _licences import licence_of

    with zipfile.ZipFile(path) as wheel:
        inside_it = next(name for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
        about = email.parser.Parser().parsestr(wheel.read(inside_it).decode("utf-8", "replace"))
    return {
        "name": about["Name"],
        "version": about["Version"],
        "licence": licence_of(about),
        "file": path.name,
        "bytes": path.stat().st_size,
        "sha256": sha256_of(path),
    }


def list_of(folder, answers, extras, own):
    """The list of the wheelhouse: what was gathered now, and before for other targets if that is still whole."""
    now = [
        {
            "system": target.system,
            "python": target.python,
            "extras": extras,
            "files": sorted({*(found.file for found in answer), own}),
        }
        for target, answer in answers.items()
    ]
    done = {(each["system"], each["python"]) for each in now}
    for old in (_earlier(folder) or {}).get("targets", []):
        files = sorted({name for name in old["files"] if not name.startswith("satdiag-")} | {own})
        if (old["system"], old["python"]) not in done and all((folder / name).is_file() for name in files):
            now.append({**old, "files": files})
    used = sorted({name for each in now for name in each["files"]})
    return {
        "form": FORM,
        "satdiag": project()["version"],
        "targets": sorted(now, key=lambda each: (each["system"], each["python"])),
        "wheels": [described(folder / name) for name in used],
    }


def _earlier(folder):
    """The list of an earlier run, or None."""
    try:
        return read_manifest(folder)
    except (OSError, ValueError):
        return None


def write_list(folder, said):
    """Write the list in one piece, and take away the wheels of an earlier list that nothing needs any more."""
    before = {wheel["file"] for wheel in (_earlier(folder) or {"wheels": []})["wheels"]}
    new = folder / f".{MANIFEST}.new"
    new.write_text(json.dumps(said, indent=1) + "\n", "utf-8")
    os.replace(new, folder / MANIFEST)
    for name in before - {wheel["file"] for wheel in said["wheels"]}:
        (folder / name).unlink(missing_ok=True)


def main(words):
    """Gather, or check."""
    options = options_of(words)
    folder = options.folder.resolve()
    try:
        if options.check and not folder.is_dir():
            raise CannotGather(f"There is no folder {folder}.")
        folder.mkdir(parents=True, exist_ok=True)
        for left in folder.glob(".unfinished-*"):
            shutil.rmtree(left, ignore_errors=True)
        targets, extras = chosen_targets(options.system, options.python), chosen_extras(options.extra)
        answers = gather(folder, targets, extras, options.check)
        if options.check:
            return 0
        said = list_of(folder, answers, extras, own_wheel(folder))
        write_list(folder, said)
    except (CannotGather, OSError) as error:
        print(f"No wheelhouse: {error}", file=sys.stderr)
        return 2
    size = sum(wheel["bytes"] for wheel in said["wheels"]) / 1e6
    print(f"{len(said['wheels'])} wheels, {size:.0f} MB, in {folder}; they are listed in {MANIFEST}.")
    return 0


if __name__ == "__main__":
    if os.environ.get("SATDIAG_INSIDE") == str(ROOT):
        sys.exit(main(sys.argv[1:]))
    options_of(sys.argv[1:])  # before anything is made, so that a slip costs no minute
    sys.exit(subprocess.call([inside(), __file__, *sys.argv[1:]], env={**os.environ, "SATDIAG_INSIDE": str(ROOT)}))
