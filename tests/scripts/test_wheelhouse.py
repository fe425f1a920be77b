"""The folder of wheels for computers without a network: what goes in, and how a damaged or a wrong one is told."""

import re
import subprocess
import sys

import pytest

from tests.scripts.small_wheels import SCRIPTS, small_wheel

sys.path.append(str(SCRIPTS))
import _systems
import wheelhouse
from _resolve import Found, PipFailed, Target, resolve

WINDOWS, LINUX = Target("windows", "3.12"), Target("linux", "3.12")


@pytest.fixture
def made(tmp_path):
    """A wheelhouse of two small wheels for Windows, with its list."""
    small_wheel(tmp_path, "satdiag")
    renew(tmp_path, WINDOWS, ["page"], small_wheel(tmp_path, "demo_tool"), small_wheel(tmp_path, "demo_part"))
    return tmp_path


def renew(folder, target, extras, *wheels):
    """Write the list of a wheelhouse after a run in which a target was found to need these wheels."""
    answer = [Found(path.name.partition("-")[0], "", path.as_uri(), {}) for path in wheels]
    said = wheelhouse.list_of(folder, {target: answer}, extras, "satdiag-1.0-py3-none-any.whl")
    wheelhouse.write_list(folder, said)


def test_another_systems_markers_decide_what_it_needs(tmp_path):
    small_wheel(tmp_path, "demo_tool", requires=['demo_colours; sys_platform == "win32"', "demo_fast"])
    small_wheel(tmp_path, "demo_fast", tag="cp312-cp312-manylinux_2_28_x86_64")
    small_wheel(tmp_path, "demo_fast", tag="cp312-cp312-win_amd64")
    colours = small_wheel(tmp_path, "demo_colours")
    alone = _systems.cut_off(tmp_path)
    on_linux = [each.file for each in resolve(LINUX, ["demo_tool"], tmp_path, alone)]
    of_both = {"demo_fast-1.0-cp312-cp312-manylinux_2_28_x86_64.whl", "demo_tool-1.0-py3-none-any.whl"}
    assert set(on_linux) - of_both == ({colours.name} if sys.platform == "win32" else set())
    on_windows = [each.name for each in resolve(WINDOWS, ["demo_tool"], tmp_path, alone)]
    assert on_windows == ["demo-colours", "demo-fast", "demo-tool"]
    colours.unlink()
    with pytest.raises(PipFailed, match="demo_colours"):
        resolve(WINDOWS, ["demo_tool"], tmp_path, alone)


def test_the_list_tells_versions_licences_and_sums(made):
    said = _systems.read_manifest(made)
    assert [(wheel["name"], wheel["version"], wheel["licence"]) for wheel in said["wheels"]] == [
        ("demo_part", "1.0", "MIT"),
        ("demo_tool", "1.0", "MIT"),
        ("satdiag", "1.0", "MIT"),
    ]
    assert all(_systems.sha256_of(made / wheel["file"]) == wheel["sha256"] for wheel in said["wheels"])
    assert _systems.trouble_with(made, ["page"], "windows", "3.12") is None


def test_a_licence_written_out_with_letters_beyond_ascii_is_read(tmp_path):
    """Metadata are UTF-8 (https://packaging.python.org/specifications/core-metadata/)."""
    text = "License: BSD 3-Clause License\n        \n        Copyright © Demo Pérez\nAuthor: Demo Pérez"
    wheel = small_wheel(tmp_path, "demo_table", licence=text)
    said = wheelhouse.described(wheel)
    assert (said["name"], said["version"], said["licence"]) == ("demo_table", "1.0", "BSD-3-Clause")


def test_a_renewed_list_keeps_what_other_systems_need_and_drops_the_rest(made):
    tool, newer = made / "demo_tool-1.0-py3-none-any.whl", small_wheel(made, "demo_part", "2.0")
    renew(made, LINUX, [], tool, newer)
    assert (made / "demo_part-1.0-py3-none-any.whl").is_file(), "Windows still has it in its list"
    assert _systems.trouble_with(made, ["page"], "windows", "3.12") is None
    renew(made, WINDOWS, [], tool, newer)
    assert newer.is_file()
    assert not (made / "demo_part-1.0-py3-none-any.whl").exists()


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (
            ("linux", "3.12", []),
            r"made for windows with Python 3\.12; this is linux with Python 3\.12.*--system linux",
        ),
        (("windows", "3.13", []), r"this is windows with Python 3\.13.*--python 3\.13"),
        (("windows", "3.12", ["page", "rf"]), r"made without rf\..*--extra rf"),
    ],
)
def test_the_wrong_system_python_or_extra_is_named_with_the_command_that_mends_it(made, asked, said):
    system, python, extras = asked
    assert_said(_systems.trouble_with(made, extras, system, python), said)


def test_a_wheel_that_was_cut_off_or_lost_is_named(made):
    wheel = made / "demo_part-1.0-py3-none-any.whl"
    whole = wheel.read_bytes()
    wheel.write_bytes(whole[:-1])
    assert_said(_systems.trouble_with(made, [], "windows", "3.12"), r"demo_part-1\.0.*is not what it was")
    wheel.unlink()
    assert_said(_systems.trouble_with(made, [], "windows", "3.12"), r"demo_part-1\.0.*is missing")


@pytest.mark.parametrize("text", ["", "[1]", '{"form": 1}', '{"form": 2, "wheels": [], "targets": []}', "\xff"])
def test_a_list_that_cannot_be_read_is_said(tmp_path, text):
    (tmp_path / _systems.MANIFEST).write_bytes(text.encode("latin-1"))
    assert_said(_systems.trouble_with(tmp_path, []), r"wheelhouse\.json cannot be used: .*anew")


def test_a_folder_of_wheels_without_a_list_is_left_to_pip(tmp_path):
    assert_said(_systems.trouble_with(tmp_path, []), "holds neither wheels nor")
    small_wheel(tmp_path, "demo_part")
    assert _systems.trouble_with(tmp_path, []) is None


def test_check_says_what_is_missing_and_writes_nothing(tmp_path, capsys):
    assert wheelhouse.main([str(tmp_path / "not there"), "--check"]) == 2
    assert not (tmp_path / "not there").exists()
    small_wheel(tmp_path, "click", "8.1")
    before = sorted(tmp_path.iterdir())
    assert wheelhouse.main([str(tmp_path), "--check", "--system", "windows", "--extra", "none"]) == 2
    assert_said(capsys.readouterr().err, r"windows with Python .*without --check")
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["scripts/demo.py", "--offline"], "--offline needs a folder"),
        (["scripts/demo.py", "--offline", "no such folder"], "There is no folder no such folder"),
        (["scripts/wheelhouse.py", "--system", "beos"], "invalid choice"),
    ],
)
def test_a_slip_on_the_command_line_is_said_before_anything_is_made(words, said):
    ended = subprocess.run([sys.executable, *words], cwd=SCRIPTS.parent, capture_output=True, text=True, timeout=60)
    assert ended.returncode in (1, 2)
    assert_said(ended.stderr, said)


def test_what_is_cut_off_sees_no_index_and_no_settings(tmp_path, monkeypatch):
    monkeypatch.setenv("PIP_EXTRA_INDEX_URL", "https://demo.invalid/simple")
    alone = _systems.cut_off(tmp_path)
    assert [name for name in alone if name.startswith("PIP_")] != []
    assert "PIP_EXTRA_INDEX_URL" not in alone
    assert alone["PIP_NO_INDEX"] == "1"


def test_all_that_the_project_needs_is_asked_for():
    asked = wheelhouse.requirements(wheelhouse.chosen_extras(["users"]))
    assert [each for each in asked if each.startswith(("click", "hatchling", "starlette", "openpyxl"))] != []
    assert not [each for each in asked if each.startswith("pytest")]
    assert wheelhouse.chosen_extras(["none"]) == []
    assert wheelhouse.chosen_extras(["rf", "page"]) == ["page", "rf"]


def assert_said(text, pattern):
    """The text is there and the pattern is found in it."""
    assert text is not None
    assert re.search(pattern, text, re.DOTALL), text
