"""What is not let in: foreign names, foreign pages, strangers, floods, guesses; what goes out always."""

import asyncio
import json
import re
from dataclasses import replace

import httpx
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from satdiag.live.app import make_app
from satdiag.live.pairing import (
    FREE_TRIES,
    LONGEST_DELAY_S,
    LONGEST_S,
    MOST_SESSIONS,
    Pairing,
    TooSoon,
    WrongCode,
    new_code,
)
from satdiag.live.security import CSP, MOST_BYTES, Limits, Rate, cookie_of
from satdiag.store import read_job_file
from tests.live.rigs import CODE, HOST, PAGE, WATCH, access, browser, new_job, running, tap, until
from tests.recorder.conftest import nothing_is_left  # noqa: F401

CHANGES = {
    "/taps": lambda: {"page": PAGE, "taps": [tap()]},
    "/sheet": lambda: {"changes": {"job.vehicle": "demo intruder"}},
    "/lineup": lambda: {"channels": [{"number": 9, "name": "Demo Intruder", "category": ""}], "outside": []},
    "/lineup/read": lambda: {"text": "9 Demo"},
}


@pytest.fixture(scope="module")
def deck(tmp_path_factory):
    """One for all tests here: none of them may change anything in its job."""
    with running(new_job(tmp_path_factory.mktemp("live") / "demo.satjob")) as deck:
        until(lambda: deck.state(None)["analysis_age_s"] is not None)  # what it opens is not left by a test
        yield deck


def asked(deck, work, code=CODE, **more):
    async def run():
        async with browser(deck, code=code, **more) as client:
            return await work(client)

    return asyncio.run(run())


def assert_untouched(deck):
    job = read_job_file(deck.place)
    assert job.rows == ()
    assert job.sheet.vehicle == "demo van"
    assert len(job.lineup) == 5


# --- the name that is asked for ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:8001", "evil.example:8000", "", "localhost"]
)
@pytest.mark.parametrize("path", ["/", "/time", "/state", "/static/net.js", "/nothing"])
def test_another_name_is_turned_away_before_all_else(deck, host, path):
    answer = asked(deck, lambda client: client.get(path, headers={"Host": host}))
    assert answer.status_code == 400
    assert "demo" not in answer.text


def test_two_names_at_once_are_none(deck):
    sent = []

    async def run():
        scope = {
            "type": "http",
            "method": "GET",
            "path": "/time",
            "raw_path": b"/time",
            "query_string": b"",
            "headers": [(b"host", HOST.encode()), (b"host", b"evil.example")],
        }

        async def send(message):
            sent.append(message)

        await make_app(deck, access())(scope, None, send)

    asyncio.run(run())
    assert sent[0]["status"] == 400


# --- who may change something ------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", CHANGES)
@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"X-Satdiag": ""}, 403),
        ({"X-Satdiag": "2"}, 403),
        ({"Content-Type": "text/plain"}, 415),
        ({"Content-Type": "application/x-www-form-urlencoded"}, 415),
        ({"Content-Type": "application/json; charset=latin-1"}, 415),
        ({"Content-Type": ""}, 415),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
        ({"Sec-Fetch-Site": "none"}, 403),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://127.0.0.1:9999"}, 403),
        ({"Host": "evil.example"}, 400),
        ({"Cookie": "satdiag_test=guess"}, 401),
        ({"Cookie": ""}, 401),
    ],
)
def test_no_change_without_everything_in_order(deck, path, headers, status):
    async def work(client):
        if "Cookie" in headers:
            client.cookies.clear()
        return await client.post(path, json=CHANGES[path](), headers=headers)

    assert asked(deck, work).status_code == status
    assert_untouched(deck)


ORDER = {
    "host": [HOST, "evil.example"],
    "x-satdiag": ["1", None, "yes"],
    "content-type": ["application/json", "text/plain", None],
    "cookie": ["paired", None, "satdiag_test=", "satdiag_test=x; satdiag_test=y"],
    "sec-fetch-site": ["same-origin", "cross-site", "same-site"],
    "origin": [f"http://{HOST}", "http://evil.example", "null"],
}


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    path=st.sampled_from(list(CHANGES)),
    method=st.sampled_from(["POST", "GET", "PUT", "PATCH"]),
    picks=st.fixed_dictionaries({name: st.sampled_from(values) for name, values in ORDER.items()}),
)
def test_whatever_is_left_out_or_wrong_nothing_changes(deck, path, method, picks):
    """Any mixture of right and wrong headers, but the one in which all is right."""
    assume(method != "POST" or any(picks[name] != values[0] for name, values in ORDER.items()))

    async def work(client):
        paired = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
        client.cookies.clear()
        client.headers.pop("X-Satdiag")
        headers = {name: value for name, value in {**picks}.items() if value is not None}
        if picks["cookie"] == "paired":
            headers["cookie"] = paired
        return await client.request(method, path, content=json.dumps(CHANGES[path]()), headers=headers)

    answer = asked(deck, work)
    assert 400 <= answer.status_code < 500
    assert_untouched(deck)


def test_an_error_of_our_own_says_no_more_than_that(deck, monkeypatch):
    def broken(role):
        raise ZeroDivisionError("a secret of the demo")

    async def run():
        app = make_app(deck, access())
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
            await client.post("/pair", json={"code": CODE}, headers={"X-Satdiag": "1"})
            return await client.get("/state")

    monkeypatch.setattr(deck, "state", broken)
    answer = asyncio.run(run())
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert answer.headers["content-security-policy"] == CSP


@pytest.mark.parametrize("path", CHANGES)
def test_who_may_only_watch_changes_nothing(deck, path):
    answer = asked(deck, lambda client: client.post(path, json=CHANGES[path]()), WATCH)
    assert answer.status_code == 403
    assert_untouched(deck)


@pytest.mark.parametrize("path", [*CHANGES, "/pair"])
@pytest.mark.parametrize("method", ["GET", "PUT", "PATCH", "DELETE", "HEAD", "OPTIONS", "PROPFIND"])
def test_changes_are_posted_only(deck, path, method):
    answer = asked(deck, lambda client: client.request(method, path))
    assert answer.status_code in (404, 405)


def test_same_origin_requests_pass(tmp_path):
    headers = {"Sec-Fetch-Site": "same-origin", "Origin": f"http://{HOST}"}
    with running(new_job(tmp_path / "demo.satjob")) as own:
        answer = asked(own, lambda client: client.post("/taps", json=CHANGES["/taps"](), headers=headers))
    assert answer.status_code == 200


@pytest.mark.parametrize("path", ["/state", "/events"])
def test_a_stranger_reads_no_data(deck, path):
    assert asked(deck, lambda client: client.get(path), code=None).status_code == 401
    answer = asked(deck, lambda client: client.get("/state", headers={"Sec-Fetch-Site": "cross-site"}))
    assert answer.status_code == 403


def test_who_is_no_writer_sees_no_technician_no_position_and_no_words_of_notes(tmp_path):
    """The state and the stream of events; a change of the sheet writes a note of its own."""
    secrets = ("Demo Technician", "45.0", "-93.0", "45.1234", "93.9876", "312.75", "the demo customer is rude")
    place = {"name": "demo roof", "latitude_deg": 45.1234, "longitude_deg": -93.9876, "height_m": 312.75}
    changes = {"job.technician": "Demo Technician", "site": place}

    async def write(client):
        assert (await client.post("/sheet", json={"changes": changes})).status_code == 200
        sent = [tap("note", "", "the demo customer is rude"), tap("channel", "2", "refused")]
        assert len((await client.post("/taps", json={"page": PAGE, "taps": sent})).json()["saved"]) == 2
        return (await client.get("/state")).json()

    async def both(client):
        first_event = await _first_event(client)
        return (await client.get("/state")).text, first_event

    with running(new_job(tmp_path / "demo.satjob")) as own:
        written = asked(own, write)
        state, event = asked(own, both, WATCH)
        whole = asked(own, both)
    assert all(secret in whole[0] and secret in whole[1] for secret in secrets), "there is something to be hidden"
    for text in (state, event):
        timeless = re.sub(r'"(built_s|\w+_age_s)":\s*[\d.]+', "", text)  # any digits may stand in a time
        assert not [secret for secret in secrets if secret in timeless]
        seen = json.loads(text)
        assert seen["role"] == "watch"
        assert seen["sheet"]["site"] == [{"name": "demo yard"}, {"name": "demo roof"}]
        assert seen["sheet"]["job.vehicle"] == "demo van"
        assert "job.technician" not in seen["sheet"]
        assert [one["id"] for one in seen["entries"]] == [one["id"] for one in written["entries"]]
        assert [one["words"] for one in seen["entries"]].count("a note") == 2
        assert "channel 2: refused" in [one["words"] for one in seen["entries"]]


async def _streamed(client, leave):
    """All messages of the stream of events; `leave` is handed each one, and says whether the page goes away then.

    httpx's own transport would hand over nothing before the end.
    """
    cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
    headers = [(b"host", HOST.encode()), (b"cookie", cookie.encode())]
    scope = {"type": "http", "method": "GET", "path": "/events", "raw_path": b"/events", "query_string": b""}
    got, gone = [], asyncio.Event()

    async def receive():
        await gone.wait()
        return {"type": "http.disconnect"}

    async def send(message):
        got.append(message)
        if leave(message):
            gone.set()

    await client._transport.app({**scope, "headers": headers}, receive, send)
    return got


async def _first_event(client):
    """The data of the first event of the stream."""
    got = await _streamed(client, lambda message: message.get("body"))
    text = b"".join(message.get("body", b"") for message in got).decode()
    return text.partition("data: ")[2].partition("\n\n")[0]


def test_what_is_meant_for_another_job_comes_not_into_this_one(deck):
    """A page that was paired with two jobs, one after the other behind one address."""

    async def work(client, job):
        return await client.post("/lineup/read", json={"text": "9 Demo"}, headers={"X-Satdiag-Job": job})

    who = replace(access(), job="demo-job")
    assert asked(deck, lambda client: work(client, "demo-job"), who=who).status_code == 200
    for path in CHANGES:

        async def send(client, path=path):
            return await client.post(path, json=CHANGES[path](), headers={"X-Satdiag-Job": "demo-job2"})

        assert asked(deck, send, who=replace(access(), job="demo-job")).status_code == 409
    assert_untouched(deck)


def test_a_session_that_has_ended_reads_no_more_and_its_stream_ends(deck):
    now = [0.0]

    async def work(client):
        await client.get("/state")
        begun = asyncio.Event()
        streaming = asyncio.create_task(_streamed(client, lambda message: message.get("body") and begun.set()))
        await asyncio.wait_for(begun.wait(), 60)
        now[0] = 101.0
        status = (await asyncio.wait_for(streaming, 60))[0]["status"]
        return status, (await client.get("/state")).status_code, (await client.post("/taps", json={})).status_code

    who = access(now_s=lambda: now[0], lasts_s=100.0)
    assert asked(deck, work, who=who) == (200, 401, 401)


# --- sizes and floods --------------------------------------------------------------------------------------------


def test_a_large_body_is_cut_off_with_or_without_its_length(deck):
    async def pieces():
        for _ in range(70):
            yield b"x" * 1024

    async def work(client):
        kind = {"Content-Type": "application/json"}
        with_length = await client.post("/taps", content=b"x" * (MOST_BYTES + 1), headers=kind)
        without = await client.post("/taps", content=pieces(), headers=kind)
        fits = await client.post("/taps", content=b" " * MOST_BYTES, headers=kind)
        return [with_length.status_code, without.status_code, fits.status_code]

    assert asked(deck, work) == [413, 413, 400]


def test_floods_are_held_back(deck):
    async def work(client):
        reads = [(await client.get("/time")).status_code for _ in range(20)]
        return reads

    few = access(Limits(requests_per_s=0.001, requests_at_once=10))
    answers = asked(deck, work, who=few)
    assert answers == [200] * 10 + [429] * 10

    async def of_two(client):
        """Behind one address: what one paired page does too often is not held against the other, nor who has none."""
        transport = client._transport
        async with httpx.AsyncClient(
            transport=transport, base_url=f"http://{HOST}", headers={"X-Satdiag": "1"}
        ) as other:
            assert (await other.post("/pair", json={"code": CODE})).status_code == 200
            first = [(await client.get("/time")).status_code for _ in range(12)]
            stranger = await httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}").get("/time")
            return first, stranger.status_code, [(await other.get("/time")).status_code for _ in range(12)]

    assert asked(deck, of_two, who=few) == ([200] * 10 + [429] * 2, 200, [200] * 10 + [429] * 2)

    async def change(client):
        return [(await client.post("/lineup/read", json={"text": ""})).status_code for _ in range(6)]

    slow = access(Limits(changes_per_s=0.001, changes_at_once=4))
    assert asked(deck, change, who=slow) == [200] * 4 + [429] * 2


def test_a_rate_lets_through_what_it_says_over_time():
    now = [0.0]
    rate = Rate(2.0, 5.0, lambda: now[0])
    done = 0
    for step in range(1000):  # 100 s, asked ten times a second
        now[0] = step / 10
        done += rate.allows("a")
    assert done == pytest.approx(2.0 * 99.9 + 5.0, abs=1.5)
    assert rate.allows("b")


# --- pairing -----------------------------------------------------------------------------------------------------


def test_a_code_is_eight_digits_and_never_the_same():
    codes = {new_code() for _ in range(300)}
    assert len(codes) > 295
    assert all(len(code) == 8 and code.isascii() and code.isdigit() for code in codes)


def test_guessing_gets_slower_and_slower_also_for_the_right_code():
    now = [0.0]
    pairing = Pairing(CODE, WATCH, lambda: now[0])
    for _ in range(FREE_TRIES):
        with pytest.raises(WrongCode):
            pairing.pair("00000000")
    with pytest.raises(TooSoon) as caught:
        pairing.pair(CODE)
    assert caught.value.wait_s == pytest.approx(1.0)
    guesses = 0
    while now[0] < 86_400:  # a day of guessing as fast as it is let
        try:
            pairing.pair("00000000")
        except TooSoon as error:
            now[0] += error.wait_s
        except WrongCode:
            guesses += 1
    assert guesses <= 86_400 / LONGEST_DELAY_S + 10
    now[0] += LONGEST_DELAY_S
    token, role = pairing.pair("1234 5678")
    assert (role, pairing.role(token), pairing.role("x"), pairing.role(None)) == ("write", "write", None, None)


def test_the_code_to_look_on_buys_no_guesses_at_the_other():
    """A day of four wrong codes and a right one to look on, again and again, is no faster than wrong ones alone."""
    now, guesses = [0.0], 0
    pairing = Pairing(CODE, WATCH, lambda: now[0])
    while now[0] < 86_400:
        for code in (*["00000000"] * (FREE_TRIES - 1), WATCH):
            try:
                pairing.pair(code)
            except TooSoon as error:
                now[0] += error.wait_s
            except WrongCode:
                guesses += 1
        assert guesses <= 86_400 / LONGEST_DELAY_S + 10
    now[0] += LONGEST_DELAY_S
    pairing.pair(CODE)
    for _ in range(FREE_TRIES):  # the code to write ends the delay
        with pytest.raises(WrongCode):
            pairing.pair("00000000")


def test_pages_that_look_on_never_put_out_one_that_writes():
    pairing = Pairing(CODE, WATCH)
    writer = pairing.pair(CODE)[0]
    watchers = [pairing.pair(WATCH)[0] for _ in range(MOST_SESSIONS + 2)]
    assert pairing.role(writer) == "write"
    assert [pairing.role(one) for one in watchers] == [None] * 2 + ["watch"] * MOST_SESSIONS


def test_a_kept_list_of_another_job_is_named_to_writers_alone(deck):
    async def work(client):
        return await client.get("/lineups")

    assert asked(deck, work, code=WATCH).status_code == 403
    assert asked(deck, work).status_code == 200


def test_the_page_is_told_how_long_to_wait(deck):
    async def work(client):
        return [await client.post("/pair", json={"code": "11111111"}) for _ in range(FREE_TRIES + 1)]

    answers = asked(deck, work, code=None)
    assert [one.status_code for one in answers] == [403] * FREE_TRIES + [429]
    assert int(answers[-1].headers["retry-after"]) >= 1
    assert not any("set-cookie" in one.headers for one in answers)


@pytest.mark.parametrize("code", ["", "１２３４５６７８", "x" * 101, 12345678, None, ["12345678"]])
def test_an_odd_code_is_a_wrong_code(deck, code):
    assert asked(deck, lambda client: client.post("/pair", json={"code": code}), code=None).status_code in (400, 403)


def test_the_cookie_is_kept_from_scripts_and_other_sites(deck):
    answer = asked(deck, lambda client: client.post("/pair", json={"code": CODE}), code=None)
    name, *rest = [part.strip().lower() for part in answer.headers["set-cookie"].split(";")]
    assert name.startswith("satdiag_test=")
    ages = [int(part.removeprefix("max-age=")) for part in rest if part.startswith("max-age=")]
    assert {part for part in rest if not part.startswith("max-age=")} == {"httponly", "samesite=strict", "path=/"}
    assert ages == [pytest.approx(LONGEST_S, abs=60)], "as long as the session, also if the browser is ended"
    assert answer.json() == {"role": "write"}


def test_a_cookie_that_comes_twice_counts_for_none():
    assert cookie_of(["a=1; satdiag=x"], "satdiag") == "x"
    assert cookie_of(["satdiag=x; satdiag=y"], "satdiag") is None
    assert cookie_of([], "satdiag") is None


# --- what goes out -----------------------------------------------------------------------------------------------


def test_every_answer_carries_the_headers(deck):
    async def work(client):
        refused = await client.get("/time", headers={"Host": "evil.example"})
        found = [await client.get(path) for path in ("/", "/time", "/state", "/static/net.js", "/nothing")]
        return [refused, *found, await client.post("/taps", json={}), await client.put("/")]

    answers = asked(deck, work)
    for answer in answers:
        assert answer.headers["content-security-policy"] == CSP
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert "no-" in answer.headers["cache-control"]
        assert not [name for name in answer.headers if name.lower().startswith("access-control")]
    assert answers[3].headers["cache-control"] == "no-store"
    assert "unsafe-eval" not in CSP
    assert "script-src 'self';" in CSP


def test_the_code_is_in_no_answer(deck):
    async def work(client):
        return [(await client.get(path)).text for path in ("/", "/time", "/state")]

    texts = asked(deck, work)
    assert not any(CODE in text or WATCH in text for text in texts)


def test_a_websocket_is_turned_away(deck):
    sent = []

    async def run():
        async def send(message):
            sent.append(message)

        await make_app(deck, access())({"type": "websocket", "path": "/events", "headers": []}, None, send)

    asyncio.run(run())
    assert sent == [{"type": "websocket.close", "code": 1008}]


def test_a_request_that_breaks_off_changes_nothing(deck):
    async def run():
        transport = httpx.ASGITransport(app=make_app(deck, access()))
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
            answer = await client.post("/pair", json={"code": CODE}, headers={"X-Satdiag": "1"})
        cookie = answer.headers["set-cookie"].partition(";")[0]
        sent = []
        messages = [{"type": "http.request", "body": b'{"page"', "more_body": True}, {"type": "http.disconnect"}]

        async def receive():
            return messages.pop(0)

        async def send(message):
            sent.append(message)

        headers = [("host", HOST), ("content-type", "application/json"), ("x-satdiag", "1"), ("cookie", cookie)]
        scope = {
            "type": "http",
            "method": "POST",
            "path": "/taps",
            "raw_path": b"/taps",
            "query_string": b"",
            "headers": [(key.encode(), value.encode()) for key, value in headers],
        }
        app = make_app(deck, access())
        await app(scope, receive, send)
        return sent

    assert asyncio.run(run())[0]["status"] in (400, 401)
    assert_untouched(deck)
