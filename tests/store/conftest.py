"""What the tests of the store share."""

import os
import sys
import tempfile
from pathlib import Path

import pytest


@pytest.fixture
def quick(tmp_path):
    """A folder in memory where there is one, for tests that write hundreds of files, or whose time is taken."""
    memory = Path("/dev/shm")
    if not (sys.platform.startswith("linux") and os.access(memory, os.W_OK)):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        yield Path(folder)
