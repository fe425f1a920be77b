"""Recorder, page and analyses at one job file at once: real processes, a simulated receiver, taps over HTTP.

At the end the file is in order and holds every row that was acknowledged. Long: ten minutes, or what
`SATDIAG_TOGETHER_S` names. (The receiver is simulated: this proves how the
processes share a file, and nothing about receivers.)
"""

import contextlib
import os
import subprocess
import sys
import threading
import time
import uuid

import httpx
import pytest

from satdiag.cli import run
from satdiag.store import check_job_file, read_job_file
from tests.live.browser.real import Laptop, Receiver
from tests.live.rigs import new_job, tap

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes are ended by signals of POSIX systems")
LONG_S = float(os.environ.get("SATDIAG_TOGETHER_S", "600"))


class Analyses:
    """`satdiag analyse`, `check` and `export` one after the other in processes of their own, until `stop`."""

    COMMANDS = (("analyse", "--json"), ("check",), ("export", "--json"))

    def __init__(self, place):
        self.place, self.done, self.failed = place, [], []
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._go)
        self._thread.start()

    def _go(self):
        number = 0
        while not self._stop.is_set():
            verb, *more = self.COMMANDS[number % len(self.COMMANDS)]
            out = [*more, str(self.place.with_name(f"out-{number}.json"))] if verb == "export" else more
            told = subprocess.run(
                [sys.executable, "-m", "satdiag", verb, str(self.place), *out],
                capture_output=True,
                encoding="utf-8",
                timeout=240,
                check=False,
            )
            self.done.append(verb)
            if told.returncode != 0:
                self.failed.append((verb, told.returncode, told.stderr[-500:]))
            number += 1

    def stop(self):
        self._stop.set()
        self._thread.join(300)
        assert not self._thread.is_alive()


def _page(laptop):
    client = httpx.Client(base_url=laptop.url, headers={"X-Satdiag": "1"}, timeout=60)
    assert client.post("/pair", json={"code": laptop.code}).status_code == 200
    return client


def _tapped(client, page, number):
    """One tap; the key if the server says that it is saved."""
    sent = tap("note", "", f"demo tap {number}") if number % 2 else tap("channel", str(1 + number % 4), "authorised")
    told = client.post("/taps", json={"page": page, "taps": [sent]})
    assert told.status_code in (200, 429, 503), told.text
    return [f"p-{key}" for key in told.json()["saved"]] if told.status_code == 200 else []


@pytest.mark.parametrize(
    "seconds", [12.0, pytest.param(LONG_S, marks=[pytest.mark.long, pytest.mark.timeout(int(LONG_S * 2 + 900))])]
)
def test_recording_page_and_analyses_share_one_file(seconds, tmp_path, capsys):
    place = new_job(tmp_path / "demo.satjob")
    acknowledged, page = [], str(uuid.uuid4())
    with Receiver("complete", 7, 20.0) as receiver, Laptop(place, receiver.spec) as laptop:
        analyses, began = Analyses(place), time.monotonic()
        try:
            with contextlib.closing(_page(laptop)) as client:
                number = 0
                while time.monotonic() - began < seconds or not analyses.done:
                    number += 1
                    acknowledged += _tapped(client, page, number)
                    time.sleep(0.25)
                assert client.get("/state").status_code == 200
        finally:
            analyses.stop()
        code, said = laptop.end()
    assert code == 0, said
    assert analyses.failed == []
    assert analyses.done
    job = read_job_file(place)
    ids = {row.id for row in job.rows}
    assert len(acknowledged) > seconds / 2
    assert [one for one in acknowledged if one not in ids] == []
    assert sum(row.source.startswith("serial:") for row in job.rows) > seconds / 4, "the receiver was heard as well"
    assert check_job_file(place) == []
    assert run(["check", str(place)]) == 0
    leftover = [path.name for path in tmp_path.iterdir() if path.name.startswith("demo.satjob") and path != place]
    assert leftover in ([], ["demo.satjob.lock"]), leftover
    print(f"{seconds:.0f} s: {len(acknowledged)} taps, {len(job.rows)} rows, {len(analyses.done)} analyses")
    assert "rows" in capsys.readouterr().out
