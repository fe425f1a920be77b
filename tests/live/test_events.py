"""The stream of events: what comes, how often, in which form, and that both ends end it."""

import asyncio
import json
import re
import time

import pytest

from satdiag.live import events
from satdiag.live.events import EventStream
from satdiag.live.frame import QUICK
from satdiag.recorder.writer import COMMIT_EVERY_S
from tests.live.rigs import PAGE, browser, new_job, running, tap
from tests.recorder.conftest import nothing_is_left  # noqa: F401


@pytest.fixture
def place(tmp_path):
    return new_job(tmp_path / "demo.satjob")


class Listener:
    """The other end of a stream, in the same event loop. `states`: (when, id, state) of each event."""

    def __init__(self, deck, role="write", stuck=False):
        self.gone, self.states, self.other, self.ended = asyncio.Event(), [], [], False
        self._stuck, self.begun_s = stuck, time.monotonic()
        self.task = asyncio.create_task(EventStream(deck, role)({}, self._receive, self._send))

    async def _receive(self):
        await self.gone.wait()
        return {"type": "http.disconnect"}

    async def _send(self, message):
        if message["type"] == "http.response.start":
            self.start = message
            return
        if self._stuck and self.states:
            await asyncio.Event().wait()
        self.ended = not message["more_body"]
        self._take(message["body"].decode())

    def _take(self, text):
        if not text:
            return
        assert text.endswith("\n\n")
        found = re.fullmatch(r"id: (\d+)\nevent: state\ndata: ([^\n]*)\n\n", text)
        if found:
            self.states.append((time.monotonic(), int(found[1]), json.loads(found[2])))
        else:
            self.other.append(text)

    async def wait_for(self, count, timeout_s=60.0):
        """Until so many states have come."""
        async with asyncio.timeout(timeout_s):
            while len(self.states) < count:
                await asyncio.sleep(0.02)


def taps(deck, *sent):
    """Send taps as a page does."""
    return asyncio.to_thread(deck.take_taps, PAGE, list(sent))


def test_what_changed_is_told_at_the_next_look_and_none_of_the_slower_clocks_is_waited_for(place, monkeypatch):
    """A commit, the gap between two states and a look, which this does without, are all that there is to wait for."""
    for name in ("LOOK_EVERY_S", "AGES_EVERY_S", "PING_EVERY_S"):
        monkeypatch.setattr(events, name, 3600.0)

    async def run(deck):
        heard = Listener(deck)
        await heard.wait_for(1)
        for _ in range(3):
            before = heard.states[-1][1]
            await taps(deck, tap("channel", "2", "refused"))
            async with asyncio.timeout(60):
                while heard.states[-1][1] == before:
                    await asyncio.sleep(0.02)
        heard.gone.set()
        await heard.task

    with running(place) as deck:
        asyncio.run(run(deck))
    assert COMMIT_EVERY_S + events.GAP_S + events.PAUSE_S < 1.0


def test_the_whole_state_comes_first_and_then_what_changed(place):
    async def run(deck):
        heard = Listener(deck)
        await heard.wait_for(1)
        await taps(deck, tap("channel", "2", "refused"))
        await heard.wait_for(2)
        heard.gone.set()
        await asyncio.wait_for(heard.task, 60)
        return heard

    with running(place) as deck:
        heard = asyncio.run(run(deck))
        whole = deck.state("write")
    (_, first_id, first), (_, second_id, second) = heard.states[:2]
    assert dict(heard.start["headers"])[b"content-type"].startswith(b"text/event-stream")
    assert (first_id, second_id) == (0, 1)
    assert [one["number"] for one in first["channels"]] == [1, 2, 3, 4, 5]
    assert [(one["number"], one["state"]) for one in second["channels_changed"]] == [(2, "refused")]
    assert "channels_changed" not in first
    assert set(first) == set(whole)
    assert set(second) == {*QUICK, "channels_changed", "entries_changed", "entries_from", "now"}
    assert [one["words"] for one in second["entries_changed"]] == ["channel 2: refused"]
    assert first["role"] == "write"


@pytest.mark.parametrize("watching", ["write", "watch"])
def test_channels_that_went_away_are_told_by_sending_all_that_are_there(place, watching):
    """Another line-up, one with more channels, one with other names: only the last has the numbers it had before."""

    async def run(deck):
        heard = Listener(deck, watching)
        await heard.wait_for(1)
        async with browser(deck) as client:
            for count, numbers in enumerate([(2, 3), (2, 3, 77), (2, 3, 77)], 2):
                channels = [{"number": one, "name": f"Demo {count}", "category": "music"} for one in numbers]
                answer = await client.post("/lineup", json={"channels": channels})
                assert answer.status_code == 200
                await _told(heard, 2, f"Demo {count}")
        heard.gone.set()
        await heard.task
        return heard

    with running(place) as deck:
        heard = asyncio.run(run(deck))
    known = {}
    for _, _, state in heard.states:  # as a page does it
        if "channels" in state:
            known = {}
        for one in state.get("channels", state.get("channels_changed")):
            known[one["number"]] = one["name"]
    assert known == dict.fromkeys((2, 3, 77), "Demo 4")
    whole = [[one["number"] for one in state["channels"]] for _, _, state in heard.states if "channels" in state]
    assert whole == [[1, 2, 3, 4, 5], [2, 3], [2, 3, 77]]


async def _told(heard, number, name):
    """Until the stream has named a channel so."""
    async with asyncio.timeout(60):
        while not any(
            (one["number"], one["name"]) == (number, name)
            for _, _, state in heard.states
            for one in state.get("channels", state.get("channels_changed"))
        ):
            await asyncio.sleep(0.02)


def test_many_commits_are_brought_together(place):
    async def run(deck):
        heard = Listener(deck)
        await heard.wait_for(1)
        for n in range(40):
            await taps(deck, tap("note", "", f"demo {n}"))
            await asyncio.sleep(0.02)
        async with asyncio.timeout(60):
            while heard.states[-1][1] < 40:
                await asyncio.sleep(0.02)
        heard.gone.set()
        await heard.task
        return heard

    with running(place) as deck:
        heard = asyncio.run(run(deck))
    seconds = heard.states[-1][0] - heard.begun_s
    assert 2 < len(heard.states) <= 2 + seconds / events.GAP_S
    ids = [number for _, number, _ in heard.states]
    assert ids == sorted(ids)


def test_a_quiet_stream_pings_and_tells_the_ages_again(place, monkeypatch):
    monkeypatch.setattr(events, "PING_EVERY_S", 0.5)
    monkeypatch.setattr(events, "AGES_EVERY_S", 0.6)
    monkeypatch.setattr(events, "LOOK_EVERY_S", 0.3)

    async def run(deck):
        await taps(deck, tap("channel", "2", "refused"))
        while deck.state(None)["analysis_age_s"] is None:
            await asyncio.sleep(0.05)
        heard = Listener(deck)
        await heard.wait_for(3)
        heard.gone.set()
        await heard.task
        return heard

    with running(place) as deck:
        heard = asyncio.run(run(deck))
    assert heard.other
    assert set(heard.other) == {": ping\n\n"}
    assert [state["channels_changed"] for _, _, state in heard.states[1:]] == [[], []]


def test_it_ends_when_the_server_ends(place):
    async def run(deck):
        heard = [Listener(deck), Listener(deck, "watch")]
        for one in heard:
            await one.wait_for(1)
        deck.closing.set()
        await asyncio.wait_for(asyncio.gather(*(one.task for one in heard)), 60)
        assert all(one.ended for one in heard)
        assert len(asyncio.all_tasks()) == 1

    with running(place) as deck:
        asyncio.run(run(deck))


def test_a_page_that_takes_nothing_is_let_go_and_holds_nobody_up(place, monkeypatch):
    monkeypatch.setattr(events, "PATIENCE_S", 0.4)

    async def run(deck):
        stuck, well = Listener(deck, stuck=True), Listener(deck)
        await stuck.wait_for(1)
        await well.wait_for(1)
        for n in range(5):
            await taps(deck, tap("note", "", f"demo {n}"))
        await asyncio.wait_for(stuck.task, 60)
        async with asyncio.timeout(60):
            while well.states[-1][1] < 5:
                await asyncio.sleep(0.02)
        well.gone.set()
        await well.task
        assert not stuck.ended

    with running(place) as deck:
        asyncio.run(run(deck))


def test_what_a_device_says_comes_within_a_second_and_not_at_every_row(place):
    """A replay of levels that were noted every 20 s, 600 times as fast: 30 rows a second."""
    from satdiag.recorder.clock import Clock
    from satdiag.recorder.replay_source import ReplaySource
    from satdiag.store import create_job_file
    from tests.helpers import make_job

    rows = "\n".join(f"{n // 3}:{n % 3 * 20:02d} signal satellite:demo {n % 9} dB" for n in range(120))
    other = place.with_name("levels.satjob")
    create_job_file(other, make_job(rows))

    async def run(deck):
        heard = Listener(deck)
        async with asyncio.timeout(120):
            while not heard.states or heard.states[-1][1] < 60:
                await asyncio.sleep(0.02)
        heard.gone.set()
        await heard.task
        return heard

    clock = Clock()
    with running(place, sources=[ReplaySource(other, 600.0, clock, "replay")], clock=clock) as deck:
        heard = asyncio.run(run(deck))
    seconds = heard.states[-1][0] - heard.begun_s
    assert len(heard.states) <= 2 + seconds / 0.6
    assert heard.states[-1][2]["levels"][0]["path"] == "satellite:demo"
