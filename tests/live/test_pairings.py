"""Sessions that outlive a crash: what is kept of them, for whom, how long, and that nothing else is believed."""

import hashlib
import json
import os
import re
import stat
import sys
import time
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from satdiag.live import pairings
from satdiag.live.pairing import LONGEST_S, MOST_SESSIONS, Pairing, Session, WrongCode
from satdiag.live.pairings import FOLDER, PairedFile, port_before, sweep
from satdiag.user_folder import ENVIRONMENT, add, entries, export_to, strangers
from tests.live.rigs import CODE, WATCH

HOUR_S = 3600.0
posix = pytest.mark.skipif(sys.platform == "win32", reason="rights of POSIX")


@pytest.fixture(autouse=True)
def home(tmp_path, monkeypatch):
    """A user folder of this test's own."""
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path / "home"))
    return tmp_path / "home"


class Clocks:
    """Both clocks of a computer; `reboot` starts the one that only goes on anew."""

    def __init__(self):
        self.wall_s, self.mono_s = 2_000_000_000.0, 500.0

    def go(self, seconds):
        self.wall_s += seconds
        self.mono_s += seconds

    def reboot(self, seconds=60.0):
        self.wall_s += seconds
        self.mono_s = 5.0


@pytest.fixture
def clocks():
    return Clocks()


def book(tmp_path, job="demo-job", port=8766, say=lambda text: None):
    return PairedFile(job, port, tmp_path / "demo.satjob", say)


def start(clocks, kept, hours=4.0):
    """A start of the server, with codes that are its own."""
    return Pairing(CODE, WATCH, lambda: clocks.mono_s, hours * HOUR_S, kept, lambda: clocks.wall_s)


def test_who_was_paired_stays_so_over_a_crash_and_a_reboot_until_the_hours_are_over(tmp_path, clocks):
    first = start(clocks, book(tmp_path))
    writing, _ = first.pair(CODE)
    watching, _ = first.pair(WATCH)
    assert first.inherited == 0
    clocks.go(3 * HOUR_S)
    clocks.reboot()
    second = start(clocks, book(tmp_path))
    assert (second.role(writing), second.role(watching), second.inherited) == ("write", "watch", 2)
    assert second.role("x") is None
    clocks.go(HOUR_S - 62)
    assert second.role(writing) == "write"
    clocks.go(4)
    assert second.role(writing) is None, "4 h after the start at which it was paired"
    clocks.reboot()
    assert start(clocks, book(tmp_path)).inherited == 0


def test_a_session_ends_with_the_hours_also_where_no_book_is(clocks):
    pairing = start(clocks, None, hours=0.5)
    token, _ = pairing.pair(CODE)
    assert pairing.left_s == pytest.approx(1800)
    clocks.go(1799)
    assert pairing.role(token) == "write"
    clocks.go(2)
    assert (pairing.role(token), pairing.left_s) == (None, 0.0)


def test_a_clock_that_is_set_while_it_runs_ends_nothing(tmp_path, clocks):
    pairing = start(clocks, book(tmp_path))
    token, _ = pairing.pair(CODE)
    clocks.wall_s += 1e8
    assert pairing.role(token) == "write"


@pytest.mark.parametrize("step_s", [-7 * 86400.0, -49 * HOUR_S, 5 * HOUR_S, 1e9])
def test_an_end_that_no_session_can_have_is_not_believed(tmp_path, clocks, step_s):
    start(clocks, book(tmp_path)).pair(CODE)
    clocks.wall_s += step_s
    assert start(clocks, book(tmp_path)).inherited == 0


def test_another_job_or_another_port_inherits_nothing(tmp_path, clocks):
    token, _ = start(clocks, book(tmp_path)).pair(CODE)
    for other in (book(tmp_path, job="demo-job2"), book(tmp_path, job="DEMO-JOB"), book(tmp_path, port=8767)):
        assert start(clocks, other).role(token) is None
    moved = book(tmp_path, job="other")
    moved.path.write_bytes(book(tmp_path).path.read_bytes())
    assert start(clocks, moved).inherited == 0, "a copy under another job's name"
    assert start(clocks, book(tmp_path)).role(token) == "write"


def test_neither_token_nor_code_is_written_but_the_digest_of_the_standard_library(tmp_path, home, clocks):
    token, _ = start(clocks, book(tmp_path)).pair(CODE)
    (file,) = (path for path in home.rglob("*") if path.is_file())
    text = file.read_text("utf-8")
    assert not any(secret in text for secret in (token, CODE, WATCH, str(tmp_path)))
    (kept,) = json.loads(text)["sessions"]
    assert kept == {
        "token_sha256": hashlib.sha256(token.encode()).hexdigest(),
        "role": "write",
        "ends_unix_s": int(clocks.wall_s + 4 * HOUR_S),
    }
    assert set(json.loads(text)) == {"format", "job", "port", "place_sha256", "sessions"}
    assert re.fullmatch(r"[0-9a-f]{16}-8766\.json", file.name)


@posix
def test_it_is_readable_by_its_owner_alone_and_believed_only_then(tmp_path, clocks):
    kept = book(tmp_path)
    before = os.umask(0)
    try:
        start(clocks, kept).pair(CODE)
    finally:
        os.umask(before)
    assert stat.S_IMODE(kept.path.stat().st_mode) == 0o600
    assert stat.S_IMODE(kept.path.parent.stat().st_mode) == 0o700
    for mode in (0o640, 0o604, 0o620, 0o602):
        kept.path.chmod(mode)
        assert start(clocks, kept).inherited == 0
    kept.path.chmod(0o600)
    assert start(clocks, kept).inherited == 1
    elsewhere = kept.path.rename(tmp_path / "planted")
    kept.path.symlink_to(elsewhere)
    assert start(clocks, kept).inherited == 0


def test_a_good_end_leaves_nothing_and_a_late_pairing_brings_it_not_back(tmp_path, clocks):
    kept = book(tmp_path)
    pairing = start(clocks, kept)
    pairing.pair(CODE)
    assert kept.path.exists()
    pairing.forget()
    pairing.pair(CODE)
    assert list(kept.path.parent.iterdir()) == []
    start(clocks, kept).forget()  # nothing there is no trouble


def test_no_export_carries_it_and_nobody_is_told_of_a_stranger(tmp_path, home, clocks):
    start(clocks, book(tmp_path)).pair(CODE)
    lineup = tmp_path / "demo.csv"
    lineup.write_text("channel,name,category,packages\n1,Demo One,music,\n", "utf-8")
    add("lineups", lineup, {})
    assert (home / FOLDER).is_dir()
    assert [entry.name for entry in entries()] == ["demo"]
    assert strangers() == []
    export_to(tmp_path / "out.zip", {})
    with zipfile.ZipFile(tmp_path / "out.zip") as carried:
        assert not [name for name in carried.namelist() if "paired" in name]


def test_expired_sessions_and_old_remains_go(tmp_path, clocks):
    kept = book(tmp_path)
    start(clocks, kept, hours=1).pair(CODE)
    clocks.go(HOUR_S / 2)
    clocks.reboot()
    second = start(clocks, kept, hours=4)
    clocks.go(HOUR_S)
    second.pair(WATCH)
    assert [one["role"] for one in json.loads(kept.path.read_text("utf-8"))["sessions"]] == ["watch"]
    folder = kept.path.parent
    (folder / ".satdiag-torn").mkdir()
    (folder / ".satdiag-torn" / "new").write_bytes(b"{")
    old = time.time() - LONGEST_S - 60
    os.utime(folder / ".satdiag-torn", (old, old))
    sweep(time.time())
    assert sorted(path.name for path in folder.iterdir()) == [kept.path.name]
    os.utime(kept.path, (old, old))
    sweep(time.time())
    assert list(folder.iterdir()) == []


def test_of_many_pages_the_latest_are_kept(tmp_path, clocks):
    pairing = start(clocks, book(tmp_path))
    tokens = [pairing.pair(CODE)[0] for _ in range(MOST_SESSIONS + 3)]
    again = start(clocks, book(tmp_path))
    assert [again.role(token) for token in tokens] == [None] * 3 + ["write"] * MOST_SESSIONS


def test_a_wrong_code_writes_nothing(tmp_path, home, clocks):
    with pytest.raises(WrongCode):
        start(clocks, book(tmp_path)).pair("00000000")
    assert not home.exists()


def test_pairing_works_where_nothing_can_be_kept_and_it_is_said_once(tmp_path, home, clocks):
    home.write_text("a file where the folder should be", "utf-8")
    said = []
    pairing = start(clocks, book(tmp_path, say=said.append))
    tokens = [pairing.pair(CODE)[0] for _ in range(2)]
    assert [pairing.role(token) for token in tokens] == ["write", "write"]
    assert len(said) == 1
    assert "pair again" in said[0]
    pairing.forget()
    sweep(time.time())
    assert port_before(tmp_path / "demo.satjob", clocks.wall_s) is None


def test_a_write_that_breaks_off_leaves_the_old_file_whole(tmp_path, clocks, monkeypatch):
    kept = book(tmp_path)
    start(clocks, kept).pair(CODE)
    before = kept.path.read_bytes()

    def broken(path, data):
        path.write_bytes(data[: len(data) // 2])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pairings, "_write_private", broken)
    start(clocks, kept).pair(CODE)
    assert kept.path.read_bytes() == before
    assert [path.name for path in kept.path.parent.iterdir()] == [kept.path.name]


def test_the_port_is_found_again_by_the_job_file(tmp_path, clocks):
    here, elsewhere = tmp_path / "demo.satjob", tmp_path / "other" / "demo.satjob"
    assert port_before(here, clocks.wall_s) is None
    start(clocks, PairedFile("demo-job", 9001, here)).pair(CODE)
    start(clocks, PairedFile("demo-job", 9002, elsewhere)).pair(CODE)
    assert port_before(here, clocks.wall_s) == 9001
    assert port_before(elsewhere, clocks.wall_s) == 9002
    later = PairedFile("demo-job", 9003, here)
    start(clocks, later).pair(CODE)
    os.utime(later.path, (time.time() + 5, time.time() + 5))
    assert port_before(here, clocks.wall_s) == 9003
    assert port_before(here, clocks.wall_s + 5 * HOUR_S) is None, "all sessions have ended"


# --- what else may stand there -------------------------------------------------------------------------------------

SESSION = {"token_sha256": "a" * 64, "role": "write", "ends_unix_s": 2_000_000_600}
CONTENT = {"format": 1, "job": "demo-job", "port": 8766, "place_sha256": "b" * 64, "sessions": [SESSION]}
ODD = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=5,
)


def put(kept, data):
    kept.path.parent.mkdir(parents=True, exist_ok=True)
    kept.path.write_bytes(data)
    kept.path.chmod(0o600)


def test_a_file_in_order_is_believed(tmp_path):
    kept = book(tmp_path)
    put(kept, json.dumps(CONTENT).encode())
    assert kept.read(2_000_000_000) == [Session("a" * 64, "write", 2_000_000_600)]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(
        st.binary(max_size=40),
        st.sampled_from([b"[" * 50_000, b"{" * 70_000, b'{"format": 1e999}', b"", b"null"]),
        ODD.map(lambda value: json.dumps(value).encode()),
        st.tuples(st.sampled_from([*CONTENT, "more"]), ODD).map(
            lambda change: json.dumps({**CONTENT, change[0]: change[1]}).encode()
        ),
        st.tuples(st.sampled_from([*SESSION, "more"]), ODD).map(
            lambda change: json.dumps({**CONTENT, "sessions": [{**SESSION, change[0]: change[1]}]}).encode()
        ),
    )
)
def test_whatever_stands_there_nobody_is_let_in_by_it_and_the_next_pairing_replaces_it(tmp_path, data):
    kept, clocks = book(tmp_path), Clocks()
    put(kept, data)
    if found := kept.read(clocks.wall_s):
        told = json.loads(data)
        assert told.keys() == CONTENT.keys()
        assert (told["format"], told["job"], told["port"]) == (1, "demo-job", 8766)
        ((digest, role, ends_s),) = found
        assert [{"token_sha256": digest, "role": role, "ends_unix_s": ends_s}] == told["sessions"]
        assert (digest, role) in (("a" * 64, "write"), ("a" * 64, "watch"))
        assert 0 < ends_s - clocks.wall_s <= LONGEST_S
    assert port_before(tmp_path / "demo.satjob", clocks.wall_s) is None
    pairing = start(clocks, kept)
    token, _ = pairing.pair(CODE)
    assert pairing.role(token) == "write"
    assert start(clocks, kept).role(token) == "write"
