"""Server-sent events: the state of the page as it changes, a few times a second at most.

What an event holds is said in `frame`. Each page holds one state at most that waits to be sent; a page that does not
take it is let go. The format is that of https://html.spec.whatwg.org/multipage/server-sent-events.html.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from time import monotonic
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool

from satdiag.live.frame import Told

if TYPE_CHECKING:
    from starlette.types import Message, Receive, Scope, Send

    from satdiag.live.deck import Deck
    from satdiag.live.pairing import Role

GAP_S = 0.2
"""At most five states a second."""

PAUSE_S = 0.04
"""How often it is looked at whether there is something new: what comes after a while of quiet is sent so soon."""

AGES_EVERY_S = 5.0
"""A state is sent this often though nothing was committed, so that ages and troubles are true."""

LOOK_EVERY_S = 0.7
"""How often it is looked at whether something else has changed: a level, a source, the store, the analysis."""

PING_EVERY_S = 15.0
PATIENCE_S = 20.0
"""A page that takes nothing for so long is let go."""


class EventStream:
    """An ASGI response that sends the state until the page or the server ends, or `still` says that it may not.

    `room`: how many threads all streams together may take, as others wait for one too.
    """

    def __init__(
        self,
        deck: Deck,
        role: Role | None,
        still: Callable[[], bool] = lambda: True,
        room: asyncio.Semaphore | None = None,
    ) -> None:
        self._deck, self._role, self._still, self._room = deck, role, still, room or asyncio.Semaphore()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send until either side ends."""
        headers = [(b"content-type", b"text/event-stream; charset=utf-8"), (b"cache-control", b"no-store")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        gone = asyncio.create_task(_until_gone(receive))
        sending = asyncio.create_task(self._run(send))
        try:
            await asyncio.wait({gone, sending}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (gone, sending):
                task.cancel()
            await asyncio.gather(gone, sending, return_exceptions=True)

    async def _run(self, send: Send) -> None:
        seen, look_s, sent_s, ping_s, sign, told = -1, 0.0, 0.0, monotonic(), "", Told()
        while not self._deck.closing.is_set() and self._still():
            now_s, changes = monotonic(), self._deck.changes
            if (changes != seen and now_s - sent_s >= GAP_S) or now_s >= look_s:
                async with self._room:
                    frame = await run_in_threadpool(self._deck.frame, self._role)
                look_s = now_s + LOOK_EVERY_S
                if changes != seen or frame.sign != sign or now_s - sent_s >= AGES_EVERY_S:
                    await _put(send, told.event(frame))
                    seen, sent_s, sign = changes, now_s, frame.sign
            if now_s - ping_s >= PING_EVERY_S:
                await _put(send, b": ping\n\n")
                ping_s = now_s
            await asyncio.sleep(PAUSE_S)
        await _put(send, b"", more=False)


async def _put(send: Send, data: bytes, more: bool = True) -> None:
    message: Message = {"type": "http.response.body", "body": data, "more_body": more}
    await asyncio.wait_for(send(message), PATIENCE_S)


async def _until_gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
