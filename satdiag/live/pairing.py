"""Who may do what: pairing codes, the sessions they opened, and the delay that makes guessing hopeless.

Of a session's token only the SHA-256 is held, here and in the book in which sessions outlive a crash. It needs no
salt: a token is 256 random bits.
"""

from __future__ import annotations

import hashlib
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from time import monotonic, time
from typing import Literal, NamedTuple, Protocol

from satdiag.language import tell

Role = Literal["write", "watch"]

DIGITS = 8
FREE_TRIES = 5
FIRST_DELAY_S = 1.0
LONGEST_DELAY_S = 60.0
"""At most 1,440 guesses a day of 100,000,000 codes."""

MOST_SESSIONS = 64
"""Of each role: those who look on never put out those who write."""

LONGEST_S = 48 * 3600.0
"""No page is served for longer, so no session lasts longer."""


class WrongCode(Exception):
    """The code is none of ours."""


class TooSoon(Exception):
    """No code is looked at before `wait_s` are over."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s = wait_s
        super().__init__(tell("too many wrong codes; wait {wait:.0f} s", wait=wait_s))


class Session(NamedTuple):
    """One paired page: the SHA-256 of its token in hex, what it may do, and when that ends.

    `ends_s` is on the pairing's own clock in memory, and in seconds since 1970 in a book.
    """

    digest: str
    role: Role
    ends_s: float


class Book(Protocol):
    """Where sessions outlive a crash. It raises nothing: a pairing works without."""

    def read(self, now_s: float) -> list[Session]:
        """The sessions that have not ended; `now_s` since 1970."""

    def write(self, sessions: Sequence[Session]) -> None:
        """Keep these, and no others."""

    def remove(self) -> None:
        """Keep none."""


def new_code() -> str:
    """A code of 8 digits that nobody can foretell."""
    return f"{secrets.randbelow(10**DIGITS):0{DIGITS}d}"


def digest_of(token: str) -> str:
    """The SHA-256 of a token, in hex."""
    return hashlib.sha256(token.encode()).hexdigest()


class Pairing:
    """The codes of one start of the server, and the sessions they opened. May be used from any thread.

    `code` lets write, `watch_code` only look on. The delay holds for everyone, wherever they come from, and only the
    code to write ends it: who may look on could guess at the other code between two right ones. Sessions end
    `lasts_s` after the start; those in the `book` of an earlier start go on until their own end. `inherited`: how
    many these were.
    """

    def __init__(
        self,
        code: str | None = None,
        watch_code: str | None = None,
        now_s: Callable[[], float] = monotonic,
        lasts_s: float = LONGEST_S,
        book: Book | None = None,
        wall_s: Callable[[], float] = time,
    ) -> None:
        self.code = code or new_code()
        self.watch_code = watch_code or new_code()
        while self.watch_code == self.code:
            self.watch_code = new_code()
        self._now_s, self._wall_s, self._book = now_s, wall_s, book
        self._lock = threading.Lock()
        self._wrong = 0
        self._not_before_s = 0.0
        self._ends_s = now_s() + lasts_s
        self._sessions: OrderedDict[str, Session] = OrderedDict()
        for kept in book.read(wall_s()) if book else ():
            self._sessions[kept.digest] = kept._replace(ends_s=kept.ends_s - wall_s() + now_s())
        self.inherited = len(self._sessions)

    def pair(self, code: str) -> tuple[str, Role]:
        """A new session's token and its role; it may write a file. Raises TooSoon, WrongCode."""
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
                raise WrongCode(tell("that is not the code"))
            if role == "write":
                self._wrong = 0
            token = secrets.token_urlsafe(32)
            self._add(Session(digest_of(token), role, self._ends_s))
            return token, role

    def _role_of_code(self, code: str) -> Role | None:
        """Both comparisons are made, whatever the first one says."""
        given = "".join(code.split()).encode()
        writes = secrets.compare_digest(given, self.code.encode())
        watches = secrets.compare_digest(given, self.watch_code.encode())
        return "write" if writes else "watch" if watches else None

    def _add(self, session: Session) -> None:
        self._sessions[session.digest] = session
        alike = [digest for digest, one in self._sessions.items() if one.role == session.role]
        for digest in alike[:-MOST_SESSIONS]:
            del self._sessions[digest]
        if self._book:
            later_s, now_s = self._wall_s() - self._now_s(), self._now_s()
            living = [one for one in self._sessions.values() if one.ends_s > now_s]
            self._book.write([one._replace(ends_s=one.ends_s + later_s) for one in living])

    def role(self, token: str | None) -> Role | None:
        """The role of a session; None if there is no such session, or it has ended."""
        found = None if token is None else self._sessions.get(digest_of(token))
        return found.role if found is not None and self._now_s() < found.ends_s else None

    @property
    def left_s(self) -> float:
        """In how many seconds a session that is opened now ends."""
        return max(0.0, self._ends_s - self._now_s())

    def forget(self) -> None:
        """Leave nothing in the book, now and later: a next start asks for its code."""
        with self._lock:
            if self._book:
                self._book.remove()
            self._book = None
