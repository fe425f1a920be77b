"""More channels than the page is sent whole: answered in-process over a real deck and a real job file."""

import asyncio
import json

import pytest

from satdiag.job import build_job
from satdiag.live.lineups import MOST_CATEGORIES, MOST_WORDS, folded, summary
from satdiag.live.roll import PART
from satdiag.store import create_job_file
from satdiag.tables import LineUpChannel
from tests.live.rigs import PAGE, SHEET, WATCH, browser, new_job, running, tap, until
from tests.recorder.conftest import nothing_is_left  # noqa: F401

WHOLE, AT_ONCE, COUNT = 40, 120, 240
"""Fewer than a job has, as each is analysed too."""

MOST_BYTES = 60_000
"""Of what a page is sent at once, however many channels there are."""


@pytest.fixture(autouse=True)
def few_are_many(monkeypatch):
    monkeypatch.setattr("satdiag.live.many.WHOLE", WHOLE)
    monkeypatch.setattr("satdiag.live.many.AT_ONCE", AT_ONCE)


@pytest.fixture
def place(tmp_path):
    lines = [f"{n},Demo {n},Demo group {n % 8},full" for n in range(1, COUNT + 1)]
    lineup = "\n".join(["channel,name,category,packages", *lines, ""]).encode()
    place = tmp_path / "demo.satjob"
    create_job_file(place, build_job({"job.toml": SHEET, "lineup.csv": lineup}, []))
    return place


def asked(deck, work, **who):
    """Do some work with a browser."""

    async def run():
        async with browser(deck, **who) as client:
            return await work(client)

    return asyncio.run(run())


def test_a_page_is_sent_counts_and_the_part_that_it_asks_for(place):
    async def work(client):
        await client.post(
            "/taps", json={"page": PAGE, "taps": [tap(subject="7"), tap(subject="8", value="authorised")]}
        )
        await client.post("/taps", json={"page": PAGE, "taps": [tap(subject="99999", value="authorised")]})
        return (
            await client.get("/state"),
            await client.get("/channels", params={"first": PART}),
            await client.get("/channels", params={"words": "99999"}),
            await client.get("/channels/numbers", params={"category": "Demo group 1"}),
            await client.get("/channels/numbers", params={"from": 10, "to": 12}),
        )

    with running(place) as deck:
        answers = asked(deck, work)
        frame = deck.frame("write")
    state, second, one, group, three = (answer.json() for answer in answers)
    assert state["channels"] == []
    assert state["entries"]
    counts = {"channels": COUNT + 1, "plays": 2, "due": COUNT - 2}
    assert {key: state["wide"][key] for key in counts} == counts
    assert (second["first"], second["found"], len(second["channels"])) == (PART, COUNT + 1, PART)
    in_order = sorted(range(1, COUNT + 1), key=lambda n: ((n - 1) % 8, n))
    assert [one["number"] for one in second["channels"]] == in_order[PART : 2 * PART]
    assert second["groups"][0] == {"category": "Demo group 4", "channels": COUNT // 8, "plays": 0}
    assert [(one["number"], one["state"]) for one in one["channels"]] == [(99999, "authorised")]
    assert one["groups"] == [{"category": "", "channels": 1, "plays": 1}]
    assert (group["count"], group["numbers"][-1], group["most"]) == (COUNT // 8, COUNT - 7, AT_ONCE)
    assert (three["numbers"], three["count"]) == ([10, 11, 12], 3)
    assert max(len(answer.content) for answer in answers) < MOST_BYTES
    assert frame.lists["channels"] == {}
    assert json.loads(frame.rest["wide"])["channels"] == COUNT + 1


def test_more_than_can_be_marked_at_once_are_counted_and_not_told(place):
    with running(place) as deck:
        told = asked(deck, lambda client: client.get("/channels/numbers"), code=WATCH).json()
    assert told == {"numbers": [], "count": COUNT, "from": 1, "to": COUNT, "most": AT_ONCE}


@pytest.mark.parametrize(
    "address",
    [
        *(
            "/channels?show=nothing",
            "/channels?first=-1",
            "/channels?first=1e3",
            "/channels?first=",
            "/channels/numbers?to=x",
        ),
        *(f"/channels?words={'a' * 1001}", "/channels/numbers?from=12345678", f"/channels?category={'a' * 1001}"),
    ],
)
def test_an_address_that_asks_for_nothing_that_can_be_told_is_refused(tmp_path, address):
    with running(new_job(tmp_path / "demo.satjob")) as deck:
        answer = asked(deck, lambda client: client.get(address))
    assert answer.status_code == 400
    assert "must be" in answer.json()["error"]


def test_another_line_up_is_told_another_way_as_it_is_small_or_large(place):
    async def work(client):
        before = (await client.get("/channels")).json()["wide"]["version"]
        small = {"channels": [{"number": 5, "name": "Demo Five", "category": "music"}]}
        assert (await client.post("/lineup", json=small)).status_code == 200
        few = ((await client.get("/state")).json(), (await client.get("/channels")).json())
        large = {"channels": [{"number": n, "name": "Demo", "category": "music"} for n in range(WHOLE + 1)]}
        assert (await client.post("/lineup", json=large)).status_code == 200
        return before, few, (await client.get("/state")).json(), (await client.get("/channels")).json()

    with running(place) as deck:
        before, (state, part), wide, many = asked(deck, work)
    assert ([one["number"] for one in state["channels"]], state["wide"]) == ([5], None)
    assert (part["wide"], part["channels"]) == (None, [])
    assert (wide["channels"], wide["wide"]["channels"], len(many["channels"])) == ([], WHOLE + 1, WHOLE + 1)
    assert many["wide"]["version"] > before


def test_a_log_without_a_line_up_grows_beyond_what_is_sent_whole(tmp_path):
    with running(new_job(tmp_path / "demo.satjob", lineup=False)) as deck:
        assert deck.state("write")["wide"] is None
        for first in range(0, WHOLE + 50, 45):
            deck.take_taps(PAGE, [tap(subject=str(n), value="authorised") for n in range(first, first + 45)])
        until(lambda: deck.state("write")["wide"])
        told = deck.state("write")["wide"]
    assert (told["channels"], told["plays"], told["due"]) == (WHOLE + 50, WHOLE + 50, 0)


def test_a_summary_of_very_many_categories_and_words_is_folded_and_counts_the_same():
    def line(number):
        return LineUpChannel(number, "", f"Demo {number}", frozenset({"full", f"word-{number}"}))

    lines = [line(number) for number in range(2 * MOST_CATEGORIES)]
    whole = summary(lines)
    told = folded(whole, "word-599")
    assert len(told["categories"]) == MOST_CATEGORIES + 1
    assert [one["category"] for one in told["categories"][-2:]] == [f"Demo {MOST_CATEGORIES - 1}", None]
    for key in ("channels", "open", "blank"):
        assert sum(one[key] for one in told["categories"]) == sum(one[key] for one in whole["categories"])
    others = dict(told["categories"][-1]["packages"])
    assert (len(others), others["full"], others["word-599"]) == (MOST_WORDS, MOST_CATEGORIES, 1)
    assert folded(summary(lines[:5]), "full") == summary(lines[:5])
