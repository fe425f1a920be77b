"""`satdiag sky`: a place or a job, the days, bad input, the page in a real browser."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from satdiag.cli import run
from satdiag.sky.look_angles import look_angles
from satdiag.sky.propagation.p681_table import TABLE
from satdiag.sky.propagation.two_state import fade_exceeded_db, good_share
from tests.references import look_angles as reference
from tests.references.orbits import LOW_TLE
from tests.report.conftest import chromium  # noqa: F401  # the same browser as for the report

SAMPLES = Path(__file__).parent.parent.parent / "sample_logs"
PLACE = ("--at", "41.2,-96.1", "--constellation", "demo-pair")
STREET = (*PLACE, "--environment", "street")
HIGH = 'name = "high"\ncoverage_min_elevation_deg = 10.0\n' + "".join(
    f'[[satellite]]\nname = "{name}"\nelements = "elements.tle"\n' for name in ("HIGH-A", "HIGH-B", "HIGH-C")
)


@pytest.fixture(autouse=True)
def _apart(tmp_path, monkeypatch):
    monkeypatch.setenv("SATDIAG_USER_FOLDER", str(tmp_path / "user"))


@pytest.fixture
def high(tmp_path):
    """A constellation of satellites that move, with its elements beside it."""
    (tmp_path / "elements.tle").write_text(reference.TLE + LOW_TLE, "utf-8")
    place = tmp_path / "high.toml"
    place.write_text(HIGH, "utf-8")
    return place


def said(capsys, *words):
    code = run(["sky", *map(str, words)])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


def test_a_place_in_words(capsys):
    code, out, err = said(capsys, *PLACE, "--day", "2031-05-03")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == (
        "the place, 41.2000° N, 96.1000° W, 0 m above the ellipsoid; 3 May 2031; constellation demo-pair."
    )
    assert "in the south-southeast (east), 39 degrees up" in out
    assert "Directions are from true north, not magnetic." in out
    assert "Check first" not in out


def test_the_worked_example_by_the_command_line(capsys, tmp_path):
    # 40.0 N 75.0 W, satellite at 100.0 W: azimuth 215.9822, elevation 37.0596, 38 005.9 km (pymap3d, skyfield).
    own = tmp_path / "own.toml"
    own.write_text('name = "own"\n[[satellite]]\nname = "x"\nlongitude_deg = -100.0\n', "utf-8")
    code, out, _ = said(capsys, "--at", "40.0,-75.0", "--constellation", own, "--json")
    sky = json.loads(out)["plans"][0]["satellites"][0]["sky"]
    assert code == 0
    assert sky["azimuth_deg"] == pytest.approx(215.9822, abs=1e-3)
    assert sky["elevation_deg"] == pytest.approx(37.0596, abs=1e-3)
    assert sky["range_km"] == pytest.approx(38005.9, abs=0.1)


def test_slots_from_memory_are_in_words_in_json_and_on_the_page(capsys, tmp_path):
    words = ("--at", "41.2,-96.1", "--constellation", "north-america-2300")
    page = tmp_path / "plan.html"
    _, out, _ = said(capsys, *words, "--report", page)
    assert out.startswith("Check first: the slots of satellites a and b")
    assert "from memory and not checked" in page.read_text("utf-8")
    _, out, _ = said(capsys, *words, "--json")
    assert "from memory and not checked" in json.loads(out)["plans"][0]["cautions"][0]


def test_slots_from_memory_are_in_the_analysis_of_a_job_and_its_report(capsys, tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(SAMPLES / "obstructed", folder)
    sheet = (folder / "job.toml").read_text("utf-8")
    (folder / "job.toml").write_text(sheet.replace('"demo-pair"', '"north-america-2300"'), "utf-8")
    page = tmp_path / "report.html"
    assert run(["analyse", str(folder), "--report", str(page)]) == 0
    assert "from memory and not checked" in " ".join(capsys.readouterr().out.split())
    assert "from memory and not checked" in page.read_text("utf-8")


def test_each_site_of_a_job_on_its_last_day(capsys):
    code, out, _ = said(capsys, SAMPLES / "obstructed", "--json")
    plans = json.loads(out)["plans"]
    assert code == 0
    assert [plan["site"]["name"] for plan in plans] == ["kerb", "car-park"]
    assert plans[0]["mask"] is not None
    assert plans[1]["mask"] is None
    assert plans[1]["place"] == "open-sky"
    assert (plans[0]["day"], plans[0]["from"]) == ("6 May 2031", "2031-05-06T04:00:00Z")  # midnight in New York
    assert plans[0]["satellites"][0]["sky"]["from"] == "obstacles"


def test_another_constellation_for_a_job(capsys, high):
    code, out, _ = said(capsys, SAMPLES / "filling", "--constellation", high, "--day", "2026-01-01")
    assert code == 0
    assert "constellation high" in out
    assert "When another satellite becomes the highest." in out


def test_rise_and_set_in_the_zone_asked_for(capsys, high):
    words = ("--at", "40,-100", "--constellation", high, "--day", "2026-01-01", "--timezone", "America/Chicago")
    code, out, _ = said(capsys, *words)
    assert code == 0
    assert "Times are local time at the place (America/Chicago)." in out
    assert "  HIGH-A     08:49:37" in out  # 14:49:37 UTC
    assert "the second highest" in out


def test_best_and_worst_hours_go_by_the_skyline_where_there_is_one(capsys, tmp_path, high):
    mask = tmp_path / "horizon.csv"
    mask.write_text("azimuth_deg,elevation_deg\n0,85\n90,85\n120,10\n300,10\n", "utf-8")
    words = ("--at", "40,-100", "--constellation", high, "--day", "2026-01-01")
    page = tmp_path / "plan.html"
    code, out, _ = said(capsys, *words, "--mask-file", mask, "--report", page)
    assert code == 0
    for text in (out, page.read_text("utf-8")):
        assert "expected to be clear; known from:" in " ".join(text.split())
        assert "is behind it for about" in text
        assert "by elevation alone" in text
    bare = said(capsys, *words)[1]
    assert "expected to be clear" not in bare
    plan = json.loads(said(capsys, *words, "--mask-file", mask, "--json")[1])["plans"][0]
    best, worst = plan["clear_hours"]["best"], plan["clear_hours"]["worst"]
    assert best["p_any_clear"] > worst["p_any_clear"] + 0.1


def test_the_day_the_clocks_change_has_23_hours(capsys):
    words = (*PLACE, "--day", "2031-03-09", "--timezone", "America/Chicago", "--json")
    plan = json.loads(said(capsys, *words)[1])["plans"][0]
    assert (plan["from"], plan["to"]) == ("2031-03-09T06:00:00Z", "2031-03-10T05:00:00Z")


def test_a_skyline_file(capsys, tmp_path):
    mask = tmp_path / "horizon.csv"
    mask.write_text("azimuth_deg,elevation_deg\n" + "".join(f"{a},70\n" for a in range(0, 360, 30)), "utf-8")
    code, out, _ = said(capsys, *PLACE, "--mask-file", mask)
    assert code == 0
    assert "Going by the measured skyline, satellite east in the south-southeast is probably hidden" in out


def test_a_skyline_file_without_a_reading_is_an_error(capsys, tmp_path):
    mask = tmp_path / "horizon.csv"
    mask.write_text("azimuth_deg,elevation_deg\n", "utf-8")
    code, out, err = said(capsys, *PLACE, "--mask-file", mask)
    assert (code, out) == (2, "")
    assert "the skyline has a head and no reading" in " ".join(err.split())


def test_what_to_expect_is_told_where_it_is_asked_for(capsys):
    code, out, _ = said(capsys, *PLACE, "--environment", "street")
    assert code == 0
    assert "What to expect\nA street between buildings" in out
    _, out, _ = said(capsys, *PLACE, "--json")
    assert json.loads(out)["plans"][0]["expect"] is None


def test_the_numbers_of_an_expectation_are_in_the_document(capsys):
    plan = json.loads(said(capsys, *PLACE, "--environment", "street", "--json")[1])["plans"][0]
    (moment,) = plan["expect"]["moments"]
    east, west = moment["kinds"][0]["paths"]
    assert (east["elevation_deg"], west["elevation_deg"]) == pytest.approx((39.1, 35.8), abs=0.05)
    assert 0.5 < west["works_share"] <= east["works_share"] < 0.9
    assert plan["expect"]["text"].startswith("A street between buildings")


def test_a_street_from_the_command_line(capsys, tmp_path):
    # East stands at azimuth 154, 39 deg high: along that a street is open; across it 20 m at 10 m reach 63.4 deg.
    words = (*PLACE, "--environment", "street", "--width", "20", "--heights", "20,20", "--json")
    edges = {}
    for along in (154.2, 64.2):
        plan = json.loads(said(capsys, *words, "--street", str(along))[1])["plans"][0]
        east = plan["expect"]["moments"][0]["kinds"][0]["paths"][0]
        edges[along] = (round(east["mask_deg"]), east["edge_loss_db"] > 15.0, (east["blocked_share"] or 0.0) > 0.5)
    assert edges == {154.2: (0, False, False), 64.2: (63, True, True)}
    page = tmp_path / "plan.html"
    _, out, _ = said(capsys, *words[:-1], "--street", "64.2", "--report", page)
    for text in (out, page.read_text("utf-8")):
        assert "from the middle of the street the buildings reach 63° there: behind them" in text
        assert "ITU-R P.681-11, Annex 1, 4.2: roadside buildings" in text


def test_listed_obstacles_form_a_street(capsys, tmp_path):
    folder = tmp_path / "job"
    shutil.copytree(SAMPLES / "obstructed", folder)
    head = "azimuth_from_deg,azimuth_to_deg,distance_m,height_m,note\n"
    (folder / "obstacles.csv").write_text(head + "147,257,18,27,block\n330,70,14,9,row of houses\n", "utf-8")
    plans = json.loads(said(capsys, folder, "--environment", "street", "--json")[1])["plans"]
    kerb, park = (plan["expect"] for plan in plans)
    assert kerb["street_from"] == "obstacles"
    assert kerb["street"]["width_m"] == 32.0
    assert kerb["moments"][0]["kinds"][0]["paths"][0]["mask_deg"] > 50.0
    assert park["street"] is None


def test_a_series_of_a_drive(capsys, tmp_path):
    """Made of our own model: shares of the states and the mean power are those of the closed form."""
    out = tmp_path / "series.csv"
    words = (*PLACE, "--environment", "street", "--synthesise", "60", "--out", out, "--json")
    code, text, err = said(capsys, *words)
    assert (code, err) == (0, f"series written: {out}\n")
    lines = [line.split(",") for line in out.read_text("utf-8").splitlines()]
    assert lines[0] == ["site", "satellite", "elevation_deg", "t_s", "level_db", "state"]
    assert len(lines) == 1 + 2 * 3600
    assert json.loads(text)["plans"][0]["expect"]["environment"] == "street"
    for name, elevation in (("east", 45.0), ("west", 30.0)):  # the columns of the table nearest to 39 and 36 deg
        rows = [line for line in lines[1:] if line[1] == name]
        column = TABLE["urban"][elevation]
        good = np.mean([row[5] == "good" for row in rows])
        assert good == pytest.approx(good_share(column), abs=0.05)
        power = np.mean(10.0 ** (np.array([float(row[4]) for row in rows]) / 10.0))
        wanted = np.mean(10.0 ** (-fade_exceeded_db(np.linspace(0.005, 0.995, 200), column) / 10.0))
        assert 10.0 * np.log10(power / wanted) == pytest.approx(0.0, abs=0.7)
    again = said(capsys, *words)
    assert again[0] == 2
    assert "this file exists and is not written over" in " ".join(again[2].split())
    other = tmp_path / "other.csv"
    assert said(capsys, *words[:-2], other)[0] == 0
    assert other.read_bytes() == out.read_bytes()  # the same drive again


def test_of_what_no_model_covers_no_series_is_made(capsys, tmp_path, high):
    own = tmp_path / "own.toml"
    slot = '[[satellite]]\nname = "x"\nlongitude_deg = -78.5\n'
    own.write_text(f'name = "own"\nband_mhz = [2320.0, 2345.0]\n{slot}', "utf-8")
    words = ("--at", "0,-78.5", "--constellation", own, "--environment", "street", "--synthesise", "1")
    code, _, err = said(capsys, *words, "--out", tmp_path / "none.csv")
    assert code == 2
    assert "no series of x: two-state model" in " ".join(err.split())
    assert "no series was made" in " ".join(err.split())
    assert not (tmp_path / "none.csv").exists()


def test_a_skyline_over_part_of_the_way_of_one_that_moves(capsys, tmp_path, high):
    # 85 deg of wall over the north, where the highest of the three stands for most of the day.
    rows = "".join(f"{a},{85 if a <= 60 or a >= 300 else 3}\n" for a in range(0, 360, 10))
    mask = tmp_path / "horizon.csv"
    mask.write_text(f"azimuth_deg,elevation_deg\n{rows}", "utf-8")
    words = ("--at", "40,-100", "--constellation", high, "--day", "2026-01-01", "--mask-file", mask)
    plan = json.loads(said(capsys, *words, "--json")[1])["plans"][0]
    for one in plan["satellites"]:
        assert one["sky"]["p_clear"] > 0.95  # at its highest, overhead
        assert 0.2 < one["p_clear_while_up"] < 0.8
        low, top = one["p_clear_while_up_90"]
        assert low < one["p_clear_while_up"] < top
    out = said(capsys, *words)[1]
    assert "of its time up" in out
    assert "98 % (98 to 98 %)" not in out.replace("\u202f", " ").replace("\u00a0", " ")


def test_three_on_one_way_are_told_under_the_figure(capsys, tmp_path, high):
    page = tmp_path / "plan.html"
    said(capsys, "--at", "40,-100", "--constellation", high, "--day", "2026-01-01", "--report", page)
    assert "HIGH-A, HIGH-B and HIGH-C follow one way, so their lines lie on each other." in page.read_text("utf-8")


def test_at_a_pole_there_is_no_north(capsys, high):
    words = ("--at", "90,-100", "--constellation", high, "--day", "2026-01-01")
    out = said(capsys, *words)[1]
    assert "at a pole there is no north: azimuths are counted clockwise from the meridian of 80° E" in out
    assert "true north" not in out
    # What stands over that meridian has azimuth 0.
    over = 4.0e4 * np.array([0.5 * np.cos(np.radians(80.0)), 0.5 * np.sin(np.radians(80.0)), 0.8])
    seen = look_angles(over, 90.0, -100.0, 0.0)
    assert (float(seen.azimuth_deg) + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ((), "Name a job, or a place with --at LAT,LON"),
        ((SAMPLES / "filling", *PLACE), "one of the two"),
        (("--at", "41.2,-96.1"), "--at needs --constellation NAME"),
        (("--at", "91,0", "--constellation", "demo-pair"), "the latitude 91 is outside -90 .. 90"),
        (("--at", "0,181", "--constellation", "demo-pair"), "the longitude 181 is outside -180 .. 180"),
        (("--at", "nan,0", "--constellation", "demo-pair"), "the latitude nan is outside"),
        (("--at", "here", "--constellation", "demo-pair"), "'here' is not a pair of numbers"),
        (("--at", "1,2,3", "--constellation", "demo-pair"), "not a pair of numbers. Write latitude,longitude"),
        (("--at", "41.2,-96.1", "--constellation", "nowhere"), "There is no constellation 'nowhere'. Packaged: demo"),
        ((*PLACE, "--day", "tomorrow"), "'tomorrow' is not a day such as 2031-05-03"),
        ((*PLACE, "--day", "0001-01-01"), "outside the years 1960 to 2200"),
        ((*PLACE, "--height", "90000"), "--height 90000 is outside -500 .. 9000"),
        ((*PLACE, "--timezone", "Mars/Base"), "'Mars/Base' is not an IANA time zone"),
        ((*PLACE, "--mask-file", "nowhere.csv"), "nowhere.csv"),
        ((*PLACE, "--environment", "moon"), "'moon' is not one of"),
        ((*PLACE, "--street", "20"), "go with --environment street"),
        ((*STREET, "--street", "20", "--width", "9"), "needs all three"),
        ((*STREET, "--street", "20", "--width", "9", "--heights", "3"), "'3' is not a pair of numbers such as 12,8"),
        (
            (*STREET, "--street", "400", "--width", "9", "--heights", "3,4"),
            "--street 400 is outside 0 .. 360 degrees",
        ),
        (
            (*STREET, "--street", "20", "--width", "0", "--heights", "3,4"),
            "a street width of 0 m is outside 1 to 1000",
        ),
        ((*STREET, "--street", "20", "--width", "9", "--heights", "3,-4"), "a building height of -4 m is outside"),
        ((*STREET, "--synthesise", "5"), "needs --environment street or trees, and --out FILE.csv"),
        ((*STREET, "--out", "x.csv"), "--out and --speed go with --synthesise MINUTES"),
        ((*STREET, "--synthesise", "5e9", "--out", "x.csv"), "is outside 0.1 .. 1440 minutes"),
        ((*PLACE, "--environment", "garage", "--synthesise", "5", "--out", "x.csv"), "street or trees"),
        (("nowhere",), "nothing there"),
        ((SAMPLES / "filling", "--height", "3"), "--height goes with --at"),
    ],
    ids=lambda value: " ".join(str(word) for word in value[-2:]) if isinstance(value, tuple) else None,
)
def test_bad_input_is_2_and_one_message(capsys, words, found):
    code, out, err = said(capsys, *words)
    assert (code, out) == (2, "")
    assert found in " ".join(err.split())
    assert "Traceback" not in err


def test_a_job_without_a_site_or_a_constellation(capsys, tmp_path):
    (tmp_path / "observations.csv").write_text("time,kind,subject,value,unit,source,note\n", "utf-8")
    (tmp_path / "job.toml").write_text('[job]\nid = "demo-1"\n', "utf-8")
    assert "job.toml: the job names no place" in said(capsys, tmp_path)[2]
    site = '[[site]]\nname = "s"\nlatitude_deg = 41.2\nlongitude_deg = -96.1\n'
    (tmp_path / "job.toml").write_text('[job]\nid = "demo-1"\n' + site, "utf-8")
    code, _, err = said(capsys, tmp_path)
    assert code == 2
    assert "job.toml: the job names no constellation" in err


def test_old_elements_are_warned_of_and_beyond_a_stated_age_refused(capsys, high):
    words = ("--at", "40,-100", "--constellation", high, "--day")
    code, out, _ = said(capsys, *words, "2026-03-01")
    assert code == 0
    assert "Check first: the elements of 'HIGH-A' are 60 days from the time asked for" in out
    code, out, err = said(capsys, *words, "2027-01-01")
    assert (code, out) == (2, "")
    assert "366 days from the time asked for; beyond 180 days they say nothing" in err


def test_a_page_is_not_written_over_what_is_no_page(capsys, tmp_path):
    place = tmp_path / "letter.txt"
    place.write_text("dear", "utf-8")
    code, _, err = said(capsys, *PLACE, "--report", place)
    assert code == 2
    assert "is no web page" in err
    assert place.read_text("utf-8") == "dear"


# --- the page in a browser ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1280, "dark")])
def test_the_page_is_drawn_and_fits(chromium, tmp_path, high, width, scheme, capsys):  # noqa: F811
    place = tmp_path / "plan.html"
    words = ("--at", "40,-100", "--constellation", high, "--day", "2026-01-01", "--report", place)
    assert said(capsys, *words)[0] == 0
    context = chromium.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme)
    page = context.new_page()
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda asked: asked.url == place.as_uri() or complaints.append(f"fetched {asked.url}"))
    page.goto(place.as_uri())
    page.wait_for_function("document.querySelectorAll('.drawing:not(.js-plotly-plot)').length === 0")
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    # North is up: the tick 'N' stands above the middle and 'E' to its right.
    ticks = page.evaluate(
        "Object.fromEntries([...document.querySelectorAll('.angularaxistick text')].map(t => "
        "[t.textContent, [t.getBoundingClientRect().x, t.getBoundingClientRect().y]]))"
    )
    assert ticks["N"][1] < ticks["E"][1] < ticks["S"][1]
    assert ticks["W"][0] < ticks["N"][0] < ticks["E"][0]
    # Words of hour ticks do not lie over each other.
    boxes = page.evaluate(
        "[...document.querySelectorAll('.textpoint text')].map(t => t.getBoundingClientRect()).filter(b => b.width)"
        ".map(b => [b.left, b.top, b.right, b.bottom])"
    )
    assert len(boxes) >= 8
    for number, (left, top, right, bottom) in enumerate(boxes):
        for other in boxes[:number]:
            assert right <= other[0] or other[2] <= left or bottom <= other[1] or other[3] <= top
    assert complaints == []
    context.close()
