"""Ports for servers that tests start, close and start again: nobody else is given them meanwhile."""

from __future__ import annotations

import itertools
import os
import socket
from collections.abc import Iterator

FIRST, EACH = 20_000, 2_000
"""Below what systems hand out by themselves (Linux: from 32768 on; RFC 6335: from 49152 on). A worker of pytest-xdist
has so many of its own."""


def _mine() -> Iterator[int]:
    worker = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw")) % 6
    start = os.getpid() % EACH
    for number in itertools.count():
        yield FIRST + EACH * worker + (start + number) % EACH


_PORTS = _mine()


def free_port(host: str = "127.0.0.1") -> int:
    """A port of this computer on which nothing listens now; another one with each call."""
    for port in itertools.islice(_PORTS, EACH):
        with socket.socket() as probe:
            try:
                probe.bind((host, port))
            except OSError:
                continue
            return port
    raise AssertionError("no port is free")
