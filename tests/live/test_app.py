"""The page's addresses, answered in-process over a real deck and a real job file."""

import asyncio
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from satdiag.store import check_job_file, read_job_file
from satdiag.user_folder import ENVIRONMENT
from tests.live.rigs import CODE, PAGE, WATCH, browser, new_job, running, tap
from tests.recorder.conftest import nothing_is_left  # noqa: F401

STATE_KEYS = {
    *("job", "run", "role", "receiver", "sheet", "lineup", "now", "exposure_s", "exposure_max_s", "rows", "held"),
    *(
        "store_trouble",
        "store_trouble_lang",
        "sources",
        "levels",
        "channels",
        "attempt",
        "entries",
        "could_not",
        "analysis",
        "analysis_age_s",
    ),
    *("speed_m_s", "speed_age_s", "wide", "built_s"),
}


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path / "user"))
    return new_job(tmp_path / "demo.satjob")


def asked(deck, work, code=CODE):
    """Do some work with a browser."""

    async def run():
        async with browser(deck, code=code) as client:
            return await work(client)

    return asyncio.run(run())


def test_the_state_has_every_key_of_the_page(place):
    with running(place) as deck:
        state = asked(deck, lambda client: client.get("/state")).json()
        watching = asked(deck, lambda client: client.get("/state"), WATCH).json()
    assert set(state) == STATE_KEYS
    assert (state["job"], state["run"], state["role"], watching["role"]) == ("demo-job", "r1", "write", "watch")
    assert "DEMO00042" not in json.dumps(state)
    assert state["receiver"].endswith("042")
    assert [one["number"] for one in state["channels"]] == [1, 2, 3, 4, 5]
    assert [one["expected"] for one in state["channels"]] == [True, True, False, None, False]


def test_taps_are_answered_and_shown(place):
    async def work(client):
        sent = tap("channel", "2", "refused")
        answer = await client.post("/taps", json={"page": PAGE, "taps": [sent]})
        return sent, answer.json(), (await client.get("/state")).json()

    with running(place) as deck:
        sent, answer, state = asked(deck, work)
    assert answer == {"saved": [sent["key"]], "refused": [], "conflict": []}
    assert state["rows"] == 1
    channel = state["channels"][1]
    assert (channel["state"], channel["before"]) == ("refused", None)
    assert 0 <= channel["checked_s_ago"] < 60
    assert state["entries"][0]["words"] == "channel 2: refused"


def test_pages_files_come_from_a_fixed_table(place):
    async def work(client):
        names = ["net.js", "..%2fapp.py", "../app.py", "%2e%2e/app.py", "index.html", "NET.JS", "a" * 3000]
        return [await client.get("/"), *[await client.get(f"/static/{name}") for name in names]]

    with running(place) as deck:
        index, *found = asked(deck, work, code=None)
    assert index.headers["content-type"] == "text/html; charset=utf-8"
    # The third is '/app.py' when it arrives: a stranger is told of nothing but the page's own files.
    assert [one.status_code for one in found] == [200, 404, 401, 404, 200, 404, 404]
    assert found[0].headers["content-type"] == "text/javascript; charset=utf-8"
    assert found[0].headers["x-content-type-options"] == "nosniff"


def test_plotly_is_the_installed_one(place):
    from plotly.offline import get_plotlyjs

    with running(place) as deck:
        answer = asked(deck, lambda client: client.get("/plotly.js"), code=None)
    assert answer.content == get_plotlyjs().encode()


def test_the_clocks_are_told_to_anyone(place):
    with running(place) as deck:
        told = asked(deck, lambda client: client.get("/time"), code=None).json()
    assert set(told) == {"wall_ms", "mono_ms", "server"}


def test_a_pasted_list_is_read_and_kept_with_what_is_outside_the_package(place):
    async def work(client):
        read = (await client.post("/lineup/read", json={"text": "1 Demo One\n2 Demo Two\nno number here"})).json()
        channels = [{**one, "category": "a" if one["number"] == 1 else "b"} for one in read["channels"]]
        kept = await client.post("/lineup", json={"channels": channels, "outside": ["b"]})
        return read, kept, (await client.get("/state")).json()

    with running(place) as deck:
        read, kept, state = asked(deck, work)
    assert [(one["number"], one["name"]) for one in read["channels"]] == [(1, "Demo One"), (2, "Demo Two")]
    assert read["left_out"][0]["line"] == 3
    assert (kept.status_code, kept.json()) == (200, {"count": 2})
    assert [(one["number"], one["expected"]) for one in state["channels"]] == [(1, True), (2, False)]
    assert [line.channel for line in read_job_file(place).lineup] == [1, 2]
    assert check_job_file(place) == []


def test_the_sheet_is_changed_beside_the_recording(place):
    site = {"name": "demo roof", "latitude_deg": 44.0, "longitude_deg": -93.5}

    async def work(client):
        changes = {"job.vehicle": "demo bus", "receiver.antenna_lead": "dual", "service.package": None, "site": site}
        done = await client.post("/sheet", json={"changes": changes})
        wrong = await client.post("/sheet", json={"changes": {"receiver.antenna_lead": "triple"}})
        there = await client.post(
            "/taps", json={"page": PAGE, "taps": [tap("site", "vehicle", "demo roof"), tap("site", "vehicle", "x")]}
        )
        return done, wrong, there.json(), (await client.get("/state")).json()

    with running(place) as deck:
        done, wrong, there, state = asked(deck, work)
    assert done.status_code == 200, done.text
    assert done.json()["sheet"] == state["sheet"]
    assert wrong.status_code == 422
    assert wrong.json()["problems"][0].keys() == {"key", "what", "mend"}
    assert (len(there["saved"]), len(there["refused"])) == (1, 1)
    sheet = read_job_file(place).sheet
    assert (sheet.vehicle, sheet.receiver.antenna_lead, sheet.package) == ("demo bus", "dual", "")
    assert "demo roof" in [one.name for one in sheet.sites]
    assert check_job_file(place) == []


# --- anything at all ------------------------------------------------------------------------------------------------

POSTS = ("/pair", "/taps", "/sheet", "/lineup/read", "/lineup", "/lineup/marks", "/lineups/read", "/lineups/keep")
JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=12)),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=8), inner, max_size=4)),
    max_leaves=12,
)
SHAPED = st.fixed_dictionaries(
    {},
    optional={
        "code": JSON,
        "page": st.one_of(st.just(PAGE), JSON),
        "taps": st.one_of(JSON, st.lists(st.one_of(JSON, st.builds(tap, subject=st.text(max_size=5))), max_size=3)),
        "changes": st.dictionaries(
            st.sampled_from(["job.vehicle", "job.id", "receiver.level_floor", "site", "x.y", "service.package"]), JSON
        ),
        "text": st.one_of(JSON, st.text(max_size=200)),
        "channels": st.one_of(
            JSON,
            st.lists(
                st.fixed_dictionaries({"number": st.integers(-1, 10**8), "name": JSON, "category": JSON}), max_size=3
            ),
        ),
        "outside": JSON,
        "inside": JSON,
        "package": JSON,
        "name": JSON,
        "replace": JSON,
    },
)
BODIES = st.one_of(
    st.binary(max_size=60),
    SHAPED.map(lambda value: json.dumps(value).encode()),
    JSON.map(lambda value: json.dumps(value).encode()),
    st.sampled_from([b"[" * 30_000, b'{"code": "\\ud800"}', b'{"a": 1e999}', b"1" * 5000, b"{}" + b" " * 70_000]),
)


@pytest.fixture
def deck(place):
    with running(place) as deck:
        yield deck


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(path=st.sampled_from(POSTS), body=BODIES)
def test_no_body_whatever_makes_an_error_of_our_own(deck, path, body):
    async def work(client):
        return await client.post(path, content=body, headers={"Content-Type": "application/json"})

    answer = asked(deck, work)
    assert answer.status_code < 500 or answer.status_code == 503, answer.text
    assert answer.headers["content-type"] == "application/json"
    assert check_job_file(deck.place) == []


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    method=st.sampled_from(["GET", "POST", "PUT", "HEAD", "OPTIONS", "DELETE", "TRACE"]),
    path=st.one_of(
        st.sampled_from(["/", "/state", "/events", "/time", "/taps", "/static/app.css"]),
        st.text("abc/.%\\0 é", max_size=12),
    ),
    query=st.text("ab=&%", max_size=8),
)
def test_no_address_whatever_makes_an_error_of_our_own_or_tells_a_stranger_anything(deck, method, path, query):
    async def work(client):
        return await client.request(method, f"http://127.0.0.1:8000/{path.lstrip('/')}", params=query or None)

    answer = asked(deck, work, code=None)
    assert answer.status_code < 500
    assert "demo-job" not in answer.text
