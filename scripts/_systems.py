"""A wheelhouse read: for which systems it was made, and whether its wheels are whole. Standard library only.

A wheelhouse is a folder of wheels with `wheelhouse.json` in it, which `scripts/wheelhouse.py` writes.
"""

import hashlib
import json
import os
import platform
import sys

MANIFEST = "wheelhouse.json"
FORM = 1
SYSTEMS = {
    "linux": "Linux with glibc 2.28 or newer, 64-bit Intel or AMD",
    "linux-arm": "Linux with glibc 2.28 or newer, 64-bit ARM",
    "windows": "Windows, 64-bit Intel or AMD",
    "macos-arm": "macOS 14 or newer on Apple silicon",
    "macos-intel": "macOS 14 or newer on Intel",
}
_MAKE_IT = "On a computer with a network:"
_NAMES = {
    ("Linux", "x86_64"): "linux",
    ("Linux", "aarch64"): "linux-arm",
    ("Windows", "AMD64"): "windows",
    ("Darwin", "arm64"): "macos-arm",
    ("Darwin", "x86_64"): "macos-intel",
}


def this_system():
    """This system's name in `SYSTEMS`, or None."""
    return _NAMES.get((platform.system(), platform.machine()))


def this_python():
    """This Python's version, as in '3.11'."""
    return f"{sys.version_info[0]}.{sys.version_info[1]}"


def sha256_of(path):
    """The SHA-256 of a file, in hex."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def read_manifest(folder):
    """What `wheelhouse.json` says, or None where there is none. Raises ValueError if it cannot be read."""
    try:
        said = json.loads((folder / MANIFEST).read_text("utf-8"))
        if said["form"] != FORM:
            raise ValueError(f"it is of form {said['form']}, and this program reads form {FORM}")
        for key in ("wheels", "targets"):
            said[key]
    except FileNotFoundError:
        return None
    except (KeyError, TypeError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise ValueError(f"it is no list of a wheelhouse ({error})") from None
    return said


def trouble_with(folder, extras, system=None, python=None):
    """Why a wheelhouse cannot serve this system with these extras, as a sentence, or None if it can.

    A folder without a list is taken as it is: pip will say what it lacks.
    """
    system, python = system or this_system(), python or this_python()
    if not folder.is_dir():
        return f"There is no folder {folder}. {_MAKE_IT} python scripts/wheelhouse.py {folder}"
    try:
        manifest = read_manifest(folder)
    except (OSError, ValueError) as error:
        return f"{folder / MANIFEST} cannot be used: {error}. Make the wheelhouse anew."
    if manifest is None:
        return None if any(folder.glob("*.whl")) else f"{folder} holds neither wheels nor {MANIFEST}."
    fitting = [each for each in manifest["targets"] if (each["system"], each["python"]) == (system, python)]
    made_for = ", ".join(f"{each['system']} with Python {each['python']}" for each in manifest["targets"])
    how = f"{_MAKE_IT} python scripts/wheelhouse.py {folder} --system {system} --python {python}"
    if not fitting:
        return f"{folder} was made for {made_for}; this is {system or 'another system'} with Python {python}. {how}"
    if lacking := sorted(set(extras) - set(fitting[0]["extras"])):
        return f"{folder} was made without {', '.join(lacking)}. {how} --extra {' '.join(lacking)}"
    return _damage(folder, manifest, set(fitting[0]["files"]))


def _damage(folder, manifest, wanted):
    """The first wheel that is missing or not as it was, as a sentence, or None."""
    for wheel in manifest["wheels"]:
        path = folder / wheel["file"]
        if wheel["file"] not in wanted:
            continue
        if not path.is_file():
            return f"{path} is missing. Copy the wheelhouse again, or make it anew."
        if sha256_of(path) != wheel["sha256"]:
            return f"{path} is not what it was (its SHA-256 differs). Copy the wheelhouse again, or make it anew."
    return None


def cut_off(folder):
    """The surroundings of a pip that may use this folder and nothing else: no index, no settings of the system."""
    kept = {name: value for name, value in os.environ.items() if not name.upper().startswith("PIP_")}
    own = {"PIP_CONFIG_FILE": os.devnull, "PIP_NO_INDEX": "1", "PIP_DISABLE_PIP_VERSION_CHECK": "1"}
    return {**kept, **own, "PIP_FIND_LINKS": folder.resolve().as_uri()}
