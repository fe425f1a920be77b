"""Server-sent events: the state of the page as it changes, a few times a second at most.

An event holds the state but for `channels`: instead there is `channels_changed`, those that are not as this stream
sent them last. Whenever there are other channels than before (at the start, and with a new line-up) it holds
`channels`, all of them, and whoever listens forgets the others.

Each page holds one state at most that waits to be sent; a page that does not take it is let go. The format is that
of https://html.spec.whatwg.org/multipage/server-sent-events.html.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Mapping
from time import monotonic
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool

from satdiag.live.state import changed

if TYPE_CHECKING:
    from starlette.types import Message, Receive, Scope, Send

    from satdiag.live.deck import Deck
    from satdiag.live.pairing import Role

PAUSE_S = 0.2
"""At most five states a second."""

AGES_EVERY_S = 5.0
"""A state is sent this often though nothing was committed, so that ages and troubles are true."""

LOOK_EVERY_S = 0.7
"""How often it is looked at whether something else has changed: a level, a source, the store, the analysis."""

PING_EVERY_S = 15.0
PATIENCE_S = 20.0
"""A page that takes nothing for so long is let go."""

_AGES = ("channels", "channels_changed", "analysis_age_s", "speed_age_s", "role")


class EventStream:
    """An ASGI response that sends the state until the page or the server ends, or `still` says that it may not."""

    def __init__(self, deck: Deck, role: Role | None, still: Callable[[], bool] = lambda: True) -> None:
        self._deck, self._role, self._still = deck, role, still
        self._channels: dict[int, Mapping[str, Any]] = {}

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
        seen, look_s, sent_s, ping_s, told = -1, 0.0, 0.0, monotonic(), ""
        while not self._deck.closing.is_set() and self._still():
            now_s, changes = monotonic(), self._deck.changes
            if changes != seen or now_s >= look_s:
                state = await run_in_threadpool(self._deck.state, self._role)
                look_s = now_s + LOOK_EVERY_S
                text = _lasting(state)
                if changes != seen or text != told or now_s - sent_s >= AGES_EVERY_S:
                    await _put(send, self._event(state))
                    seen, sent_s, told = changes, now_s, text
            if now_s - ping_s >= PING_EVERY_S:
                await _put(send, b": ping\n\n")
                ping_s = now_s
            await asyncio.sleep(PAUSE_S)
        await _put(send, b"", more=False)

    def _event(self, state: dict[str, Any]) -> bytes:
        """The state as an event; of the same channels as before only those that are not as this page knows them."""
        channels, before = state["channels"], self._channels
        self._channels = {one["number"]: one for one in channels}
        if before.keys() == self._channels.keys():
            del state["channels"]
            state["channels_changed"] = changed(before, channels)
        data = json.dumps(state, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
        return f"id: {state['rows']}\nevent: state\ndata: {data}\n\n".encode()


def _lasting(state: Mapping[str, Any]) -> str:
    """Everything of a state that does not change by time going on alone."""
    kept = {key: value for key, value in state.items() if key not in _AGES}
    kept["sources"] = [{**one, "age_s": None} for one in state["sources"]]
    kept["levels"] = [{**one, "age_s": None} for one in state["levels"]]
    return json.dumps(kept)


async def _put(send: Send, data: bytes, more: bool = True) -> None:
    message: Message = {"type": "http.response.body", "body": data, "more_body": more}
    await asyncio.wait_for(send(message), PATIENCE_S)


async def _until_gone(receive: Receive) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
