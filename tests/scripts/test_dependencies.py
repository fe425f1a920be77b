"""What pyproject.toml says of dependencies is so: what is imported stands there, is explained, licensed and tried."""

import re
import sys
import tomllib
from email.message import Message
from importlib.metadata import packages_distributions

import pytest

from tests.scripts.small_wheels import SCRIPTS

sys.path.append(str(SCRIPTS))
import licences
import minimum
from _licences import is_allowed, licence_of
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = SCRIPTS.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
EXTRAS = PROJECT["optional-dependencies"]
IMPORT = re.compile(r"^\s*(?:import|from) ([A-Za-z]\w*)(?:[\w. ]* import |[\w.]*(?: as \w+)?$)", re.MULTILINE)
OWNED = {name: {canonicalize_name(each) for each in owners} for name, owners in packages_distributions().items()}


def names_of(requirements):
    """The names of these requirements, canonical."""
    return {canonicalize_name(Requirement(text).name) for text in requirements}


BASE = names_of(PROJECT["dependencies"])
USERS = BASE | names_of(text for extra, texts in EXTRAS.items() if extra != "dev" for text in texts)
ALL = USERS | names_of(EXTRAS["dev"])


@pytest.mark.parametrize(("folder", "allowed"), [("satdiag", USERS), ("tests", ALL), ("scripts", ALL)])
def test_whatever_is_imported_is_a_direct_dependency(folder, allowed):
    wrong = {}
    for path in (ROOT / folder).rglob("*.py"):
        for name in IMPORT.findall(path.read_text("utf-8")):
            owners = OWNED.get(name, set()) - {"satdiag"}
            if owners and name not in sys.stdlib_module_names and not owners & allowed:
                wrong.setdefault(name, path.relative_to(ROOT).as_posix())
    assert not wrong


def test_whatever_the_base_asks_for_is_imported():
    text = "\n".join(path.read_text("utf-8") for path in (ROOT / "satdiag").rglob("*.py"))
    imported = {owner for name in IMPORT.findall(text) for owner in OWNED.get(name, ())}
    assert BASE - imported <= {"tzdata"}, "zoneinfo reads tzdata without an import"


def test_the_guide_explains_every_dependency():
    section = (ROOT / "DEVELOPERS.md").read_text("utf-8").split("\n## What it depends on\n")[1].split("\n## ")[0]
    explained = {canonicalize_name(name) for name in re.findall(r"`([\w.-]+)`", section)}
    assert ALL - explained == set()


def test_every_user_dependency_is_tried_at_its_lowest_version_by_tests_that_are_there():
    assert set(minimum.TOUCHING) == USERS
    for path in {each for paths in minimum.TOUCHING.values() for each in paths} | set(minimum.ALSO):
        assert (ROOT / path).exists(), path


def test_the_lowest_versions_are_allowed_by_the_requirements():
    bounds = minimum.lower_bounds()
    assert set(bounds) == ALL
    for text in [*PROJECT["dependencies"], *(each for extra in EXTRAS.values() for each in extra)]:
        asked = Requirement(text)
        assert asked.specifier.contains(Version(bounds[asked.name.lower()]), prereleases=True)


def test_all_that_users_install_is_listed_with_a_licence_that_lets_them():
    page = licences.PAGE.read_text("utf-8")
    listed = dict(re.findall(r"^\| ([\w.-]+) \| ([^|]+) \|", page, re.MULTILINE))
    for name, (licence, parts) in licences.licence_table().items():
        assert name in listed, f"python scripts/licences.py lists {name} ({', '.join(parts) or 'base'})"
        assert is_allowed(licence), f"{name}: {licence}"
        assert is_allowed(listed[name])


# The forms of metadata are those of https://packaging.python.org/specifications/core-metadata/ and PEP 639.
@pytest.mark.parametrize(
    ("fields", "licence"),
    [
        ([("License-Expression", "MIT OR Apache-2.0"), ("License", "other")], "MIT OR Apache-2.0"),
        ([("License", "The MIT License (MIT)\n\nCopyright (c) demo")], "MIT"),
        ([("License", "Copyright (c) demo"), ("Classifier", "License :: OSI Approved :: MIT License")], "MIT"),
        ([("License", "MPL-2.0"), ("Classifier", "License :: OSI Approved :: MIT License")], "MPL-2.0"),
        ([("License", "LICENSE.txt")], "unknown"),
        ([("License", "UNKNOWN"), ("Classifier", "License :: OSI Approved :: MIT License")], "MIT"),
        ([("License", "UNKNOWN")], "unknown"),
        ([("Classifier", "License :: OSI Approved :: A licence that nobody knows")], "unknown"),
        ([], "unknown"),
    ],
)
def test_the_licence_is_read_from_each_form_of_metadata(fields, licence):
    about = Message()
    for name, value in fields:
        about.add_header(name, value)
    assert licence_of(about) == licence


@pytest.mark.parametrize(
    ("licence", "allowed"),
    [
        ("MIT", True),
        ("BSD-3-Clause AND (MIT OR GPL-3.0-only)", True),
        ("MIT AND GPL-3.0-only", False),
        ("GPL-2.0-or-later OR MPL-1.1", True),
        ("AGPL-3.0-only", False),
        ("unknown", False),
        ("", False),
    ],
)
def test_a_licence_that_binds_satdiag_is_not_allowed(licence, allowed):
    assert is_allowed(licence) == allowed
