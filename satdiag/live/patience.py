"""Connections that say nothing: none is held for long without a whole request head, and no address holds many.

Without this, strangers who open connections and send nothing would take all that the server has, and keep the page
from those who are paired.
"""

from __future__ import annotations

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_WAIT_S = 10.0
"""A connection that has sent no whole request head for so long is closed."""

MOST_OF_ONE = 128
"""So many connections of one address; a browser holds 6 to a page's host, and twenty may stand behind one router."""

MOST = 208
"""So many of all together: beside them a system that allows 256 open files has room for the job."""


class PatientProtocol(H11Protocol):
    """HTTP/1.1 as uvicorn speaks it, with a time limit for a request's head and a limit for each address."""

    _head_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, or end it at once if its address holds too many."""
        super().connection_made(transport)
        if self.client is not None and sum(_address(one) == self.client[0] for one in self.connections) > MOST_OF_ONE:
            transport.abort()
            return
        self._watch_head()

    def data_received(self, data: bytes) -> None:
        """Take bytes; a part of a head does not win more time for the rest of it."""
        super().data_received(data)
        self._watch_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Nothing is watched any more."""
        self._stop()
        super().connection_lost(exc)

    def _watch_head(self) -> None:
        if self.conn.their_state is not h11.IDLE:  # a whole head has come
            self._stop()
        elif self._head_timer is None and not self.transport.is_closing():
            self._head_timer = self.loop.call_later(HEAD_WAIT_S, self._too_slow)

    def _stop(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def _too_slow(self) -> None:
        self._head_timer = None
        if self.conn.their_state is h11.IDLE and not self.transport.is_closing():
            self.transport.close()


def _address(connection: object) -> str | None:
    client = getattr(connection, "client", None)
    return client[0] if client else None
