"""Who may do what: pairing codes, sessions in memory, and the delay that makes guessing hopeless."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from time import monotonic
from typing import Literal

Role = Literal["write", "watch"]

DIGITS = 8
FREE_TRIES = 5
FIRST_DELAY_S = 1.0
LONGEST_DELAY_S = 60.0
"""At most 1,440 guesses a day of 100,000,000 codes."""

MOST_SESSIONS = 64


class WrongCode(Exception):
    """The code is none of ours."""


class TooSoon(Exception):
    """No code is looked at before `wait_s` are over."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s = wait_s
        super().__init__(f"too many wrong codes; wait {wait_s:.0f} s")


def new_code() -> str:
    """A code of 8 digits that nobody can foretell."""
    return f"{secrets.randbelow(10**DIGITS):0{DIGITS}d}"


class Pairing:
    """The codes of one start of the server, and the sessions they opened. May be used from any thread.

    `code` lets write, `watch_code` only look on. The delay holds for everyone, wherever they come from.
    """

    def __init__(
        self, code: str | None = None, watch_code: str | None = None, now_s: Callable[[], float] = monotonic
    ) -> None:
        self.code = code or new_code()
        self.watch_code = watch_code or new_code()
        while self.watch_code == self.code:
            self.watch_code = new_code()
        self._now_s = now_s
        self._lock = threading.Lock()
        self._wrong = 0
        self._not_before_s = 0.0
        self._sessions: OrderedDict[str, Role] = OrderedDict()

    def pair(self, code: str) -> tuple[str, Role]:
        """A new session's token and its role. Raises TooSoon, WrongCode."""
        with self._lock:
            now_s = self._now_s()
            if now_s < self._not_before_s:
                raise TooSoon(self._not_before_s - now_s)
            role = self._role_of_code(code)
            if role is None:
                self._wrong += 1
                if self._wrong >= FREE_TRIES:
                    delay_s = min(FIRST_DELAY_S * 2.0 ** min(self._wrong - FREE_TRIES, 10), LONGEST_DELAY_S)
                    self._not_before_s = now_s + delay_s
                raise WrongCode("that is not the code")
            self._wrong = 0
            token = secrets.token_urlsafe(32)
            self._sessions[token] = role
            while len(self._sessions) > MOST_SESSIONS:
                self._sessions.popitem(last=False)
            return token, role

    def _role_of_code(self, code: str) -> Role | None:
        """Both comparisons are made, whatever the first one says."""
        given = "".join(code.split()).encode()
        writes = secrets.compare_digest(given, self.code.encode())
        watches = secrets.compare_digest(given, self.watch_code.encode())
        return "write" if writes else "watch" if watches else None

    def role(self, token: str | None) -> Role | None:
        """The role of a session; None if there is no such session."""
        return None if token is None else self._sessions.get(token)
