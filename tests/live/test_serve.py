"""The page served for real, in a process of its own: killed and started anew, ended, refused an address."""

import json
import os
import random
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import ExitStack, closing, contextmanager, suppress

import click
import httpx
import pytest

from satdiag.cli import live_cmd
from satdiag.errors import MissingPart, SatdiagError
from satdiag.live import serve
from satdiag.live.pairing import Pairing
from satdiag.store import check_job_file, read_job_file
from satdiag.user_folder import ENVIRONMENT
from tests.live.rigs import PAGE, new_job, tap, until
from tests.ports import free_port
from tests.recorder.conftest import nothing_is_left  # noqa: F401
from tests.recorder.devices import at_some_pace
from tests.recorder.recording import Talker

RUN = (
    "import sys; from satdiag.cli.live_cmd import live; "
    "sys.exit(live.main(sys.argv[1:], prog_name='live', standalone_mode=False))"
)
posix = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


class Served:
    """`satdiag live` on a job file in a process of its own; `said` is all that it printed."""

    def __init__(self, place, *more, port=0):
        arguments = [sys.executable, "-c", RUN, str(place), "--no-browser", "--port", str(port), *more]
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        self.process = subprocess.Popen(
            arguments, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=environment
        )
        self.said = ""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        until(lambda: "It ends after" in self.said or self.process.poll() is not None, 240)
        if self.process.poll() is not None:
            raise AssertionError(f"it ended with exit code {self.end()}: {self.said}")
        self.code = re.search(r"#c=(\d{8})", self.said)[1]
        self.base = re.search(r"http://[\d.]+:\d+", self.said)[0]
        self.port = int(self.base.rpartition(":")[2])

    def _read(self):
        for line in self.process.stderr:
            self.said += line

    @contextmanager
    def client(self):
        """A paired browser."""
        with httpx.Client(base_url=self.base, headers={"X-Satdiag": "1"}, timeout=60) as client:
            self.pair(client)
            yield client

    def pair(self, client):
        """Pair a browser."""
        assert client.post(f"{self.base}/pair", json={"code": self.code}).status_code == 200

    def end(self, how=signal.SIGTERM):
        """Its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(how)
        code = self.process.wait(240)
        self._reader.join()
        self.process.stderr.close()
        return code


@pytest.fixture(autouse=True)
def home(tmp_path_factory, monkeypatch):
    """A user folder of this test's own, for the processes it starts too."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv(ENVIRONMENT, str(home))
    return home


@pytest.fixture
def place(tmp_path):
    return new_job(tmp_path / "demo.satjob")


@posix
@pytest.mark.parametrize(
    ("runs", "count"), [(3, 40), pytest.param(13, 300, marks=[pytest.mark.long, pytest.mark.timeout(900)])]
)
def test_killed_again_and_again_each_tap_stands_once(place, capsys, runs, count):
    """kill -9 in the middle of sending, half of the acknowledgements thrown away, all that is open sent again."""
    draw = random.Random(7)
    waiting = [tap("channel", str(n % 5 + 1), "refused", mono_ms=1000.0 + n) for n in range(count)]
    keys, acknowledged, port, kills = [one["key"] for one in waiting], [], 0, 0
    for run in range(runs):
        served = Served(place, port=port)
        port = served.port
        killer = threading.Timer(draw.uniform(0.0, 0.3), served.process.kill) if run < runs - 1 else None
        try:
            with served.client() as client:
                while waiting:
                    answer = client.post("/taps", json={"page": PAGE, "taps": waiting[: draw.randint(1, 4)]})
                    assert answer.status_code in (200, 429)
                    saved = answer.json().get("saved", [])
                    if killer and saved and killer.ident is None:
                        killer.start()  # not before something is in the file, however long that takes
                    acknowledged += saved
                    if draw.random() < 0.5:  # else the page did not hear of it
                        waiting = [one for one in waiting if one["key"] not in saved]
                    time.sleep(0.06)
        except httpx.TransportError:
            kills += 1
        if killer:
            assert killer.ident is not None
            killer.join()
            assert served.end() == -signal.SIGKILL
        else:
            assert served.end() == 0
    rows = [row for row in read_job_file(place).rows if row.source == "page"]
    with capsys.disabled():
        print(f"\n{kills} kills: {len(acknowledged)} acknowledgements, {len(rows)} rows of {len(keys)} taps")
    assert sorted(row.id for row in rows) == sorted(f"p-{key}" for key in keys)
    assert kills >= (runs - 1) // 2
    assert len({row.run.partition(".")[0] for row in rows}) > 1
    assert check_job_file(place) == []
    assert [path.name for path in place.parent.iterdir()] == [place.name]


@contextmanager
def _usual_port_in_use():
    """Something else has the usual port, so that the page must find the one that it was on before."""
    with socket.socket() as other:
        with suppress(OSError):  # it is in use already, and that is as well
            other.bind(("127.0.0.1", serve.USUAL_PORT))
            other.listen()
        yield


@posix
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM])
def test_a_phone_stays_paired_and_finds_the_page_again_after_a_crash_or_a_shutdown(place, home, how):
    """No port is asked for. At the end a stream of events is open, so that the port was in use just now."""
    with httpx.Client(headers={"X-Satdiag": "1"}, timeout=60) as phone, _usual_port_in_use():
        served = Served(place)
        try:
            served.pair(phone)
            with phone.stream("GET", f"{served.base}/events") as stream:
                next(stream.iter_lines())
                assert served.end(how) == (-how if how == signal.SIGKILL else 0)
            (kept,) = home.rglob("*.json")
            text = kept.read_text("utf-8")
            assert served.code not in text
            assert not [value for value in phone.cookies.values() if value in text]
            again = Served(place)
            try:
                assert again.base == served.base
                assert again.code != served.code
                assert "Phones paired before stay paired (1)" in again.said
                assert phone.get(f"{again.base}/state").status_code == 200
                sent = {"page": PAGE, "taps": [tap()]}
                until(lambda: phone.post(f"{again.base}/taps", json=sent).json()["saved"])
            finally:
                assert again.end(signal.SIGINT) == 0
        finally:
            served.end(how)
    assert not list(home.rglob("*.json")), "who ends it with Ctrl-C wants it to be over"
    assert check_job_file(place) == []


@posix
def test_it_ends_in_good_order_though_a_page_is_open(place):
    served = Served(place)
    try:
        with served.client() as client:
            assert client.get("/").status_code == 200
            with client.stream("GET", "/events") as stream:
                lines = stream.iter_lines()
                assert next(lines).startswith("id: ")
                served.process.send_signal(signal.SIGTERM)
                rest = list(lines)  # the stream ends, and is not cut off
            assert rest
            assert served.process.wait(60) == 0
    finally:
        assert served.end() == 0
    assert "Next: satdiag analyse" in served.said
    assert [path.name for path in place.parent.iterdir()] == [place.name]


@posix
def test_it_records_from_a_device_while_people_tap_and_look_on(place):
    """A device on a socket says 200 lines a second; what one page taps, another hears as it happens."""
    with Talker(200) as talker:
        served = Served(place, "--from", talker.spec)
        try:
            sent = [tap("note", "", f"demo {n}") for n in range(10)]
            with served.client() as writing, served.client() as watching:
                with watching.stream("GET", "/events") as stream:
                    saved = []
                    lines = stream.iter_lines()
                    for one in sent:
                        wish = {"page": PAGE, "taps": [one]}
                        saved += until(lambda wish=wish: writing.post("/taps", json=wish).json()["saved"])
                        until(lambda one=one: f"p-{one['key']}" in next(lines))
                assert watching.get("/state").json()["sources"][0]["state"] == "listening"
        finally:
            assert served.end() == 0
    assert saved == [one["key"] for one in sent]
    rows = read_job_file(place).rows
    heard = [int(row.value) for row in rows if row.kind == "signal"]
    assert len(heard) > 100
    assert heard == sorted(set(heard))
    assert sum(row.source == "page" for row in rows) == 10
    assert check_job_file(place) == []


@posix
def test_pages_that_go_away_leave_no_stream_behind(place):
    """More streams than are allowed at once, one after the other."""
    served = Served(place)
    try:
        with served.client() as client:
            for _ in range(18):
                with client.stream("GET", "/events") as stream:
                    assert stream.status_code == 200
                    next(stream.iter_lines())
                time.sleep(0.02)
            assert client.get("/state").status_code == 200
    finally:
        assert served.end(signal.SIGINT) == 0


@posix
def test_it_ends_by_itself_after_its_hours(place, home):
    at_some_pace(lambda slowly: ends_after(place, home, 0.0005 * slowly))


def ends_after(place, home, hours):
    """It serves, and ends after so long."""
    served = Served(place, "--hours", str(hours))
    try:
        with served.client():
            assert list(home.rglob("*.json"))
        assert served.process.wait(60) == 0
    except httpx.TransportError as error:
        raise AssertionError("it ended before anybody was there") from error
    finally:
        assert served.end() == 0
    assert not list(home.rglob("*.json"))
    assert "Ended after" in served.said


@posix
def test_it_listens_on_this_computer_alone(place):
    served = Served(place)
    try:
        for address in serve.own_addresses():
            with pytest.raises(OSError), socket.create_connection((address, served.port), 1):  # noqa: PT011
                pass
        with httpx.Client() as client:
            # What a foreign name that points here would get.
            answer = client.get(f"{served.base}/state", headers={"Host": f"demo.example:{served.port}"})
        assert answer.status_code == 400
        assert served.code not in json.dumps(dict(answer.headers)) + answer.text
    finally:
        assert served.end() == 0


@posix
@pytest.mark.skipif(not serve.own_addresses(), reason="this computer is in no network")
def test_it_serves_the_network_on_the_one_address_that_was_named(place):
    address = serve.own_addresses()[0]
    served = Served(place, "--lan", address, port=free_port(""))
    try:
        assert served.base == f"http://{address}:{served.port}"
        assert "Anyone on this network with the code can write" in served.said
        with served.client() as client:
            assert client.get("/state").json()["role"] == "write"
        with pytest.raises(OSError), socket.create_connection(("127.0.0.1", served.port), 1):  # noqa: PT011
            pass
    finally:
        assert served.end() == 0


def test_strangers_who_say_nothing_do_not_keep_the_page_from_others(place, monkeypatch):
    """Real sockets: 60 that send nothing or half a head; more than its share of one address is ended at once."""
    at_some_pace(lambda slowly: strangers_wait(monkeypatch, 2.0 * slowly))


def strangers_wait(monkeypatch, head_wait_s):
    """They are ended after so long, those that are too many before."""
    from satdiag.live import patience

    monkeypatch.setattr(patience, "HEAD_WAIT_S", head_wait_s)
    monkeypatch.setattr(patience, "MOST_OF_ONE", 20)

    async def app(scope, receive, send):
        await send({"type": "http.response.start", "status": 204, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    ends = threading.Event()
    with closing(serve.listening("127.0.0.1", 0)) as door, serve._server(app, door, ends):
        there = door.getsockname()
        until(lambda: httpx.get(f"http://127.0.0.1:{there[1]}/").status_code == 204)
        began = time.monotonic()
        with ExitStack() as held:
            idle = [held.enter_context(socket.create_connection(there)) for _ in range(60)]
            for one in idle[:20:2]:
                one.sendall(b"GET / HTTP/1.1\r\nHost: a")
            for one in idle[20:]:
                one.settimeout(60)
                assert ended(one)
            assert time.monotonic() - began < 0.9 * head_wait_s, "it was not the time that ended them"
            for one in idle[:20]:
                one.settimeout(60)
                assert ended(one)
            assert time.monotonic() - began >= 0.9 * head_wait_s
            assert httpx.get(f"http://127.0.0.1:{there[1]}/").status_code == 204


def ended(connection):
    """True if the other side has ended a connection without a word."""
    try:
        return connection.recv(1) == b""
    except ConnectionResetError:
        return True


def test_an_address_is_chosen_never_guessed():
    two = ["192.0.2.7", "198.51.100.7"]
    assert serve.chosen_address("", two[:1], None) == "192.0.2.7"
    assert serve.chosen_address("198.51.100.7", two, None) == "198.51.100.7"
    assert serve.chosen_address("", two, lambda found: found[1]) == "198.51.100.7"
    for wanted, found, why in [("", two, "several"), ("", [], "no address"), ("0.0.0.0", two, "not an address")]:
        with pytest.raises(SatdiagError, match=why):
            serve.chosen_address(wanted, found, None)


def test_own_addresses_can_be_listened_on():
    for address in serve.own_addresses():
        with socket.create_server((address, 0)):
            pass


def test_a_port_in_use_is_said_or_passed_over():
    with serve.listening("127.0.0.1", 0) as first:
        taken = first.getsockname()[1]
        with pytest.raises(SatdiagError, match="cannot be served on"):
            serve.listening("127.0.0.1", taken)
        with serve.listening("127.0.0.1", 0) as second:
            assert second.getsockname()[1] != taken


def test_the_port_that_pages_know_is_waited_for_a_little_then_another_is_taken(monkeypatch):
    monkeypatch.setattr(serve, "PORT_WAIT_S", 60.0)
    known = free_port()  # nobody else is given it meanwhile
    first = serve.listening("127.0.0.1", known)
    soon = threading.Timer(0.3, first.close)
    soon.start()
    with serve.listening("127.0.0.1", 0, known) as second:
        assert second.getsockname()[1] == known
        monkeypatch.setattr(serve, "PORT_WAIT_S", 1.0)
        with serve.listening("127.0.0.1", 0, known) as third:
            assert third.getsockname()[1] != known
    soon.join()


def test_where_no_user_folder_is_known_it_serves_all_the_same(place, monkeypatch):
    from satdiag.live.deck import Deck

    def none_known():
        raise SatdiagError("No home folder is known.")

    monkeypatch.setattr("satdiag.live.pairings.user_folder", none_known)
    said, ends = [], []

    def say(text):
        said.append(text)
        if "It ends after" in text:
            os.kill(os.getpid(), signal.SIGINT)

    serve.Serving(Deck(place, analyse_every_s=600), serve.Plan(), say).run(ends.append)
    assert "phones must be paired again after a crash" in said[0]
    assert len(ends) == 1


def test_the_link_can_be_read_from_the_picture():
    """The picture's modules are those of segno's own matrix, two rows a line, border 2."""
    import segno

    link = serve.link_of(serve.Plan("192.0.2.7"), 8766, "12345678")
    assert link == "http://192.0.2.7:8766/#c=12345678"
    lines = serve.qr_text(link).splitlines()
    matrix = list(segno.make(link, micro=False).matrix_iter(border=2))
    assert len(lines) == (len(matrix) + 1) // 2
    shown = [[mark in "█▀" for mark in line] for line in lines]  # upper halves that are light
    assert shown == [[module == 0 for module in row] for row in matrix[::2]]


def test_the_words_warn_where_others_can_reach_it():
    pairing = Pairing("12345678", "87654321")
    lan = "\n".join(serve.words_of(serve.Plan("192.0.2.7"), 1, pairing))
    alone = "\n".join(serve.words_of(serve.Plan(), 1, pairing))
    assert "Anyone on this network" in lan
    assert "Anyone on this network" not in alone
    assert "1234 5678" in lan
    assert "stay paired" not in lan
    pairing.inherited = 2
    assert "Phones paired before stay paired (2)" in "\n".join(serve.words_of(serve.Plan(), 1, pairing))


def test_a_missing_part_is_named_with_what_to_run(monkeypatch):
    from importlib import util

    find = util.find_spec
    monkeypatch.setattr(util, "find_spec", lambda name: None if name == "segno" else find(name))
    with pytest.raises(MissingPart, match=re.escape('pip install "satdiag[page]"')):
        live_cmd.check_parts()


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ([], None),
        (["--lan"], live_cmd.NOT_SAID),
        (["--lan", "192.0.2.7"], "192.0.2.7"),
        (["--lan", "--poll"], "choose"),
    ],
)
def test_lan_takes_an_address_or_none(arguments, expected):
    context = live_cmd.live.make_context("live", ["demo.satjob", *arguments])
    assert isinstance(context, click.Context)
    assert context.params["lan"] == expected


def test_when_the_file_cannot_be_written_any_more_it_ends_and_brings_what_it_holds_to_safety(place, monkeypatch):
    from satdiag.errors import StoreProblem
    from satdiag.live.deck import Deck
    from satdiag.store import LiveFile

    def broken(self, rows, parts=()):
        raise StoreProblem("the medium is gone")

    monkeypatch.setattr(LiveFile, "append", broken)
    deck, ends = Deck(place, analyse_every_s=600), []
    sent = tap()

    def say(text):
        if "It ends after" in text:  # it serves now
            answers.append(deck._taps.take(PAGE, [sent], wait_s=0.1))

    answers = []
    summary, insisted = serve.Serving(deck, serve.Plan(), say).run(ends.append)
    assert ends == [summary]
    assert not insisted
    assert answers[0].saved == []
    assert str(summary.error) == "the medium is gone"
    assert [row.id for row in summary.unwritten] == [f"p-{sent['key']}"]
