"""The page of a fleet: true of what is there, whatever that is; valid; in three languages."""

import re

import numpy as np
import plotly.graph_objects as go
import pytest

from satdiag.cli import run
from satdiag.errors import SatdiagError
from satdiag.fleet.report_data import fleet_in
from satdiag.fleet.report_page import fleet_html, sections_of, write_fleet_report
from satdiag.language import speaking
from tests.fleet_report import made_fleet as made
from tests.report.conftest import chromium  # noqa: F401
from tests.report.reading import without_plotly
from tests.report.test_report_valid import complaints


def full(folder):
    """120 jobs over four months, three packages; 40 closed; some bad."""
    rows = made.fleet_with_waits(120, 1)
    rng = np.random.default_rng(4)
    for row in rows[:40]:
        p = float(rng.uniform(0.3, 0.99))
        found = ["antenna-open"] if rng.random() < p else []
        row |= {**made.verdict("antenna-open", p, p > 0.95), "confirmed_fault": found}
    rows[50] |= {"conflict_bits": 12.0, "analysis": "0/test/1"}
    rows[51] |= {"state": "cannot-tell"}
    return made.write(folder, [*rows, made.bad(200), made.bad(201), made.bad(202, "it is <no> job")])


@pytest.fixture(scope="module")
def fleets(tmp_path_factory):
    place = tmp_path_factory.mktemp("fleets")
    return {
        "full": full(place / "full"),
        "empty": made.write(place / "empty", []),
        "one": made.write(place / "one", [made.job(1)]),
        "bad": made.write(place / "bad", [made.bad(1), made.bad(2)]),
    }


def own_part(page):
    """The page without plotly's script, which only pages with drawings have."""
    return without_plotly(page) if "Plotly" in page else page


def texts(place):
    """What each section says without its tables, and its tables' texts."""
    found = {}
    for section in sections_of(fleet_in(place)):
        tables = [*section.tables, *(one for figure in section.figures for one in figure.tables)]
        rows = [[cell.text for cell in row] for table in tables for row in table.rows]
        found[section.name] = (" ".join((*section.sentences, *section.missing)), rows, section)
    return found


def test_an_empty_set_says_so(fleets):
    found = texts(fleets["empty"])
    assert found["jobs"][0].startswith("The data set holds 0 jobs. There is no job in it")
    assert found["classes"][0] == "No job could be analysed, so that there are no verdicts."
    assert found["times"][0].startswith("No job tells how long")
    assert found["truth"][0].startswith("No job says what was found")
    assert found["outliers"][0] == "No job stands out."
    assert not any(rows for _, rows, _ in found.values())


def test_one_job(fleets):
    found = texts(fleets["one"])
    assert "The data set holds 1 job. Their logs" in found["jobs"][0]
    assert found["jobs"][1] == [["It works", "1", "100\u202f% (27\u00a0to\u00a0100\u202f%)", "1"]]
    assert ["2031-01", "no fault", "1", "1", "100\u202f% (27\u00a0to\u00a0100\u202f%)"] in found["classes"][1]
    assert "too few months" in found["classes"][0]
    assert ["1 group of fewer than five jobs", "1", "", "too few to say", ""] in found["times"][1]
    assert not any(section.figures for _, _, section in found.values())


def test_only_errors(fleets):
    found = texts(fleets["bad"])
    assert "2 of them could not be analysed: 100\u202f%" in found["jobs"][0]
    assert found["jobs"][1] == [["the header is missing a column", "2", "fleet/demo-1.satjob"]]
    assert [row[2] for row in found["outliers"][1]] == ["fleet/demo-1.satjob", "fleet/demo-2.satjob"]


def test_the_figures_of_a_full_set_are_those_of_the_rows(fleets):
    found = texts(fleets["full"])
    frame = fleet_in(fleets["full"]).jobs
    assert "The data set holds 123 jobs." in found["jobs"][0]
    assert "3 of them could not be analysed" in found["jobs"][0]
    assert "2 versions of the analysis" in found["jobs"][0]
    january = frame[frame["month"] == "2031-01"]
    row = next(row for row in found["classes"][1] if row[:2] == ["2031-01", "antenna"])
    assert row[2:4] == [str((january["class"] == "antenna").sum()), str(len(january))]
    assert any(row[1] == "cannot tell" for row in found["classes"][1])
    packages = {row[0]: row for row in found["times"][1] if row[0].startswith("demo-")}
    assert {name: row[1] for name, row in packages.items()} == dict.fromkeys(made.PACKAGES, "40")
    assert [row[0] for row in found["times"][1]][:3] == ["demo-talk", "demo-music", "demo-all"]  # the slowest first
    closed = frame[frame["confirmed_fault"].notna()]
    hits = sum(len(one) == 1 for one in closed["confirmed_fault"])
    assert f"likeliest fault was among those found in {hits} of 40" in found["truth"][0]
    sure = closed[closed["sure"]]
    right = sum(len(one) == 1 for one in sure["confirmed_fault"])
    assert f"Of {len(sure)} sure verdicts {right} named" in found["truth"][0]
    assert "no random sample" in found["truth"][0]
    bins = [row for row in found["truth"][1] if row[0].endswith("\u202f%")]
    assert sum(int(row[1]) for row in bins) == 40
    assert sum(int(row[3]) for row in bins) == hits
    assert any("12.0 bits" in row[1] for row in found["outliers"][1])


def test_every_drawing_is_one_that_plotly_takes_and_has_its_table(fleets):
    sections = sections_of(fleet_in(fleets["full"]))
    figures = {figure.name: figure for section in sections for figure in section.figures}
    assert {"classes", "package-hours-to-90", "region-hours-to-half", "receiver-hours-to-90", "reliability"} <= set(
        figures
    )
    for figure in figures.values():
        go.Figure(figure.spec)  # raises ValueError for a key or value that plotly does not know
        assert figure.alt
        assert figure.tables[0].rows
    forest = figures["package-hours-to-90"].spec
    assert forest["layout"]["yaxis"]["ticktext"] == ["demo-talk", "demo-music", "demo-all"]
    drawn = next(trace for trace in forest["data"] if trace["name"] == "drawn towards the others")
    assert drawn["x"] == sorted(drawn["x"], reverse=True)


def test_pages_are_valid_and_hold_everything_themselves(fleets, tmp_path):
    for name, place in fleets.items():
        page = own_part(fleet_html(fleet_in(place), name))
        assert not re.search(r"(?:src|href)=\"(?!#)", page)
        (tmp_path / f"{name}.html").write_text(page, "utf-8")
    assert "&lt;no&gt; job" in (tmp_path / "full.html").read_text("utf-8")
    with speaking("fr"):
        (tmp_path / "french.html").write_text(own_part(fleet_html(fleet_in(fleets["full"]), "full")), "utf-8")
    assert complaints(tmp_path) == []


@pytest.mark.parametrize(
    ("language", "words"),
    [
        ("es", ("Informe de una flota", "123 trabajos", "Trabajos que conviene revisar")),
        ("fr", ("Rapport d'une flotte", "123 dossiers", "Dossiers à regarder")),
    ],
)
def test_other_languages(fleets, language, words):
    with speaking(language):
        page = own_part(fleet_html(fleet_in(fleets["full"]), "demo")).replace("&#39;", "'")
    assert all(word in page for word in words)
    assert "Jobs worth a look" not in page
    assert "Nine tenths" not in page


def test_the_command_writes_the_page_and_no_other_file(fleets, tmp_path, capsys):
    page = tmp_path / "page.html"
    assert run(["fleet", "report", str(fleets["one"]), "--to", str(page), "--lang", "es"]) == 0
    assert '<html lang="es">' in page.read_text("utf-8")
    assert run(["fleet", "report", str(fleets["one"])]) == 0
    assert (fleets["one"] / "report.html").is_file()
    assert run(["fleet", "report", str(fleets["one"])]) == 0  # over the page before; and it is no part of the set
    (tmp_path / "mine.html").write_text("my own words")
    with pytest.raises(SatdiagError, match="not written over"):
        write_fleet_report(tmp_path / "mine.html", fleets["one"])
    assert (tmp_path / "mine.html").read_text() == "my own words"


@pytest.mark.long
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(fleets, scheme, tmp_path, chromium):  # noqa: F811
    """axe-core's rules for WCAG 2.2 A and AA, in a browser, every drawing drawn."""
    from axe_playwright_python.sync_playwright import Axe

    (tmp_path / "page.html").write_text(fleet_html(fleet_in(fleets["full"]), "demo"), "utf-8")
    context = chromium.new_context(color_scheme=scheme, viewport={"width": 390, "height": 800})
    page = context.new_page()
    page.goto((tmp_path / "page.html").as_uri())
    page.wait_for_function("document.querySelectorAll('.drawing:not(.js-plotly-plot)').length === 0")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    found = Axe().run(page)
    context.close()
    assert found.violations_count == 0, found.generate_report()


def test_jobs_put_right_and_jobs_that_lean_on_others_are_left_out_and_said(tmp_path):
    """A verdict speaks of the end of a log; a wait that was judged by other jobs' waits is none of its own."""
    rows = [made.job(k, **made.times(0.2, 0.1)) for k in range(12)]
    mended = {"confirmed_fault": ["ring-broken"], "earlier": ["ring-broken", "indoors"]}
    rows[0] |= mended
    said, _, section = texts(made.write(tmp_path / "one", rows))["truth"]
    assert said == (
        "1 closed job is left out: what was found had been put right before its log ends, and the verdict speaks of "
        "the end."
    )
    assert not section.tables
    rows[1] |= {"confirmed_fault": [], "earlier": []}
    rows[2] |= {"confirmed_fault": ["ring-broken", "antenna-open"], "earlier": ["ring-broken"]}  # not all of it
    for row in rows[3:7]:
        row |= {"wait_prior_jobs": 50, **made.times(9.0, 0.05)}
    found = texts(made.write(tmp_path / "more", rows))
    assert "Of 2 jobs a person wrote down what it was" in found["truth"][0]
    assert "among those found in 1 of 2" in found["truth"][0]
    assert "1 closed job is left out" in found["truth"][0]
    assert found["times"][0].count("4 jobs were judged with what other jobs had taught") == 1
    assert "8 jobs tell their times" in found["times"][0]


def test_errors_that_differ_by_their_path_alone_are_one_reason(tmp_path):
    rows = [made.bad(k, f"/srv/demo jobs/{k}.satjob: torn", source=f"/srv/demo jobs/{k}.satjob") for k in range(3)]
    rows += [made.bad(k, f"/srv/far/{k}: no job.toml here. See `satdiag new`", source=f"far/{k}") for k in (3, 4)]
    rows.append(made.bad(1, "took longer than 1 minute", source="1", key="k", hash="k", place="k"))
    _, rows, _ = texts(made.write(tmp_path, rows))["jobs"]
    assert [row[:2] for row in rows] == [
        ["torn", "3"],
        ["no job.toml here. See `satdiag new`", "2"],
        ["took longer than 1 minute", "1"],
    ]


def test_a_month_without_jobs_is_a_gap_in_the_drawing(tmp_path):
    days = [0, 1, 40, 150, 1500]  # January, February and June 2031, February 2035
    section = texts(made.write(tmp_path, [made.job(day) for day in days]))["classes"][2]
    (drawn,) = section.figures
    x, y = (drawn.spec["data"][0][name] for name in ("x", "y"))
    assert dict(zip(x, y, strict=True)) == {
        "2031-01": 100.0,
        "2031-02": 100.0,
        "2031-03": None,
        "2031-04": None,
        "2031-05": None,
        "2031-06": 100.0,
        "2031-07 – 2035-01": None,
        "2035-02": 100.0,
    }
    assert "connectgaps" not in drawn.spec["data"][0]  # plotly's default leaves gaps open
    assert drawn.spec["layout"]["xaxis"]["categoryarray"] == x
