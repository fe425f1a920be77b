"""The analysis in a process of its own: the same as in a thread, told how it failed, and gone when it is ended."""

from __future__ import annotations

import os
import signal
import sys

import pytest

from satdiag.errors import SatdiagError
from satdiag.live.apart import Apart
from satdiag.live.bench import Bench, Ended, Failed
from satdiag.live.papers import GENTLE
from satdiag.store import create_job_file
from tests.helpers import make_job
from tests.live.rigs import PAGE, running, tap, until
from tests.live.test_deck import FILLING, LINEUP
from tests.recorder.conftest import nothing_is_left  # noqa: F401

posix = pytest.mark.skipif(sys.platform == "win32", reason="it asks the system for a priority, and ends by a signal")


@pytest.fixture
def place(tmp_path):
    made = tmp_path / "demo.satjob"
    create_job_file(made, make_job(FILLING, '[service]\npackage = "full"\n', LINEUP))
    return made


@posix
def test_it_finds_what_an_analysis_in_a_thread_finds_and_stands_back(place):
    here, apart = Bench(place), Apart(place)
    try:
        assert apart.view("verdict", "en") == (0, {})
        found = apart.look(3, ["en", "es"])
        assert found.found == here.look(3, ["en", "es"]).found
        assert found.work_s > 0.0
        for name in ("verdict", "wiring"):
            assert apart.view(name, "es") == here.view(name, "es")
        assert apart.view("timing", "fr").number == 3, "a language that was not asked for before"
        assert os.getpriority(os.PRIO_PROCESS, apart.process) >= GENTLE
        with pytest.raises(Failed) as failed:
            apart.view("no such view", "en")
        assert failed.value.name == "KeyError"
        os.kill(apart.process, signal.SIGKILL)
        with pytest.raises(Ended):
            apart.look(4, ["en"])
        os.rename(place, place.with_suffix(".away"))
        with pytest.raises(SatdiagError, match="nothing there"):
            apart.look(5, ["en"])  # another process says so
    finally:
        apart.stop()
    with pytest.raises(Ended):
        apart.look(6, ["en"])


@posix
def test_taps_are_taken_while_the_analysis_is_under_way_and_a_recording_does_not_wait_for_its_end(place, monkeypatch):
    for_ever = [sys.executable, "-c", "import time; time.sleep(3600)"]
    monkeypatch.setattr("satdiag.live.apart.command", lambda: for_ever)
    with running(place, analyse_every_s=0.1, apart=True) as deck:
        until(lambda: deck._working.process)
        assert len(deck.take_taps(PAGE, [tap(), tap("channel", "13", "authorised")]).saved) == 2
        states = [deck.state("write") for _ in range(3)]
    assert [state["analysis"] for state in states] == [0, 0, 0]


@posix
def test_an_analysis_whose_process_dies_is_made_again(place):
    with running(place, analyse_every_s=0.1, apart=True) as deck:
        first = until(lambda: deck.state(None)["analysis"])
        os.kill(deck._working.process, signal.SIGKILL)
        deck._analyst.refresh()
        assert until(lambda: (now := deck.state(None)["analysis"]) > first and now) > first
        assert deck.view("verdict", "write")["number"] > 0
