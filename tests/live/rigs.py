"""A deck on a real job file, taps as a page sends them, and requests to the application as a browser makes them."""

from __future__ import annotations

import time
import uuid
from contextlib import asynccontextmanager, contextmanager
from functools import partial

import httpx

from satdiag.job import build_job
from satdiag.live import deck as deck_module
from satdiag.live.app import make_app
from satdiag.live.deck import Deck
from satdiag.live.pairing import Pairing
from satdiag.live.security import Access, Limits
from satdiag.store import create_job_file

HOST = "127.0.0.1:8000"
PAGE = "0f0e0d0c-1111-4222-8333-444455556666"
SHEET = b"""[job]
id = "demo-job"
vehicle = "demo van"

[[site]]
name = "demo yard"
latitude_deg = 45.0
longitude_deg = -93.0

[receiver]
id = "DEMO00042"

[service]
package = "full"
"""
LINEUP = b"""channel,name,category,packages
1,Demo One,music,full
2,Demo Two,music,full
3,Demo Three,talk,other
4,Demo Four,talk,
5,Demo Five,info,open
"""
CODE, WATCH = "12345678", "87654321"
LOOSE = Limits(1e6, 1e6, 1e6, 1e6)
PATIENCE_S = 60.0
"""How long an answer waits for a commit, where a test does not say otherwise: a busy computer is late."""
deck_module.CHANGE_WAIT_S = PATIENCE_S


def new_job(place, lineup=True):
    """A job file with a line-up and no observation."""
    create_job_file(place, build_job({"job.toml": SHEET, **({"lineup.csv": LINEUP} if lineup else {})}, []))
    return place


@contextmanager
def running(place, **more):
    """A deck that records into a file."""
    deck = Deck(place, **{"analyse_every_s": 600.0, **more})
    deck.start()
    deck._taps.take = partial(deck._taps.take, wait_s=PATIENCE_S)
    try:
        yield deck
    finally:
        summary = deck.stop()
        assert summary.unwritten == ()


def tap(kind="channel", subject="31", value="refused", **more):
    """One tap, made now on a telephone whose clock is 1,500 ms late."""
    return {
        "key": str(uuid.uuid4()),
        "kind": kind,
        "subject": subject,
        "value": value,
        "wall_ms": time.time() * 1000 - 1500,
        "mono_ms": 12345.678,
        "offset_ms": 1500.25,
        "uncertainty_ms": 2.6,
        **more,
    }


def until(what, timeout_s=PATIENCE_S):
    """Wait until something is so."""
    end = time.monotonic() + timeout_s
    while not (found := what()):
        assert time.monotonic() < end, "too slow"
        time.sleep(0.02)
    return found


def access(limits=LOOSE, **more):
    """Who is let in to an application under test."""
    return Access({HOST}, Pairing(CODE, WATCH, **more), "satdiag_test", limits)


@asynccontextmanager
async def browser(deck, who=None, code=CODE):
    """A client of the application, paired with `code`; None: not paired."""
    app = make_app(deck, who or access())
    transport = httpx.ASGITransport(app=app)
    async with httpx.AsyncClient(
        transport=transport, base_url=f"http://{HOST}", headers={"X-Satdiag": "1"}
    ) as client:
        if code is not None:
            answer = await client.post("/pair", json={"code": code})
            assert answer.status_code == 200, answer.text
        yield client
