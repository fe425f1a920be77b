"""`satdiag ring`: a starter, a check, a plan, a break; exit codes, JSON, the page in a real browser."""

import json
import subprocess
import sys

import pytest

from satdiag.cli import run
from satdiag.ring_file import parse_ring
from satdiag.wiring.ring import check_ring
from tests.report.conftest import chromium  # noqa: F401  # the same browser as for the report
from tests.wiring.rings import TOML

SHEET = '[job]\nid = "demo-1"\n[receiver]\nid = "DEMO0000A7"\n'
HEAD = "time,kind,subject,value,unit,source,note\n"
WHOLE = TOML.replace('lower = "changer.in"', 'lower = "receiver.in"') + (
    '[[plug]]\nposition = 5\nupper = "receiver.out"\nlower = "changer.in"\n'
)


@pytest.fixture
def place(tmp_path):
    """A ring.toml by itself: the receiver is not plugged yet."""
    path = tmp_path / "ring.toml"
    path.write_text(TOML, "utf-8")
    return path


@pytest.fixture
def job(tmp_path):
    """A job with a whole ring that broke before the telephone."""
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "job.toml").write_text(SHEET, "utf-8")
    (folder / "ring.toml").write_text(WHOLE, "utf-8")
    rows = [("bus", "open"), ("position:telephone", "0"), ("position:head-unit", "3")]
    lines = [f"2031-05-03T14:0{i}:00Z,ring,{what},{value},,hand,\n" for i, (what, value) in enumerate(rows)]
    (folder / "observations.csv").write_text(HEAD + "".join(lines), "utf-8")
    return folder


def said(capsys, *words):
    code = run(["ring", *map(str, words)])
    captured = capsys.readouterr()
    return code, captured.out, captured.err


# --- new ---------------------------------------------------------------------------------------------------------


def test_a_starter_reads_and_is_not_written_over(capsys, tmp_path):
    path = tmp_path / "ring.toml"
    words = ("new", path, "--node", "head-unit", "--node", "amplifier", "--node", "receiver", "--new", "receiver")
    code, out, _ = said(capsys, *words)
    assert code == 0
    assert "Look at the block" in out
    text = path.read_text("utf-8")
    assert parse_ring(text).wanted == ("head-unit", "amplifier", "receiver")
    code, _, err = said(capsys, *words)
    assert code == 2
    assert "is there already" in err
    assert path.read_text("utf-8") == text
    assert said(capsys, "check", path)[0] == 1  # nothing is claimed of today
    assert said(capsys, "plan", path)[1].startswith("Which plugs to move cannot be told yet.")


def test_a_starter_goes_into_a_job(capsys, job):
    (job / "ring.toml").unlink()
    assert said(capsys, "new", job)[0] == 0
    assert (job / "ring.toml").is_file()
    assert run(["check", str(job)]) == 0


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("--node", "a"), "two nodes or more"),
        (("--node", "a", "--node", "b", "--new", "c"), "--new c is none of the nodes"),
        (("--node", "a", "--node", "b", "--new", "a", "--new", "b"), "names every node"),
        (("--node", "a b", "--node", "c"), "'a b' is not a name"),
        (("--positions", "0"), "0 is not in the range"),
        (("--outputs-row", "top"), "'top' is not one of"),
    ],
)
def test_a_starter_that_makes_no_sense(capsys, tmp_path, words, found):
    code, out, err = said(capsys, "new", tmp_path / "r.toml", *words)
    assert (code, out) == (2, "")
    assert found in " ".join(err.split())
    assert not (tmp_path / "r.toml").exists()


def test_a_starter_refuses_a_folder_that_is_not_there_and_a_block_too_small(capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = said(capsys, "new", "my-job")
    assert (code, out) == (2, "")
    assert "my-job: there is no such folder" in err
    code, _, err = said(capsys, "new", "ring.toml", "--positions", "2")
    assert code == 2
    assert "the 3 nodes of today need 3" in err
    assert list(tmp_path.iterdir()) == []
    assert said(capsys, "new", "ring.toml", "--positions", "2", "--new", "receiver")[0] == 0


# --- check -------------------------------------------------------------------------------------------------------


def test_check_names_what_is_wrong(capsys, place):
    code, out, _ = said(capsys, "check", place)
    assert code == 1
    assert "The node receiver is wanted on the ring and not plugged yet." in out
    assert "  3  telephone.out   ->  changer.in" in out
    assert "head-unit > amplifier  3\u202fm    1" in out


def test_check_of_a_good_ring_and_its_json(capsys, place):
    place.write_text(WHOLE, "utf-8")
    code, out, _ = said(capsys, "check", place, "--json")
    document = json.loads(out)
    assert code == 0
    assert document["state"] == "valid"
    assert document["problems"] == []
    assert document["links"][1]["margin_db"] == 6.5
    assert said(capsys, "check", place)[1].startswith("Plugged as wanted.")


def test_a_ring_file_with_a_slip_is_2(capsys, place, job):
    place.write_text(TOML.replace('block = "main"', 'block = "rear"'), "utf-8")
    code, out, err = said(capsys, "check", place)
    assert (code, out) == (2, "")
    assert "ring.toml, line 28, column 'block': 'rear' is no block of this file" in err
    (job / "ring.toml").write_text("[ring", "utf-8")
    assert "ring.toml, line 1" in said(capsys, "check", job)[2]
    assert run(["analyse", str(job)]) == 2


@pytest.mark.parametrize("verb", ["check", "plan", "break"])
def test_what_is_not_there_is_2(capsys, verb, tmp_path, job):
    assert "nothing there" in said(capsys, verb, tmp_path / "none.toml")[2]
    assert "nothing there" in said(capsys, verb, tmp_path / "none")[2]
    (job / "ring.toml").unlink()
    code, _, err = said(capsys, verb, job)
    assert code == 2
    assert "the job holds no ring.toml. Add ring.toml" in err


# --- plan --------------------------------------------------------------------------------------------------------


def test_a_plan_in_words(capsys, place):
    code, out, _ = said(capsys, "plan", place)
    assert code == 0
    assert out.startswith("3 plugs to move.")
    parts = ["Before you touch a plug", "Labels:", "steps,", "\nBefore\n", "\nAfter\n", "Afterwards", "The way back"]
    assert [part for part in parts if part not in out] == []
    assert sorted(parts, key=out.index) == parts
    assert "CHANGER.IN: now main 3 lower, to main 5 lower" in out
    assert "  5  receiver.out *  ->  changer.in *" in out
    assert "Never look into a fibre or a socket" in out


def test_a_plan_as_json_leads_to_the_wanted_ring(capsys, place):
    document = json.loads(said(capsys, "plan", place, "--json")[1])
    assert (document["possible"], document["moves"]) == (True, 3)
    file = parse_ring(TOML)
    held = {tuple(socket): str(end) for socket, end in file.held.items()}
    for step in document["steps"]:
        if step["from"]:
            assert held.pop(tuple(step["from"].values())) == step["plug"]
        if step["to"]:
            assert tuple(step["to"].values()) not in held
            held[tuple(step["to"].values())] = step["plug"]
    assert held == {tuple(socket): str(end) for socket, end in parse_ring(WHOLE).held.items()}
    assert [step["plug"] for step in document["undo"]] == [step["plug"] for step in document["steps"]][::-1]


def test_insertion_by_name(capsys, place):
    place.write_text(TOML.replace('"telephone", "receiver", ', '"telephone", '), "utf-8")
    code, out, _ = said(capsys, "plan", place, "--insert", "receiver", "--after", "amplifier", "--json")
    assert code == 0
    assert json.loads(out)["order"] == ["head-unit", "amplifier", "receiver", "telephone", "changer"]
    assert said(capsys, "plan", place)[1].startswith("Nothing to move.")


def test_no_free_position_is_1(capsys, place):
    place.write_text(TOML.replace("positions = 5", "positions = 4"), "utf-8")
    code, out, _ = said(capsys, "plan", place)
    assert code == 1
    assert "there is no free position" in out
    assert json.loads(said(capsys, "plan", place, "--json")[1])["moves"] is None


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("--insert", "receiver"), "go together"),
        (("--insert", "x y", "--after", "amplifier"), "'x y' is not a name"),
        (("--insert", "receiver", "--after", "nobody"), "'nobody' is not on the ring"),
        (("--insert", "changer", "--after", "amplifier"), "'changer' is plugged already"),
    ],
)
def test_an_insertion_that_makes_no_sense(capsys, place, words, found):
    code, out, err = said(capsys, "plan", place, *words)
    assert (code, out) == (2, "")
    assert found in err


def test_a_plan_without_an_order(capsys, place):
    place.write_text("\n".join(TOML.splitlines()[2:]), "utf-8")
    assert "wanted order is not written" in said(capsys, "plan", place)[2]
    assert said(capsys, "plan", place, "--insert", "receiver", "--after", "telephone")[0] == 0


# --- break -------------------------------------------------------------------------------------------------------


def test_a_break_from_the_log_of_a_job(capsys, job):
    code, out, _ = said(capsys, "break", job)
    assert code == 0
    assert out.startswith("Broken before telephone.")
    assert "the supply (fuse 12) or the transmitter of amplifier" in out
    assert "2  amplifier.out   ->  telephone.in  ? a break may be here" in out


def test_positions_on_a_closed_ring_are_no_break(capsys, job):
    with (job / "observations.csv").open("a", encoding="utf-8") as log:
        log.write("2031-05-03T15:00:00Z,ring,bus,closed,,hand,\n")
    code, out, _ = said(capsys, "break", job)
    assert code == 1
    assert "The ring was last reported closed" in out


def test_a_break_from_the_command_line(capsys, place):
    code, out, _ = said(capsys, "break", place, "--position", "changer=0", "--position", "amplifier=2", "--json")
    assert code == 0
    document = json.loads(out)
    assert (document["node"], document["upstream"], document["weak"]) == ("changer", "telephone", False)
    code, out, _ = said(capsys, "break", place, "--position", "changer=0", "--weak")
    assert code == 0
    assert "points to attenuation, not to a cut" in out


def test_contradicting_reports_are_1(capsys, place):
    code, out, _ = said(capsys, "break", place, "--position", "changer=0", "--position", "amplifier=0")
    assert code == 1
    assert out.startswith("Contradicting reports.")
    assert "2 breaks" in out
    assert said(capsys, "break", place)[0] == 1


@pytest.mark.parametrize(
    ("words", "found"),
    [
        (("--position", "changer"), "'changer' is not NODE=NUMBER"),
        (("--position", "changer=x"), "is not NODE=NUMBER"),
        (("--position", "changer=-1"), "is not NODE=NUMBER"),
        (("--position", "a=1", "--position", "a=2"), "names 'a' twice"),
        (("--report", "changer=1"), "a position goes with --position changer=1"),
    ],
)
def test_positions_written_wrongly(capsys, place, words, found):
    code, out, err = said(capsys, "break", place, *words)
    assert (code, out) == (2, "")
    assert found in err


# --- the page ----------------------------------------------------------------------------------------------------


def test_a_page_masks_the_receiver_and_is_not_written_over_what_is_no_page(capsys, job, tmp_path):
    (job / "ring.toml").write_text(WHOLE.replace("fuse 12", "fuse of DEMO0000A7"), "utf-8")
    page = tmp_path / "break.html"
    assert said(capsys, "break", job, "--report", page)[0] == 0
    text = page.read_text("utf-8")
    assert "DEMO0000A7" not in text
    assert "0A7" in text
    letter = tmp_path / "letter.txt"
    letter.write_text("dear", "utf-8")
    assert "is no web page" in said(capsys, "plan", job, "--report", letter)[2]
    assert letter.read_text("utf-8") == "dear"


def test_help_is_quick_and_imports_nothing_heavy():
    code = (
        "import sys; from satdiag.cli import run; run(['ring', '--help']); "
        "print({'numpy', 'pandas', 'scipy'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.rstrip().endswith("set()")


LONG = "satellite-receiver-of-the-demo-saloon"


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1280, "dark")])
def test_the_page_is_drawn_and_fits(chromium, tmp_path, place, width, scheme, capsys):  # noqa: F811
    place.write_text(TOML.replace("receiver", LONG).replace(f"{LONG}_m", "receiver_m"), "utf-8")
    page_file = tmp_path / "plan.html"
    assert said(capsys, "plan", place, "--report", page_file)[0] == 0
    context = chromium.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme)
    page = context.new_page()
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda asked: asked.url == page_file.as_uri() or complaints.append(f"fetched {asked.url}"))
    page.goto(page_file.as_uri())
    page.wait_for_function("document.querySelectorAll('.drawing:not(.js-plotly-plot)').length === 0")
    page.evaluate("document.querySelectorAll('details').forEach(part => part.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert len(page.query_selector_all(".drawing svg.main-svg")) >= 2
    for drawing in page.query_selector_all(".drawing"):
        frame = drawing.bounding_box()
        boxes = drawing.evaluate(
            "d => [...d.querySelectorAll('.textpoint text')].map(t => t.getBoundingClientRect())"
            ".map(b => [b.left, b.top, b.right, b.bottom])"
        )
        assert len(boxes) >= 15
        for number, (left, top, right, bottom) in enumerate(boxes):
            assert frame["x"] <= left
            assert right <= frame["x"] + frame["width"], "a name is cut off at the edge"
            for other in boxes[:number]:  # no words over each other
                assert right <= other[0] or other[2] <= left or bottom <= other[1] + 1 or other[3] <= top + 1
    assert complaints == []
    context.close()


def test_the_samples_of_the_format_in_the_documentation_can_be_read():
    """The example in `satdiag docs ring` is legal once its nodes are all named."""
    from satdiag.cli.docs_cmd import topic_text

    example = topic_text("ring").split("```toml\n")[1].split("```")[0]
    missing = "".join(f'[[node]]\nname = "{name}"\n' for name in ("amplifier", "telephone", "changer"))
    file = parse_ring(example + missing + '[[block]]\nname = "rear"\npositions = 2\noutputs_row = "upper"\n')
    assert check_ring(file).state == "problems"
    assert file.links[0].length_m == 3.0
