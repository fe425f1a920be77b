"""What an event holds: put together as a page does it, every state must come out whole, whatever changed."""

from __future__ import annotations

import json
from random import Random

from satdiag.live.frame import QUICK, Frame, Told

REST = ("job", "sheet", "now", "analysis")
STATES = ("authorised", "refused", None)


def made(draw, before=None):
    """A state as it may follow on another one: little, much or nothing has changed."""
    channels = [{**one, "checked_s_ago": draw.random()} for one in (before or {}).get("channels", ())]
    for one in channels:
        if draw.random() < 0.1:
            one["state"] = draw.choice(STATES)
    if not channels or draw.random() < 0.1:
        names = draw.sample(range(20), draw.randint(0, 8))
        channels = [{"number": n, "state": None, "checked_s_ago": None} for n in sorted(names)]
    entries = [dict(one) for one in (before or {}).get("entries", ())]
    newest = max((one["n"] for one in entries), default=0)
    fresh = [
        {"n": newest + k, "words": f'é "{draw.random()}"', "withdrawn": False} for k in range(1, draw.randint(1, 4))
    ]
    entries = (fresh[::-1] + entries)[:5]
    for one in entries:
        one["withdrawn"] |= draw.random() < 0.1
    rest = {key: {"value": draw.choice("ab")} for key in REST}
    quick = {key: draw.random() for key in QUICK} | {"rows": newest, "levels": [], "sources": []}
    return {**quick, **rest, "channels": channels, "entries": entries}


class Page:
    """What a page makes of events; the same as static/events.js."""

    def __init__(self):
        self.state = {}

    def take(self, event):
        head, name, data, *rest = event.decode().split("\n")
        assert (head[:4], name, rest) == ("id: ", "event: state", ["", ""])
        told = json.loads(data.removeprefix("data: "))
        if "channels" not in told:
            news = {one["number"]: one for one in told.pop("channels_changed")}
            told["channels"] = [news.get(one["number"], one) for one in self.state["channels"]]
        if "entries" not in told:
            news = {one["n"]: one for one in (*self.state["entries"], *told.pop("entries_changed"))}
            lowest = told.pop("entries_from")
            told["entries"] = [news[n] for n in sorted(news, reverse=True) if n >= lowest]
        self.state |= told


def ageless(state):
    """A state without what is not sent again as time alone goes on."""
    channels = [{key: value for key, value in one.items() if key != "checked_s_ago"} for one in state["channels"]]
    return {**state, "channels": channels}


def test_a_page_that_puts_events_together_has_the_whole_state_after_each_of_them():
    draw = Random(7)
    for _ in range(60):
        state, page, told = None, Page(), Told()
        for _ in range(12):
            state = made(draw, state)
            page.take(told.event(Frame(state)))
            assert ageless(page.state) == ageless(state)


def test_what_has_not_changed_is_not_sent_again():
    draw, told = Random(1), Told()
    state = made(draw)
    told.event(Frame(state))
    later = {**state, "analysis_age_s": 9.0, "now": {"value": "c"}}
    sent = json.loads(told.event(Frame(later)).decode().split("data: ")[1])
    assert set(sent) == {*QUICK, "now", "channels_changed", "entries_changed", "entries_from"}
    assert sent["channels_changed"] == sent["entries_changed"] == []


def test_only_time_going_on_is_no_change():
    state = made(Random(3)) | {"levels": [{"path": "satellite", "value": 3, "age_s": 1.0}]}
    later = {
        **state,
        "analysis_age_s": 77.0,
        "speed_age_s": 3.0,
        "built_s": 8.0,
        "levels": [{**state["levels"][0], "age_s": 9.0}],
    }
    assert Frame(state).sign == Frame(later).sign
    for key, value in (("levels", []), ("held", 3), ("now", {"value": "other"})):
        assert Frame({**state, key: value}).sign != Frame(state).sign
