"""The GNSS source, on a port and from a file, keeps the contract of all sources."""

import sys

import pytest

from tests.recorder.conformance import Contract, LiveContract
from tests.recorder.devices import PtyDevice
from tests.recorder.rigs import GnssFileRig, GnssRig


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
class TestGnssOverPty(LiveContract):
    @pytest.fixture
    def rig(self, tmp_path):
        with PtyDevice(tmp_path) as device:
            yield GnssRig(device)


class TestGnssFile(Contract):
    @pytest.fixture
    def rig(self, tmp_path):
        return GnssFileRig(tmp_path)
