"""Nothing may be left after a test of the recorder: no thread, no open file or port, no child process."""

import gc
import os
import sys
import threading
import time

import pytest

GRACE_S = 120.0
"""How long a thread that was told to end may take to do so."""


def _threads():
    return {f"thread {thread.name}" for thread in threading.enumerate() if thread is not threading.main_thread()}


def _descriptors():
    """Open descriptors and what they are, where the system tells (Linux)."""
    found = set()
    folder = "/proc/self/fd"
    for name in os.listdir(folder) if os.path.isdir(folder) else ():
        try:
            found.add(f"descriptor {name}: {os.readlink(os.path.join(folder, name))}")
        except OSError:
            continue  # the one of this listing
    return found


def _children():
    """Child processes, ended ones that nobody waited for too, where the system tells (Linux)."""
    found = set()
    folder = "/proc/self/task"
    for task in os.listdir(folder) if os.path.isdir(folder) else ():
        try:
            with open(os.path.join(folder, task, "children"), encoding="ascii") as file:
                found |= {f"child process {pid}" for pid in file.read().split()}
        except OSError:
            continue
    return found


def held():
    """Everything that must be gone after a test."""
    return _threads() | _descriptors() | _children()


def left_after(before, grace_s=GRACE_S):
    """What is held now and was not before; threads and sockets get a moment to end."""
    end, pause_s = time.monotonic() + grace_s, 0.01
    while (left := held() - before) and time.monotonic() < end:
        time.sleep(pause_s)
        gc.collect()
        pause_s = min(2 * pause_s, 1.0)  # who looks all the time keeps a thread that still imports from its end
    return left


@pytest.fixture(autouse=True)
def nothing_is_left():
    """Fails a test after which more is held than before it."""
    if sys.platform == "linux":
        assert _descriptors(), "the check itself sees nothing"
    before = held()
    yield
    assert left_after(before) == set()
