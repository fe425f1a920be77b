"""The addresses of the live page as one more parser: JSON bodies, sent by who may write."""

from __future__ import annotations

import atexit
import json
from contextlib import ExitStack
from functools import cache

from tests.hardening.fuzz_changes import JSON
from tests.hardening.fuzz_engine import Parser
from tests.hardening.fuzz_files import room

SEPARATOR = b"\n\n"


@cache
def _rig():
    """An application over a running deck; it ends with this process."""
    from tests.live.test_fuzz import _rig as running_rig

    place = room() / "http"
    place.mkdir()
    stack = ExitStack()
    atexit.register(stack.close)
    return stack.enter_context(running_rig(place))


def _seeds() -> list[bytes]:
    from tests.live.test_fuzz import SEEDS

    return [path.encode() + SEPARATOR + json.dumps(body).encode() for path, body in SEEDS.items() if path != "/make"]


def _http(data: bytes) -> str:
    """An answer that is no error of ours. The first line is the address, the rest the body."""
    from tests.live.test_fuzz import assert_in_order

    head, _, body = data.partition(SEPARATOR)
    path = head.decode("utf-8", "replace")
    if path.startswith("/make"):
        path = "/taps"
    status, headers, told = _rig().ask("POST", path, body)
    assert_in_order(status, headers, told)
    return f"{path[:12]} {status}"


def _body(operator):
    """An operator that leaves the address as it is."""

    def change(data: bytes, where: int, what: int) -> bytes:
        head, mark, body = data.partition(SEPARATOR)
        return head + mark + operator(body, where, what)

    return change


HTTP_PARSERS: tuple[Parser, ...] = (
    Parser("http", _seeds, _http, {name: _body(operator) for name, operator in JSON.items()}, slow_s=4.0),
)
