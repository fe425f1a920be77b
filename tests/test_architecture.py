"""The house stands as described: one direction of imports, small rooms, the simulator apart from the diagnosis."""

import ast
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest

import satdiag

ROOT = Path(satdiag.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))

# Top to bottom; a room may import only what stands above it (or itself).
ORDER = [
    {"language"},
    {"vocabulary", "errors", "paths", "chances", "trials"},
    {"csv_text", "toml_text", "safe_write", "zip_form", "lead_keys", "feed_keys"},
    {"rows"},
    {"entry_words"},
    {"bulk"},
    {"sheet", "tables", "touchstone"},
    {"ring_file"},
    {"job"},
    {"spans", "findings"},
    {"findings_schema"},
    {"exposure"},
    {"folder"},
    {"store"},
    {"opening"},
    {"user_folder", "gnss"},
    {"sky"},
    {"signal"},
    {"entitlement"},
    {"tuning"},
    {"wiring"},
    {"diagnosis"},
    {"analysis"},
    {"kept"},
    {"acceptance"},
    {"redact"},
    {"repair"},
    {"report"},
    {"letter"},
    {"schema"},
    {"mapping", "recorder"},
    {"handover"},
    {"live"},
    {"fleet"},
    {"cli", "__main__"},
]
RANK = {room: number for number, rooms in enumerate(ORDER) for room in rooms}
APART = {"simulate"}


@cache
def tree_of(path):
    """A module's syntax tree, made once for all tests."""
    return ast.parse(path.read_text("utf-8"))


def room_of(path):
    """The room a module belongs to."""
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imported_rooms(path):
    """The satdiag rooms a module imports, wherever in it."""
    found = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "satdiag":
            parts = node.module.split(".")
            found |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name.split(".")[1] for alias in node.names if alias.name.startswith("satdiag.")}
    return found - {"__version__"}


ROOMS = sorted({room_of(path) for path in MODULES})


def modules_of(room):
    """The modules of one room."""
    return [path for path in MODULES if room_of(path) == room]


@pytest.mark.parametrize("room", [room for room in ROOMS if room != "__init__"])
def test_a_room_imports_only_rooms_above_it(room):
    for path in modules_of(room):
        rooms = imported_rooms(path) - {room}
        if room in APART:
            assert not rooms, path
            continue
        assert room in RANK, f"room {room} has no place in the order"
        assert room == "cli" or not rooms & APART, path  # `satdiag simulate` alone may
        rooms -= APART
        assert {name for name in rooms if RANK[name] > RANK[room]} == set(), path


@pytest.mark.parametrize("room", ROOMS)
def test_modules_are_small_and_say_what_they_are(room):
    for path in modules_of(room):
        assert len(path.read_text("utf-8").splitlines()) <= 400, path
        tree = tree_of(path)
        assert ast.get_docstring(tree), path
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef):
                assert node.end_lineno - node.lineno < 60, f"{path}: {node.name} is longer than one can see at once"


def _names(folder):
    """Module-level constants of a folder with a number, text or table in them, and every module it imports."""
    constants, modules = set(), set()
    for path in sorted((ROOT / folder).rglob("*.py")):
        tree = tree_of(path)
        for node in tree.body:
            targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
            constants |= {target.id for target in targets if isinstance(target, ast.Name) and target.id.isupper()}
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                modules |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                modules.add(node.module if node.module.startswith("satdiag") else node.module.split(".")[0])
    return constants, modules


def test_simulator_and_diagnosis_share_no_module_and_no_constant():
    simulated, imported = _names("simulate")
    believed, used = _names("diagnosis")
    ours = {module for module in imported if module.startswith("satdiag")}
    assert all(module.startswith("satdiag.simulate") for module in ours)
    assert not ours & used
    assert imported - ours <= {*sys.stdlib_module_names, "numpy"}
    assert simulated
    assert believed
    assert not simulated & believed
    for path in sorted((ROOT / "simulate").rglob("*.py")):
        text = path.read_text("utf-8")
        assert "faults.toml" not in text
        assert "tomllib" not in text


def test_version_is_one():
    project = tomllib.loads((ROOT.parent / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["version"] == satdiag.__version__
    assert project["requires-python"] == ">=3.11"
