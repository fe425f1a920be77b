"""A device live on a socket or a pseudo terminal: real time on one side, the world's seconds on the other."""

from __future__ import annotations

import sys
import time
from collections import deque
from collections.abc import Callable
from urllib.parse import urlsplit

from satdiag.simulate.device import Device
from satdiag.simulate.outlet import Outlet, Say, SocketOutlet
from satdiag.simulate.upset import Act, Upset

AHEAD_S = 0.2  # lines are made a little before they are due
SHORTEST_TURN_S, LONGEST_TURN_S = 0.01, 0.1
LONGEST_STEP_S = 1.0  # more than this at once is not made up for: the computer slept, or is too slow
HOSTS = ("127.0.0.1", "localhost")


def open_outlet(text: str, say: Say) -> Outlet:
    """The outlet that 'socket://127.0.0.1:PORT' (0: any free port) or 'pty' asks for.

    Raises ValueError if the text asks for anything else, or for what cannot be had.
    """
    port = None if text == "pty" else _port(text)
    try:
        if port is not None:
            return SocketOutlet(port, say)
        if sys.platform == "win32":
            raise ValueError("Windows has no pseudo terminals; serve on socket://127.0.0.1:0 instead")
        from satdiag.simulate.pty_outlet import PtyOutlet

        return PtyOutlet(say)
    except OSError as error:
        mend = "choose another port, or 0 to have a free one chosen" if port is not None else "use a socket instead"
        raise ValueError(f"cannot serve on {text} ({error.strerror}); {mend}") from error


def _port(text: str) -> int:
    example = "write socket://127.0.0.1:0 (0: any free port) or pty"
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        raise ValueError(f"'{text}' has no port from 0 to 65535; {example}") from None
    if parts.scheme != "socket" or parts.path or parts.query or parts.fragment or parts.username is not None:
        raise ValueError(f"'{text}' is nothing to serve on; {example}")
    if parts.hostname not in HOSTS:
        raise ValueError(f"'{text}' would be heard outside this computer, which is not offered; {example}")
    if port is None:
        raise ValueError(f"'{text}' has no port; {example}")
    return port


class _Elapsed:
    """Real seconds since the start, without stretches in which nothing could be done."""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._last_s = time.monotonic()
        self._now_s = self._left_out_s = 0.0

    def now_s(self) -> float:
        """Seconds so far; at most `LONGEST_STEP_S` more than at the last call."""
        at_s = time.monotonic()
        step_s, self._last_s = at_s - self._last_s, at_s
        if step_s > LONGEST_STEP_S:
            if not self._left_out_s:
                self._say.warn("This computer slept, or cannot keep up with the speed; the world's time waits.")
            self._left_out_s += step_s - LONGEST_STEP_S
        self._now_s += min(step_s, LONGEST_STEP_S)
        return self._now_s


def serve(
    device: Device,
    outlet: Outlet,
    say: Say,
    *,
    speed: float = 1.0,
    upset: Upset | None = None,
    for_s: float | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> None:
    """Let the device speak until `for_s` real seconds are over or `stopped` says so; the outlet stays open.

    `speed`: seconds of the world in a real second.
    """
    upset = upset or Upset((), 0)
    acts: deque[Act] = deque()
    outlet.turn(0.0)  # a reader that is there already hears the first line
    elapsed = _Elapsed(say)
    while not stopped():
        now_s = elapsed.now_s()
        if for_s is not None and now_s >= for_s:
            return
        for at_s, line in device.lines_until((now_s + AHEAD_S) * speed):
            acts.extend(upset.pass_on(at_s / speed, line))
        while acts and acts[0].at_s <= now_s:
            _do(acts.popleft(), outlet, say)
        next_s = acts[0].at_s - now_s if acts else LONGEST_TURN_S
        outlet.turn(min(LONGEST_TURN_S, max(SHORTEST_TURN_S, next_s)))


def _do(act: Act, outlet: Outlet, say: Say) -> None:
    if act.what:
        say.detail(act.what)
    if act.do == "send":
        outlet.send(act.data)
    elif act.do == "unplug":
        outlet.unplug()
    else:
        outlet.plug()
