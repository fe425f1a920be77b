"""Slots from memory are told in the terminal, in the report and on the live page; and `satdiag docs sky` says why."""

import shutil
import socket
import tomllib
from contextlib import closing
from pathlib import Path

import pytest

from satdiag.cli import run
from satdiag.live.app import make_app
from satdiag.live.pairing import Pairing
from satdiag.live.security import Access
from satdiag.live.serve import _server
from satdiag.sky.constellation import parse_constellation
from satdiag.sky.expect import sources_of_models
from tests.live.rigs import CODE, PAGE, SHEET, WATCH, running, tap
from tests.report.conftest import chromium  # noqa: F401

SAMPLES = Path(__file__).parent.parent.parent / "sample_logs"
TOLD = "from memory and not checked"
PLAIN = 'constellation = "demo-pair"'
REMEMBERED = 'constellation = "north-america-2300"'


@pytest.fixture(autouse=True)
def _apart(tmp_path, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))


@pytest.fixture(params=[True, False], ids=["from-memory", "invented"])
def job(request, tmp_path):
    """A job whose slots are from memory, and one whose slots are not; with whether they are."""
    folder = tmp_path / "job"
    shutil.copytree(SAMPLES / "antenna-open", folder)
    sheet = (folder / "job.toml").read_text("utf-8")
    assert PLAIN in sheet
    if request.param:
        (folder / "job.toml").write_text(sheet.replace(PLAIN, REMEMBERED), "utf-8")
    return folder, request.param


def test_the_terminal_and_the_report(job, capsys, tmp_path):
    folder, remembered = job
    page = tmp_path / "report.html"
    assert run(["analyse", str(folder), "--report", str(page)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert (TOLD in said) is remembered
    assert (TOLD in page.read_text("utf-8")) is remembered


def test_without_a_site_it_is_told_as_well(capsys, tmp_path):
    (tmp_path / "observations.csv").write_text("time,kind,subject,value,unit,source,note\n", "utf-8")
    (tmp_path / "job.toml").write_text(f'[job]\nid = "demo-1"\n[service]\n{REMEMBERED}\n', "utf-8")
    assert run(["analyse", str(tmp_path)]) == 0
    assert TOLD in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("remembered", [True, False])
def test_the_live_page_shows_it_without_a_tap(chromium, tmp_path, remembered):  # noqa: F811
    from satdiag.job import build_job
    from satdiag.store import create_job_file

    place = tmp_path / "demo.satjob"
    named = REMEMBERED if remembered else PLAIN
    create_job_file(place, build_job({"job.toml": SHEET + f"{named}\n".encode()}, []))
    with running(place, analyse_every_s=0.2) as deck, closing(socket.create_server(("127.0.0.1", 0))) as port:
        number = port.getsockname()[1]
        access = Access({f"127.0.0.1:{number}"}, Pairing(CODE, WATCH), f"satdiag_{number}")
        with _server(make_app(deck, access), port, deck.closing):
            context = chromium.new_context(viewport={"width": 390, "height": 844})
            page = context.new_page()
            page.goto(f"http://127.0.0.1:{number}/#c={CODE}")
            page.wait_for_selector("#link[data-state=good]", timeout=60_000)
            deck.take_taps(PAGE, [tap("power", "receiver", "awake")])
            page.locator("#could-not").wait_for(timeout=60_000)  # it was analysed
            found = page.locator("#told li", has_text=TOLD)
            assert found.count() == int(remembered)
            assert not remembered or found.first.is_visible()
            context.close()


def test_the_documentation_of_the_sky(capsys):
    assert run(["docs"]) == 0
    assert "sky " in capsys.readouterr().out
    assert run(["docs", "sky"]) == 0
    text = capsys.readouterr().out
    assert "{{" not in text
    for source in sources_of_models():
        assert f"| {source.name} | {source.standing} |" in text
    example = text.partition("```toml\n")[2].partition("```")[0]
    found = parse_constellation(example)
    assert [satellite.name for satellite in found.satellites] == ["east", "high", "low"]
    assert found.satellites[1].tle is not None
    keys = {key for satellite in tomllib.loads(example)["satellite"] for key in satellite}
    assert keys <= {"name", "longitude_deg", "elements", "eirp_dbw", "frequency_mhz", "status", "tle", "omm"}
    for key in ("longitude_deg", "elements", "eirp_dbw", "frequency_mhz", "status", "tle", "omm"):
        assert f"`{key}`" in text or key in keys
