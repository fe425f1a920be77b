"""The report as a file: well formed, complete in itself, masked, safe against hostile names, whole when empty."""

from __future__ import annotations

import dataclasses
import re

import plotly.graph_objects as go
import pytest

from satdiag.findings import Findings, SatelliteSky
from satdiag.report import report_html
from satdiag.rows import Row
from tests.report import made
from tests.report.reading import Reader, without_plotly
from tests.steps import steps

HOSTILE = "<a href='http://e.org'>x</a><script>alert(1)</script>&amp;<b>"
SECTIONS = (
    "channels",
    "fill-in",
    "signal",
    "sky",
    "changes",
    "wiring",
    "reasons",
    "limits",
    "method",
    "cautions",
    "rows",
)


@pytest.fixture(scope="module")
def full() -> str:
    return report_html(made.full_job(), made.full_findings())


@pytest.fixture(scope="module")
def empty() -> str:
    return report_html(made.bare_job(), made.empty_findings())


@pytest.fixture(scope="module")
def hostile() -> str:
    """The full report with every free text made hostile."""
    lineup = "channel,name,category,packages\n" + f'1,"{HOSTILE}","{HOSTILE}",music\n'
    sheet = made.SHEET.replace("demo saloon, roof antenna, pre-wired", HOSTILE).replace('"yard"', f'"{HOSTILE}"')
    job = made.full_job(Row(made.at(100), "swap", "antenna", "better", note=HOSTILE), sheet=sheet, lineup=lineup)
    return report_html(job, _with_hostile_words(made.full_findings()))


def _with_hostile_words(findings: Findings) -> Findings:
    verdict = dataclasses.replace(findings.verdict, text=HOSTILE, do_next=HOSTILE, customer=HOSTILE)
    evidence = tuple(
        dataclasses.replace(one, item=HOSTILE, state=HOSTILE, for_=HOSTILE, text=HOSTILE, rows=(HOSTILE,))
        for one in findings.diagnosis.evidence
    )
    tests = tuple(
        dataclasses.replace(one, text=HOSTILE, cautions=(HOSTILE,)) for one in findings.diagnosis.next_tests
    )
    diagnosis = dataclasses.replace(
        findings.diagnosis, evidence=evidence, next_tests=tests, faults={HOSTILE: 0.5}, classes={HOSTILE: 0.5}
    )
    site = findings.sky.sites[0]
    satellites = (SatelliteSky(HOSTILE, 10.0, 40.0, 38000.0, 0.5, None, "place"), *site.satellites)
    sky = dataclasses.replace(findings.sky, sites=(dataclasses.replace(site, name=HOSTILE, satellites=satellites),))
    stretch = dataclasses.replace(findings.signal.timeline[0], path=f"satellite:{HOSTILE}")
    signal = dataclasses.replace(findings.signal, timeline=(stretch, *findings.signal.timeline))
    return dataclasses.replace(
        findings, verdict=verdict, diagnosis=diagnosis, sky=sky, signal=signal, could_not=(HOSTILE,)
    )


def _masked(text: str) -> bool:
    return made.RECEIVER_ID.lower() not in without_plotly(text).lower()


# --- the file ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["full", "empty", "hostile"])
def test_every_tag_is_closed_and_every_section_is_there(name, request):
    reader = Reader(request.getfixturevalue(name))
    shown = [part for part in SECTIONS if part not in ("wiring", "rows") or name != "empty"]
    assert [element.attributes["id"] for element in reader.all("section")] == shown
    ids = [element.attributes["id"] for element in reader.elements if "id" in element.attributes]
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("name", ["full", "empty", "hostile"])
def test_nothing_is_fetched(name, request):
    reader = Reader(request.getfixturevalue(name))
    for element in reader.elements:
        for attribute in ("src", "href", "action", "data", "poster", "srcset", "formaction"):
            value = element.attributes.get(attribute)
            assert value is None or value.startswith("#"), (element.tag, attribute, value)
    assert not reader.all("link")
    assert not reader.all("iframe")
    styles = "".join(style.text for style in reader.all("style"))
    assert styles
    assert "@import" not in styles
    assert "url(" not in styles


def test_a_browser_is_told_to_fetch_nothing(full):
    policies = [m for m in Reader(full).all("meta") if m.attributes.get("http-equiv") == "Content-Security-Policy"]
    assert len(policies) == 1
    assert "default-src 'none'" in policies[0].attributes["content"]


def test_plotly_is_inside_only_where_there_is_a_figure(full, empty):
    assert len(full) > 3_000_000
    assert len(empty) < 60_000


def test_the_same_job_gives_the_same_file(full):
    assert report_html(made.full_job(), made.full_findings()) == full


def test_the_work_of_a_report_grows_with_the_rows_and_no_faster(full):
    done = {}
    for step_s in (4, 2):
        job = made.full_job(levels=made.level_rows(step_s=step_s))
        done[len(job.log)] = steps(lambda job=job: report_html(job, made.full_findings()))
    (few, less), (many, more) = done.items()
    assert many > 3500
    assert more < 1.1 * many / few * less


# --- privacy and hostile names -----------------------------------------------------------------------------------


def test_the_receivers_identifier_is_masked(full):
    assert "•••••••0A7" in full
    assert _masked(full)


def test_the_identifier_is_masked_in_free_text_and_drawings_too():
    findings = _with_words(f"screen shows {made.RECEIVER_ID.lower()}, account {made.RECEIVER_ID}")
    sheet = made.SHEET.replace("demo saloon", f"saloon with {made.RECEIVER_ID}")
    assert _masked(report_html(made.full_job(sheet=sheet), findings))


def test_an_identifier_with_signs_that_html_escapes_is_masked():
    sheet = made.SHEET.replace(made.RECEIVER_ID, "AB&<0017")
    text = report_html(made.full_job(sheet=sheet), _with_words("identifier AB&<0017"))
    assert "AB&" not in Reader(text).words
    assert "AB&" not in str(Reader(text).drawings)


def _with_words(words: str) -> Findings:
    findings = made.full_findings()
    evidence = tuple(dataclasses.replace(one, text=words) for one in findings.diagnosis.evidence)
    return dataclasses.replace(
        findings,
        verdict=dataclasses.replace(findings.verdict, text=words, customer=words),
        diagnosis=dataclasses.replace(findings.diagnosis, evidence=evidence),
        could_not=(words,),
    )


def test_the_technician_is_named_only_when_asked(full):
    assert "Robin Example" not in full
    asked = report_html(made.full_job(), made.full_findings(), technician=True)
    assert "Robin Example" in Reader(asked).words


def test_hostile_names_make_no_element(hostile):
    reader = Reader(hostile)
    assert HOSTILE in reader.words  # it is shown, letter by letter
    scripts = [script.text for script in reader.all("script")]
    assert len(scripts) == 6
    assert not [script for script in scripts if script.startswith("alert")]
    assert all(link.attributes["href"].startswith("#") for link in reader.all("a"))
    assert "<script>alert" not in hostile


def test_plotly_is_given_no_tag_but_the_reports_own(hostile):
    """plotly turns <a href> and a few other tags in any text into elements, so they must reach it escaped."""

    def texts(part):
        if isinstance(part, str):
            yield part
        elif isinstance(part, dict):
            for value in part.values():
                yield from texts(value)
        elif isinstance(part, list):
            for value in part:
                yield from texts(value)

    found = list(texts(Reader(hostile).drawings))
    assert any("&lt;script&gt;" in text for text in found)
    own = re.compile(r"</?b>|<br>|<extra></extra>")
    for text in found:
        left = own.sub("", text)
        assert "<" not in left, text
        assert not re.search(r"&(?!amp;|lt;|gt;)", left), text


# --- figures and tables ------------------------------------------------------------------------------------------


def test_every_figure_has_words_and_a_table(full):
    reader = Reader(full)
    figures = reader.all("figure")
    drawn = [element for element in reader.all("div") if element.attributes.get("class") == "drawing"]
    assert len(figures) == len(drawn) == len(reader.drawings) >= 6
    for element in drawn:
        assert element.attributes["role"] == "img"
        assert len(element.attributes["aria-label"]) > 40
    captions = reader.all("figcaption")
    assert len(captions) == len(figures)
    assert all(caption.text.strip().endswith(".") for caption in captions)
    behind = [table for table in reader.all("table") if "figure" in table.parents]
    assert len(behind) >= len(figures)
    assert all(table.text.strip() for table in behind)


def test_every_table_has_a_caption_and_heads(full):
    reader = Reader(full)
    tables = reader.all("table")
    assert len(reader.all("caption")) == len(tables)
    for cell in reader.all("td"):
        assert cell.attributes["data-head"]


def test_plotly_itself_takes_every_drawing(full, hostile):
    """Each drawing is checked against plotly's own figure classes, which refuse unknown names and values."""
    for text in (full, hostile):
        for name, drawing in Reader(text).drawings.items():
            figure = go.Figure(drawing)
            assert len(figure.data) >= 1, name


def test_the_sky_is_drawn_north_up_and_clockwise_with_the_zenith_in_the_middle(full):
    drawing = Reader(full).drawings["sky-1"]
    polar = drawing["layout"]["polar"]
    assert (polar["angularaxis"]["direction"], polar["angularaxis"]["rotation"]) == ("clockwise", 90)
    east = next(trace for trace in drawing["data"] if trace.get("text", [""])[0].startswith("<b>east</b>"))
    assert east["theta"] == [154.2]
    assert east["r"] == [pytest.approx(90 - 38.9)]
    hatched = [trace for trace in drawing["data"] if trace["type"] == "barpolar"]
    assert {trace["marker"]["pattern"]["shape"] for trace in hatched} == {"/", "."}
    assert not [trace for trace in drawing["data"] if "sunken" in str(trace)]  # below the horizon: in the table only
    assert "sunken" in Reader(full).words


def test_times_are_local_to_the_site(full):
    """14:00 UTC on 3 May is 09:00 in Chicago (daylight time, UTC-5: IANA time zone data)."""
    drawing = Reader(full).drawings["timeline-1"]
    assert drawing["layout"]["xaxis"]["range"][0] == "2031-05-03T08:40:00.000"
    assert "local time at yard (America/Chicago)" in Reader(full).words


def test_times_without_a_zone_are_utc_and_said():
    sheet = made.SHEET.replace('timezone = "America/Chicago"\n', "")
    reader = Reader(report_html(made.full_job(sheet=sheet), made.full_findings()))
    assert reader.drawings["timeline-1"]["layout"]["xaxis"]["range"][0] == "2031-05-03T13:40:00.000"
    assert "Times are UTC, because the job names no time zone." in reader.words


def test_many_levels_are_thinned_and_keep_their_ends():
    job = made.full_job(levels=made.level_rows(step_s=1))
    lines = Reader(report_html(job, made.full_findings())).drawings["timeline-1"]["data"]
    west = [trace for trace in lines if trace["name"] == "level as logged"][-1]
    rows = job.select("signal", "satellite:west")["number"]
    assert len(west["x"]) < 3100 < len(rows)
    assert (min(west["y"]), max(west["y"])) == (rows.min(), rows.max())


def test_each_visit_has_a_timeline_of_its_own():
    later = [Row(made.at(90000 + 60 * n), "signal", "satellite:east", str(10 + n % 3), "dB") for n in range(30)]
    reader = Reader(report_html(made.full_job(*later), made.full_findings()))
    assert [name for name in reader.drawings if name.startswith("timeline")] == ["timeline-1", "timeline-2"]
    assert "Visit 2 of 2." in reader.words


def test_a_drawing_keeps_one_offset_where_the_clocks_are_changed():
    """Clocks go back in Chicago on 2 November 2031 at 07:00 UTC (IANA time zone data): 01:59 is followed by 01:00."""
    times = [f"2031-11-02T{clock}:00Z" for clock in ("06:30", "06:40", "06:50", "07:00", "07:10", "07:20")]
    levels = [Row(time, "signal", "any", "3", "bars/5") for time in times]
    html = report_html(made.full_job(levels=levels), made.full_findings())
    drawings = [name for name in Reader(html).drawings if name.startswith("timeline")]
    drawing = Reader(html).drawings[drawings[-1]]
    line = next(trace for trace in drawing["data"] if trace["name"] == "level as logged")
    assert line["x"] == sorted(line["x"])
    assert len(line["x"]) == 6
    assert drawing["layout"]["xaxis"]["range"] == ["2031-11-02T01:30:00.000", "2031-11-02T02:20:00.000"]
    assert "The clocks were changed meanwhile: the times shown keep the hour of the beginning." in Reader(html).words


def test_a_line_of_levels_breaks_where_nothing_was_logged_for_long():
    levels = [Row(made.at(60 * n), "signal", "any", "3", "bars/5") for n in (0, 1, 2, 40, 41)]
    drawing = Reader(report_html(made.full_job(levels=levels), made.full_findings())).drawings["timeline-1"]
    line = next(trace for trace in drawing["data"] if trace["name"] == "level as logged")
    assert line["y"] == [3.0, 3.0, 3.0, None, 3.0, 3.0]


# --- words -------------------------------------------------------------------------------------------------------


def test_the_opening_says_what_how_sure_and_what_next(full):
    words = Reader(full).words
    for said in (
        "Still filling in",
        "61 of 142 expected channels play and the others are coming in at a normal pace.",
        "Not sure yet: of 100 vehicles with such a log, about 93 would turn out so.",
        "As of 3 May 2031, 09:41.",
        "Leave the receiver awake outdoors and check the channels again in 15 minutes.",
        "Authorised channels are still growing in number (+13\u00a0decibans).",
        "(+4.1\u00a0decibans for “satellite hidden from view”).",
        "Optical ring open (90\u202f%), from 3 May 2031, 08:40 to 3 May 2031, 08:45; it ended with: the ring was",
        "No supply row while starting: the dip at the start is not known.",
        "Your radio works. Most channels are still being unlocked over the air; this takes a while.",
    ):
        assert said in words


def test_channels_stand_with_state_chance_wait_and_reason(full):
    rows = {row.text: row for row in Reader(full).all("tr")}
    late = next(text for text in rows if text.startswith("62Example 62"))
    assert late.replace("\u202f", " ").replace("\u00a0", " ") == (
        "62Example 62sportrefused93 %15 min (2 to 60)expected and not here yet"
    )
    summaries = [element.text.strip() for element in Reader(full).all("summary")]
    counts = ["refused (76)", "not listed (2)", "no signal (2)", "not checked (1)", "plays (61)"]
    assert [text for text in summaries if text in counts] == counts


def test_withdrawn_rows_are_struck_through(full):
    struck = [element.text for element in Reader(full).all("s")]
    assert struck[:3] == ["channel", "31", "refused"]  # in the method
    assert struck[3:] == ["2031-05-03 08:41:10", "31", "channel", "refused", "yard"]  # among the job's own rows


def test_an_empty_job_says_in_every_section_that_nothing_is_known(empty):
    reader = Reader(empty)
    sections = {element.attributes["id"]: element.text for element in reader.all("section")}
    for name, said in {
        "channels": "No channel was checked.",
        "fill-in": "No channel was checked.",
        "signal": "No level and no lock was logged.",
        "sky": "No position: look angles not computed.",
        "reasons": "No evidence was logged that could be weighed.",
        "changes": "No channel change was timed.",
    }.items():
        assert said in sections[name]
    assert "wiring" not in sections  # shown only where there is something to show
    assert "Cannot tell yet" in reader.words
    assert "None" not in reader.words
    assert "nan" not in reader.words


def test_sections_without_a_reason_speak_all_the_same():
    findings = made.empty_findings()
    bare = {
        name: dataclasses.replace(getattr(findings, name), could_not=())
        for name in ("sky", "signal", "entitlement", "tuning", "wiring")
    }
    words = Reader(report_html(made.bare_job(), dataclasses.replace(findings, could_not=(), **bare))).words
    assert words.count("Nothing is known of") == 5
    assert "Nothing was left out." in words


@pytest.mark.parametrize("kept", ["sky", "signal", "entitlement", "tuning", "wiring", "diagnosis"])
def test_each_part_stands_without_the_others(kept):
    findings = made.empty_findings()
    one = dataclasses.replace(findings, **{kept: getattr(made.full_findings(), kept)})
    assert "None" not in Reader(report_html(made.full_job(), one)).words
