"""What a system needs: pip's own resolver, asked for another system than this one, and what it overlooks.

`pip ... --platform` chooses wheels for the other system, but judges the markers of requirements (as in
`; sys_platform == "win32"`) by this one. So the answer is walked with the other system's markers, and what is missing
is asked for by name.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

_LINUX = [f"manylinux_2_{minor}" for minor in range(28, 16, -1)] + ["manylinux2014"]
_MARKERS = {
    "linux": ("posix", "linux", "Linux"),
    "windows": ("nt", "win32", "Windows"),
    "macos": ("posix", "darwin", "Darwin"),
}
_PLATFORMS = {
    "linux": ([f"{each}_x86_64" for each in _LINUX], "x86_64"),
    "linux-arm": ([f"{each}_aarch64" for each in _LINUX], "aarch64"),
    "windows": (["win_amd64"], "AMD64"),
    "macos-arm": (["macosx_14_0_arm64", "macosx_14_0_universal2"], "arm64"),
    "macos-intel": (["macosx_14_0_x86_64", "macosx_14_0_universal2"], "x86_64"),
}
_ROUNDS = 8


class Target(NamedTuple):
    """A system of `_systems.SYSTEMS` and a version of Python, as in '3.12'."""

    system: str
    python: str

    def pip_options(self):
        """How pip is told to choose for this target."""
        platforms = _PLATFORMS[self.system][0]
        named = [word for platform in platforms for word in ("--platform", platform)]
        return [*named, "--python-version", self.python, "--implementation", "cp", "--only-binary", ":all:"]

    def markers(self):
        """The values of the markers of requirements on this target (PEP 508)."""
        os_name, sys_platform, platform_system = _MARKERS[self.system.partition("-")[0]]
        return {
            "implementation_name": "cpython",
            "implementation_version": f"{self.python}.0",
            "os_name": os_name,
            "platform_machine": _PLATFORMS[self.system][1],
            "platform_python_implementation": "CPython",
            "platform_release": "",
            "platform_system": platform_system,
            "platform_version": "",
            "python_full_version": f"{self.python}.0",
            "python_version": self.python,
            "sys_platform": sys_platform,
        }


class PipFailed(Exception):
    """pip ended with an error; the text is what it said."""


class Found(NamedTuple):
    """One wheel of an answer: its project's name and version, the address of the file, what its metadata says."""

    name: str
    version: str
    url: str
    metadata: dict

    @property
    def file(self):
        """The name of the wheel."""
        return self.url.rpartition("/")[2].replace("%2B", "+")


def pip(*words, env=None, show=False):
    """Run pip and return what it said. Raises PipFailed."""
    command = [sys.executable, "-m", "pip", *words]
    told = []
    with subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        errors="replace",
        env=env,
    ) as running:
        for line in running.stdout:
            told.append(line)
            if show:
                print("   ", line.rstrip(), file=sys.stderr, flush=True)
    if running.returncode:
        raise PipFailed("".join(told))
    return "".join(told)


def resolve(target, requirements, links, env=None):
    """All wheels that a target needs for these requirements (texts without markers): a tuple of `Found`, by name.

    `links` is a folder whose wheels may be used; with `env` of `_systems.cut_off` no others. Raises PipFailed.
    """
    asked = list(requirements)
    for _ in range(_ROUNDS):
        answer = _ask(target, asked, links, env)
        missing = missing_from(answer, requirements, target.markers())
        if not missing:  # what only this system needs stays in it, or pip would miss it when it is asked again
            return tuple(answer[name] for name in sorted(answer))
        asked += missing
    raise PipFailed(f"no end was found to what {target.system} needs: {', '.join(asked)}")


def missing_from(answer, requirements, markers):
    """What an answer does not hold, going from the requirements along the metadata under these markers.

    `answer` is a mapping of names to `Found`; returns requirements, as texts without markers.
    """
    missing, seen = [], set()
    open_ones = [Requirement(text) for text in requirements]
    while open_ones:
        asked = open_ones.pop()
        name = canonicalize_name(asked.name)
        key = (name, frozenset(asked.extras))
        if key in seen:
            continue
        seen.add(key)
        if name not in answer:
            missing.append(f"{asked.name}{asked.specifier}")
            continue
        for text in answer[name].metadata.get("requires_dist", []):
            inner = Requirement(text)
            if inner.marker is None or any(
                inner.marker.evaluate({**markers, "extra": extra}) for extra in (asked.extras or {""})
            ):
                open_ones.append(inner)
    return sorted(set(missing))


def _ask(target, asked, links, env):
    """pip's answer for a target, as a mapping of names to `Found`."""
    with tempfile.TemporaryDirectory(prefix="satdiag-pip-") as folder:
        report = Path(folder) / "report.json"
        options = ["--dry-run", "--ignore-installed", "--quiet", "--retries", "1"]
        where = ["--find-links", str(links), "--target", os.path.join(folder, "never"), "--report", str(report)]
        pip("install", *options, *where, *target.pip_options(), *asked, env=env)
        said = json.loads(report.read_text("utf-8"))
    found = {}
    for each in said["install"]:
        about = each["metadata"]
        name = canonicalize_name(about["name"])
        found[name] = Found(name, about["version"], each["download_info"]["url"], about)
    return found
