"""The view 'Hand over' tells what is inside of a paper: looked up in the papers themselves, made for real."""

import io
import zipfile

import pytest

from satdiag.job import build_job
from satdiag.kept import analyse_here
from satdiag.language import speaking
from satdiag.live.papers import FORMS, WHATS, WITH_ID, Wish, make_paper
from satdiag.live.views import view_of
from satdiag.report.browser import VARIABLE
from satdiag.rows import Row
from satdiag.user_folder import ENVIRONMENT
from tests.live.rigs import LINEUP, SHEET

HAND, TECHNICIAN, NOTE, NUMBER = "Demo Hand", "Demo Technician", "the demo customer is rude", "DEMO00042"
VEHICLE, PLACE, LATITUDE, LONGITUDE = "demo van", "demo yard", "45.123", "-93.987"
TOLD = {
    "the vehicle": VEHICLE,
    "who did the work": HAND,
    "the technician": TECHNICIAN,
    "the names of places": PLACE,
    "word for word": NOTE,
}


@pytest.fixture(scope="module")
def told_of(tmp_path_factory):
    """A job with everything that is somebody's business, and what the view says of it."""
    sheet = SHEET.replace(b"[job]\n", b'[job]\ntechnician = "%s"\n' % TECHNICIAN.encode())
    sheet = sheet.replace(b"45.0", LATITUDE.encode()).replace(b"-93.0", LONGITUDE.encode())
    sheet = sheet.replace(b'name = "demo yard"\n', b'name = "demo yard"\ntimezone = "America/Chicago"\n')
    rows = [
        Row("2031-05-03T13:40:00Z", "power", "receiver", "awake"),
        Row("2031-05-03T13:40:01Z", "site", "vehicle", PLACE),
        Row("2031-05-03T13:41:00Z", "channel", "1", "authorised"),
        Row("2031-05-03T13:42:00Z", "channel", "2", "refused"),
        Row("2031-05-03T13:43:00Z", "note", "", NOTE),
    ]
    job = build_job({"job.toml": sheet, "lineup.csv": LINEUP}, rows)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(ENVIRONMENT, str(tmp_path_factory.mktemp("home")))
        yield job, analyse_here(job)


def view_in(told_of, language="en"):
    """The papers of the view by what they are."""
    with speaking(language):
        return {paper["what"]: paper for paper in view_of("handover", *told_of)["papers"]}


def text_of(paper):
    """All that can be read in a paper, of a ZIP in its files."""
    if not paper.name.endswith(".zip"):
        return paper.data.decode()
    with zipfile.ZipFile(io.BytesIO(paper.data)) as bundle:
        return "\n".join(bundle.read(name).decode("utf-8", "replace") for name in bundle.namelist())


@pytest.mark.parametrize("what", WHATS)
def test_what_is_said_to_be_inside_is_inside_and_nothing_else_is(told_of, what, monkeypatch):
    monkeypatch.setenv(VARIABLE, "no-such-browser")  # a PDF says the same, and takes its time
    job, _ = told_of
    inside = view_in(told_of)[what]["inside"]
    text = text_of(make_paper(job, Wish(what, FORMS[what][0], "en", HAND)))
    for words, private in TOLD.items():
        if not (what == "bundle" and words == "the names of places"):
            assert (words in inside) == (private in text), (words, inside)
    assert ("positions" in inside) == (LATITUDE in text) == (LONGITUDE in text)
    assert ("every entry" in inside) == (what in ("report", "bundle"))
    assert "masked" in inside
    assert NUMBER not in text
    if what in WITH_ID:
        assert NUMBER in text_of(make_paper(job, Wish(what, FORMS[what][0], "en", HAND, True)))


def test_only_what_can_be_made_here_is_offered(told_of, monkeypatch):
    for browser, form in (("no-such-browser", ["html"]), ("true", ["html", "pdf"])):
        monkeypatch.setenv(VARIABLE, browser)
        papers = view_in(told_of)
        assert list(papers) == list(WHATS)
        assert [papers[what]["forms"] for what in ("report", "customer", "provider", "dealer")] == [form] * 4
        assert papers["record"]["forms"] == ["html"]
        assert papers["bundle"]["forms"] == ["zip"]
        assert any("no browser" in note for note in papers["report"]["notes"]) == (form == ["html"])
    assert {what for what, paper in papers.items() if paper["full_id"]} == WITH_ID


def test_the_state_of_the_activation_is_said_at_the_record(told_of):
    notes = view_in(told_of)["record"]["notes"]
    assert "not confirmed" in notes[0], "one channel alone proves nothing"
    assert "No acceptance record" in view_in(told_of)["bundle"]["notes"][0]


@pytest.mark.parametrize(
    ("language", "title", "word"),
    [("es", "Carta al cliente", "el vehículo"), ("fr", "Lettre au client", "le véhicule")],
)
def test_it_is_told_in_the_language_of_the_page(told_of, language, title, word):
    papers, english = view_in(told_of, language), view_in(told_of)
    assert papers["customer"]["title"] == title
    assert word in papers["customer"]["inside"]
    for what in WHATS:
        for key in ("title", "purpose", "inside", "notes"):
            assert papers[what][key] != english[what][key] or not english[what][key], (what, key)


def test_a_job_without_anything_private_is_told_so(tmp_path, monkeypatch):
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path))
    job = build_job(
        {"job.toml": b'[job]\nid = "demo-bare"\n'}, [Row("2031-05-03T13:40:00Z", "power", "receiver", "awake")]
    )
    papers = view_in((job, analyse_here(job)))
    assert papers["report"]["inside"] == "Inside: every entry."
    assert papers["bundle"]["inside"] == "Inside: who did the work and every entry."
    assert not any(paper["full_id"] for paper in papers.values())
