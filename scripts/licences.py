"""Write `satdiag/docs/licences.md`: the licence of everything that satdiag, its extras or its checks need.

    python scripts/licences.py            write it from what is installed; exit 1 if a licence is not allowed
    python scripts/licences.py --look     only say what would change

Needs all extras installed. Versions are not listed here; the `wheelhouse.json` of a wheelhouse has them, and the
licence of each wheel.
"""

import sys
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

from _licences import is_allowed, licence_of
from _resolve import Target
from _systems import SYSTEMS
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "satdiag" / "docs" / "licences.md"
READ_BY_HAND = {
    "autograd-gamma": "MIT",  # of 0.4.2, the last with a wheel
    "axe-playwright-python": "MIT AND MPL-2.0",
    "colorama": "BSD-3-Clause",
    "pyphen": "GPL-2.0-or-later OR LGPL-2.1-or-later OR MPL-1.1",
}
"""From a package's licence file, where the metadata name none or several, or only another system needs it."""
HEAD = """# Licences of what satdiag needs

satdiag itself stands under Apache-2.0. It contains no code of others: what it needs is installed beside it,
unchanged, under the licences below, as the packages' own metadata name them (short names of spdx.org). All of them
allow use and passing on, also for money, if their texts go along; each wheel holds its own. MPL asks that changes to
the package's own files be published, and satdiag changes none. Of a choice of licences satdiag takes the one that
asks for least.
`python scripts/licences.py` writes this page; a test compares it with what is installed.
"""


def roots():
    """The direct requirements by part: '' is the base, then the extras; texts as in pyproject.toml."""
    told = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    return {"": told["dependencies"], **told["optional-dependencies"]}


def reached(requirements):
    """All packages that these requirements need on any system, by name: a mapping to their distribution or None.

    None stands for one that is not installed here.
    """
    found, seen = {}, set()
    open_ones = [Requirement(text) for text in requirements]
    while open_ones:
        asked = open_ones.pop()
        name, key = canonicalize_name(asked.name), (canonicalize_name(asked.name), frozenset(asked.extras))
        if key in seen:
            continue
        seen.add(key)
        try:
            found[name] = distribution(name)
        except PackageNotFoundError:
            found[name] = None
            continue
        inner = [Requirement(text) for text in found[name].requires or []]
        open_ones += [each for each in inner if _anywhere(each.marker, asked.extras)]
    return found


def _anywhere(marker, extras):
    """True if a marker holds on one of the systems, with the oldest or a newer Python."""
    targets = [Target(system, python) for system in SYSTEMS for python in ("3.11", "3.13")]
    return marker is None or any(
        marker.evaluate({**target.markers(), "extra": extra}) for target in targets for extra in (extras or {""})
    )


def licence_table():
    """For each package its licence and the parts that need it: a mapping of names to (licence, parts)."""
    table = {}
    for part, requirements in roots().items():
        for name, package in reached(requirements).items():
            licence = licence_of(package.metadata) if package else "unknown"
            licence = READ_BY_HAND.get(name, licence) if licence == "unknown" else licence
            table.setdefault(name, (licence, []))[1].append(part)
    return table


def page_of(table):
    """The page, as Markdown."""
    groups = {
        "## The program itself": [],
        "## Extras": [],
        "## The checks of contributors (`dev`)\n\nNothing of this is needed to use satdiag.": [],
    }
    base, extras, checks = groups.values()
    for name, (licence, parts) in sorted(table.items()):
        users = [part for part in parts if part != "dev"]
        if "" in parts:
            base.append(f"| {name} | {licence} |")
        elif users:
            extras.append(f"| {name} | {licence} | {', '.join(sorted(users))} |")
        else:
            checks.append(f"| {name} | {licence} |")
    text = HEAD
    for heading, lines in groups.items():
        columns = (
            "| package | licence | for |\n| --- | --- | --- |"
            if lines is extras
            else "| package | licence |\n| --- | --- |"
        )
        text += "\n".join(["", heading, "", columns, *lines, ""])
    return text


def main(words):
    """Write the page, or say what would change."""
    table = licence_table()
    refused = [f"{name}: {licence}" for name, (licence, _) in sorted(table.items()) if not is_allowed(licence)]
    new, old = page_of(table), PAGE.read_text("utf-8") if PAGE.is_file() else ""
    for line in sorted(set(new.splitlines()) ^ set(old.splitlines())):
        print("+" if line in new.splitlines() else "-", line)
    if refused:
        print("Not allowed, or not known (read their licence files):", *refused, sep="\n  ", file=sys.stderr)
        return 1
    if "--look" not in words:
        PAGE.write_text(new, "utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
