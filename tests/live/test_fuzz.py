"""Anything at all is asked of every address of the application: nothing breaks, nothing tells, nothing changes.

The addresses are those of the application itself, so that one which is added later is tried too. Requests are made
one layer below HTTP (ASGI), where stranger ones are possible than a web server hands on.
"""

import ast
import asyncio
import copy
import json
import re
from contextlib import contextmanager
from importlib.resources import files

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from satdiag.live.app import make_app
from satdiag.live.security import HEADERS
from satdiag.store import check_job_file, read_job_file
from satdiag.user_folder import ENVIRONMENT
from tests.live.rigs import CODE, HOST, LOOSE, PAGE, WATCH, access, new_job, running, tap, until

TECHNICIAN, NOTE, LATITUDE, LONGITUDE = "Demo Technician", "the demo customer is rude", 45.1234, -93.9876
OPEN_TO_ALL = {("GET", "/"), ("GET", "/static/{name}"), ("GET", "/plotly.js"), ("GET", "/time"), ("POST", "/pair")}
"""What needs no session. A new address stands here only if that is meant."""

SEEDS = {
    "/pair": {"code": "00000000"},
    "/taps": {"page": PAGE, "taps": [{**tap("signal", "any", "3", unit="dB"), "note": "demo", "span_s": 2.5}]},
    "/sheet": {
        "changes": {
            "job.vehicle": "demo bus",
            "job.technician": "demo",
            "receiver.level_floor": 2.5,
            "receiver.second_hand": True,
            "receiver.bias_normal_ma": [15, 80],
            "service.package": "full",
            "site": {"name": "demo", "latitude_deg": 1, "longitude_deg": 2, "height_m": 3, "timezone": "UTC"},
        }
    },
    "/lineup/read": {"text": "7 Demo One\n9 Demo Two"},
    "/lineup": {
        "channels": [{"number": 7, "name": "Demo", "category": "music", "packages": ""}],
        "outside": ["music"],
        "inside": [],
        "package": "full",
    },
    "/lineup/marks": {"outside": ["music"], "inside": ["talk"], "package": "full"},
    "/lineups/read": {"name": "demo"},
    "/lineups/keep": {"name": "demo", "replace": True},
    "/make": {"what": "customer", "form": "none", "language": "es", "by": "demo", "full_id": False},
}
"""Bodies that are in order, or nearly so. Other addresses are tried with words of the application's code."""


# --- asking ---------------------------------------------------------------------------------------------------------


class Rig:
    """An application over a running deck, a loop to ask it in, and a cookie for each role."""

    def __init__(self, deck, home):
        self.deck, self.home = deck, home
        self.app = make_app(deck, access())
        self.runner = asyncio.Runner()
        self.cookies = {"stranger": b"", "guess": b"satdiag_test=guess"}
        for role, code in (("write", CODE), ("watch", WATCH)):
            _, headers, _ = self.ask("POST", "/pair", json.dumps({"code": code}).encode(), "stranger")
            self.cookies[role] = dict(headers)[b"set-cookie"].partition(b";")[0]

    @property
    def addresses(self):
        """Method and path of all that the application answers."""
        return [
            (method, route.path)
            for route in self.app.routes
            for method in sorted((getattr(route, "methods", None) or {"GET"}) - {"HEAD"})
        ]

    def ask(self, method, path, body=b"", who="write", headers=None, **more):
        """Status, headers and body of the answer to a request that is in order but for what is given."""
        if headers is None:
            headers = [(b"host", HOST.encode()), (b"content-type", b"application/json"), (b"x-satdiag", b"1")]
        if who is not None and self.cookies[who]:
            headers = [*headers, (b"cookie", self.cookies[who])]
        return self.runner.run(_asked(self.app, method, path, headers, body, **more))

    def snapshot(self):
        """Everything a request could change: the job's documents and rows, and the user's folder."""
        job = read_job_file(self.deck.place)
        home = {path: path.read_bytes() for path in sorted(self.home.rglob("*")) if path.is_file()}
        return dict(job.documents), job.rows, home

    def marks(self):
        """Sizes and times of the job's files and those of the user's folder: what is written leaves its mark."""
        found = [path for path in self.deck.place.parent.rglob("*") if path.is_file()]
        return {path: (path.stat().st_size, path.stat().st_mtime_ns) for path in found}

    def close(self):
        """End the loop."""
        self.runner.close()


async def _asked(app, method, path, headers, body, pieces=1, query=b"", breaks_off=False):
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "scheme": "http",
        "root_path": "",
        "method": method,
        "path": path,
        "raw_path": path.encode("utf-8", "replace"),
        "query_string": query,
        "headers": headers,
        "client": ("127.0.0.1", 9),
        "server": ("127.0.0.1", 8000),
    }
    step = max(1, -(-len(body) // pieces))
    parts = [body[n : n + step] for n in range(0, len(body), step)] or [b""]
    messages = [{"type": "http.request", "body": part, "more_body": True} for part in parts]
    if not breaks_off:
        messages[-1] = {**messages[-1], "more_body": False}
    sent, has_body = [], asyncio.Event()

    async def receive():
        if messages:
            return messages.pop(0)
        if not breaks_off:  # a stream of events is listened to until something has come
            await asyncio.wait_for(has_body.wait(), 60)
        return {"type": "http.disconnect"}

    async def send(message):
        sent.append(message)
        if message.get("body"):
            has_body.set()

    await app(scope, receive, send)
    start, *rest = sent
    assert start["type"] == "http.response.start"
    return start["status"], list(start["headers"]), b"".join(one.get("body", b"") for one in rest)


def assert_in_order(status, headers, body):
    """No error of our own, and the headers of every answer."""
    assert status < 500 or status == 503, body
    for wanted in HEADERS:
        assert wanted in headers
    names = [name.lower() for name, _ in headers]
    assert any(re.search(rb"no-store|no-cache|private", value) for name, value in headers if name == b"cache-control")
    assert not [name for name in names if name.startswith((b"access-control", b"server"))]


@contextmanager
def _rig(folder):
    place = new_job(folder / "demo.satjob")
    (folder / "home").mkdir()
    with pytest.MonkeyPatch.context() as patch, running(place) as deck:
        patch.setenv(ENVIRONMENT, str(folder / "home"))
        rig = Rig(deck, folder / "home")
        try:
            yield rig
        finally:
            rig.close()
    assert check_job_file(place) == []


@pytest.fixture(scope="module")
def quiet(tmp_path_factory):
    """A rig in whose job nothing may change; there is something in it to be hidden from those who only look on."""
    site = {"name": "demo roof", "latitude_deg": LATITUDE, "longitude_deg": LONGITUDE}
    taps = [tap("note", "", NOTE), tap("channel", "2", "refused")]
    with _rig(tmp_path_factory.mktemp("quiet")) as rig:
        for path, body in (
            ("/sheet", {"changes": {"job.technician": TECHNICIAN, "site": site}}),
            ("/taps", {"page": PAGE, "taps": taps}),
        ):
            assert rig.ask("POST", path, json.dumps(body).encode())[0] == 200
        until(lambda: len(rig.snapshot()[1]) == 3)  # one says that the sheet was changed
        before = rig.snapshot()
        yield rig
        assert rig.snapshot() == before


@pytest.fixture(scope="module")
def busy(tmp_path_factory):
    """A rig whose job is written to."""
    with _rig(tmp_path_factory.mktemp("busy")) as rig:
        yield rig


# --- every address --------------------------------------------------------------------------------------------------


def test_the_addresses_are_taken_from_the_application(quiet):
    assert {
        ("GET", "/state"),
        ("GET", "/events"),
        *(("POST", path) for path in ("/taps", "/sheet", "/lineup")),
    } <= set(quiet.addresses)
    assert set(quiet.addresses) >= OPEN_TO_ALL
    assert {("POST", path) for path in SEEDS} <= set(quiet.addresses)


def test_every_address_needs_a_session_but_those_that_are_meant_for_all(quiet):
    for method, path in quiet.addresses:
        asked = path.replace("{name}", "net.js")
        for who in ("stranger", "guess"):
            status, headers, body = quiet.ask(method, asked, json.dumps(SEEDS.get(path, {})).encode(), who)
            assert_in_order(status, headers, body)
            assert (status == 401) == ((method, path) not in OPEN_TO_ALL), (method, path, status)
            assert b"demo-" not in body


def test_who_may_look_on_changes_nothing_at_any_address_and_sees_nothing_that_is_hidden(quiet):
    secrets = [TECHNICIAN, NOTE, str(LATITUDE), str(LONGITUDE)]
    whole = {path: quiet.ask("GET", path)[2].decode() for path in ("/state", "/events")}
    assert all(secret in text for text in whole.values() for secret in secrets), "there is something to be hidden"
    for method, path in quiet.addresses:
        body = json.dumps(SEEDS.get(path, {})).encode()
        status, headers, told = quiet.ask(method, path.replace("{name}", "net.js"), body, "watch")
        assert_in_order(status, headers, told)
        writers = method == "POST" or path == "/lineups" or path.startswith("/made")
        assert (status == 403) == writers, (method, path, status)
        assert not [secret for secret in secrets if secret.encode() in told], path


# --- wrong types in every field -------------------------------------------------------------------------------------

WRONG = [
    *("null", "true", "-1", "1e308", "1e999", "NaN", "-Infinity", "1" * 5000, '""', '"\\ud800"', '"\\u0000"'),
    *('"x"', json.dumps("é" * 3000), json.dumps("7\r\n8"), "[]", "[null]", "{}", '{"a": {"b": []}}', '[["x"]]'),
    *("[" * 500 + "]" * 500, "[" * 20_000 + "]" * 20_000, '{"a":' * 3000 + "1" + "}" * 3000),
]
MARK = "@here@"


def spots(value, path=()):
    """The places in a JSON value, each as the keys that lead there."""
    yield path
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in inside:
        yield from spots(one, (*path, key))


def exchanged(value, path, other):
    """A JSON value in which one place holds something else."""
    if not path:
        return other
    made = copy.copy(value)
    made[path[0]] = exchanged(value[path[0]], path[1:], other)
    return made


@pytest.mark.parametrize("path", SEEDS)
def test_every_field_may_hold_what_it_should_not(busy, path):
    for spot in spots(SEEDS[path]):
        text = json.dumps(exchanged(SEEDS[path], spot, MARK))
        for wrong in WRONG:
            body = text.replace(json.dumps(MARK), wrong).encode()
            status, headers, told = busy.ask("POST", path, body)
            assert_in_order(status, headers, told)
            assert status != 503, (spot, wrong[:30], told)
    assert check_job_file(busy.deck.place) == []


# --- anything -------------------------------------------------------------------------------------------------------


def _words():
    """Short words of the application's code: names of fields among them."""
    tree = ast.parse((files("satdiag.live") / "app.py").read_text("utf-8"))
    found = {node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    return sorted(word for word in found if re.fullmatch(r"[a-z_.]{2,16}", word))


TEXTS = st.text(st.characters(exclude_categories=()), max_size=12)
ODD = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(), TEXTS, st.sampled_from([10**400, -(2**63), PAGE])
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(TEXTS, inner, max_size=3)),
    max_leaves=8,
)
FIELDS = st.dictionaries(st.sampled_from(_words()), ODD, max_size=5)


@st.composite
def changed_seeds(draw, path):
    """A body that is in order but for up to three places."""
    value = SEEDS[path]
    for _ in range(draw(st.sampled_from([0, 0, 1, 1, 2, 3]))):
        value = exchanged(value, draw(st.sampled_from(list(spots(value)))), draw(ODD))
    return value


@st.composite
def bodies(draw, path):
    """Bytes for an address: nearly right, of known words, any JSON, or no JSON at all."""
    kinds = [changed_seeds(path)] * (4 * (path in SEEDS)) + [FIELDS, FIELDS, ODD, st.none()]
    kind = draw(st.sampled_from(range(len(kinds))))
    if kind == len(kinds) - 1:
        return draw(st.binary(max_size=80) | st.sampled_from([b"", b"[" * 60_000, b"\xef\xbb\xbf{}", b" " * 70_000]))
    value = draw(kinds[kind])
    if draw(st.booleans()):
        return json.dumps(value).encode()
    return json.dumps(value, ensure_ascii=False).encode("utf-8", "surrogatepass")


RIGHT = {b"host": HOST.encode(), b"content-type": b"application/json", b"x-satdiag": b"1"}
HEADER_NAMES = [*RIGHT, b"cookie", b"origin", b"sec-fetch-site", b"content-length", b"transfer-encoding", b"range"]
HEADER_NAMES += [
    b"x-satdiag-job",
    b"x-forwarded-for",
    b"x-http-method-override",
    b"upgrade",
    b"accept",
    b"if-none-match",
]
METHODS = [
    "GET",
    "POST",
    "POST",
    "HEAD",
    "PUT",
    "PATCH",
    "DELETE",
    "OPTIONS",
    "TRACE",
    "CONNECT",
    "get",
    "PROPFIND",
    "",
]


@st.composite
def requests(draw, rig, roles):
    """A request: an address of the application or nearly so, headers that are right but for some, and any body.

    One in four is right in all but perhaps who sends it.
    """
    method, path = draw(st.sampled_from(rig.addresses))
    if draw(st.integers(0, 3)) == 0:
        path = draw(st.sampled_from([one for one in SEEDS if one != "/pair"]))
        return {"method": "POST", "path": path, "body": json.dumps(SEEDS[path]).encode(), "who": draw(roles)}
    body = draw(bodies(path))
    path = path.replace("{name}", draw(TEXTS))
    if draw(st.integers(0, 3)) == 0:
        method = draw(st.sampled_from(METHODS) | st.text("ABCxyz\x00é ", max_size=8))
    if draw(st.integers(0, 4)) == 0:
        path = draw(
            st.sampled_from([path + "/", "/" + path, path.upper(), path + "%00", "/static/../state", "*", ""])
            | st.text(max_size=20)
        )
    headers = list(RIGHT.items())
    if draw(st.integers(0, 2)) == 0:
        headers = [one for one in headers if draw(st.booleans())]
        more = st.tuples(st.sampled_from(HEADER_NAMES) | st.binary(max_size=8), st.binary(max_size=30))
        headers += draw(st.lists(more, max_size=3))
    return {
        "method": method,
        "path": path,
        "body": body,
        "headers": headers,
        "who": draw(roles),
        "pieces": draw(st.integers(1, 3)),
        "query": draw(st.binary(max_size=12)),
        "breaks_off": draw(st.integers(0, 9)) == 0,
    }


RELAXED = {"deadline": None, "suppress_health_check": list(HealthCheck)}
EVERYDAY, MANY = 150, 10_000
sizes = pytest.mark.parametrize(
    "count", [EVERYDAY, pytest.param(MANY, marks=[pytest.mark.long, pytest.mark.timeout(1800)])]
)


@sizes
def test_nothing_that_is_asked_without_leave_to_write_changes_anything(quiet, count):
    before, marks = quiet.snapshot(), quiet.marks()

    @settings(max_examples=count, **RELAXED)
    @given(requests(quiet, st.sampled_from(["stranger", "guess", "watch"])))
    def try_it(request):
        answer = quiet.ask(**request)
        assert_in_order(*answer)
        assert quiet.marks() == marks

    try_it()
    assert quiet.snapshot() == before


@sizes
def test_nothing_that_is_asked_by_who_may_write_breaks_anything(busy, count):
    @settings(max_examples=count, **RELAXED)
    @given(requests(busy, st.just("write")))
    def try_it(request):
        assert_in_order(*busy.ask(**request))

    try_it()
    assert check_job_file(busy.deck.place) == []
    assert not busy.deck._view_broken


def test_a_tap_in_order_is_still_taken_after_all_that(busy):
    """The rig is the same: whatever was sent before has not worn it out."""
    sent = tap("note", "", "demo")
    status, _, body = busy.ask("POST", "/taps", json.dumps({"page": PAGE, "taps": [sent]}).encode())
    assert (status, json.loads(body)["saved"]) == (200, [sent["key"]])
    assert any(row.id == f"p-{sent['key']}" for row in read_job_file(busy.deck.place).rows)
    assert LOOSE.requests_per_s > MANY
