"""The wheelhouse for real: gathered from the index, then a fresh copy of the project that has no network at all."""

import os
import shutil
import subprocess
import sys

import pytest

from tests.scripts.small_wheels import SCRIPTS

ROOT = SCRIPTS.parent
HIDDEN = shutil.ignore_patterns(".*", "__pycache__", "captures", "wheelhouse", "tests")


def without_network(command):
    """The command in a network namespace of its own, where the system knows such a thing, else as it is."""
    if shutil.which("unshare") and not subprocess.call(["unshare", "-rn", "true"], stderr=subprocess.DEVNULL):
        return ["unshare", "-rn", *command]
    return command


@pytest.mark.long
@pytest.mark.timeout(900)
def test_a_gathered_wheelhouse_serves_a_fresh_copy_without_a_network(tmp_path):
    wheels, copy = tmp_path / "wheels", tmp_path / "copy"
    environment = {**os.environ, "SATDIAG_INSIDE": str(ROOT)}  # this environment serves as it is
    no_proxy = dict.fromkeys(("HTTPS_PROXY", "HTTP_PROXY"), "http://127.0.0.1:9")
    gather = [sys.executable, str(SCRIPTS / "wheelhouse.py"), str(wheels), "--extra", "page"]
    told = subprocess.run(gather, env=environment, capture_output=True, text=True, timeout=600)
    assert told.returncode == 0, told.stderr
    shutil.copytree(ROOT, copy, ignore=HIDDEN)
    nowhere = {**environment, **no_proxy, "COLUMNS": "100"}
    demo = without_network([sys.executable, "scripts/demo.py", "--offline", str(wheels)])
    shown = subprocess.run(demo, cwd=copy, env=nowhere, capture_output=True, text=True, timeout=600)
    assert shown.returncode == 0, shown.stderr
    assert (copy / "satdiag-report-filling.html").is_file()
    assert shown.stdout.startswith("Still filling in, and normal so far: 18 of 27")
    again = without_network([*gather, "--check"])
    assert subprocess.call(again, env=nowhere, stdout=subprocess.DEVNULL) == 0
