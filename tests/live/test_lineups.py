"""The line-up of a job from the page's side: packages kept, categories marked, kept for other jobs, all or none."""

import asyncio
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from satdiag.entitlement.channels import expected_channels
from satdiag.errors import BadInput, StoreProblem, StoreWaits
from satdiag.job import build_job
from satdiag.live import deck as deck_module
from satdiag.live.lineups import Marks, keep, kept_names, lineup_bytes, mark_lineup, read_kept, summary
from satdiag.live.pasted import PastedChannel, read_channels
from satdiag.store import LiveFile, check_job_file, create_job_file, read_job_file
from satdiag.tables import LINEUP_COLUMNS, parse_lineup
from satdiag.user_folder import ENVIRONMENT, check_all, entries
from tests.helpers import make_job
from tests.live.rigs import CODE, LINEUP, SHEET, WATCH, browser, new_job, running, until
from tests.recorder.conftest import nothing_is_left  # noqa: F401

NO_PACKAGE = SHEET.replace(b'package = "full"\n', b"")
HOSTILE = [
    '<img src=x onerror="document.title=1">',
    "__proto__",
    "constructor",
    "a\u202eb\u2067c",
    "../../x",
    'q,"q"',
]
TEXT = "Music\n1 Demo One\n2 Demo Two\n\nTalk\n3 Demo Three\n4 Demo Four"


@pytest.fixture
def user(tmp_path, monkeypatch):
    """An empty user folder."""
    monkeypatch.setenv(ENVIRONMENT, str(tmp_path / "user"))
    return tmp_path / "user"


@pytest.fixture
def place(tmp_path, user):
    return new_job(tmp_path / "demo.satjob")


@pytest.fixture
def bare(tmp_path, user):
    """A job whose sheet names no package, and without a line-up."""
    place = tmp_path / "bare.satjob"
    create_job_file(place, make_job("", documents={"job.toml": NO_PACKAGE}))
    return place


def asked(deck, *requests, code=CODE):
    """The answers to requests (path, body), one after another; a body None: GET."""

    async def run():
        async with browser(deck, code=code) as client:
            return [
                await (client.get(path) if body is None else client.post(path, json=body)) for path, body in requests
            ]

    return asyncio.run(run())


def notes(place):
    return [row.value for row in read_job_file(place).rows if row.kind == "note"]


def held(place):
    """The packages of each channel in a job file."""
    return {line.channel: sorted(line.packages) for line in read_job_file(place).lineup}


def sheet_of(package):
    return {"job.toml": SHEET if package else NO_PACKAGE}


# --- what the bytes say ---------------------------------------------------------------------------------------------


def test_channels_outside_the_package_are_not_expected():
    """The reference is the analysis: which channels it expects of an account that has the package."""
    channels = [PastedChannel(31, 'Alpha, "live"', "Rock"), PastedChannel(32, "Beta", "Talk, all")]
    data = lineup_bytes(channels, Marks({"Talk, all"}), "music")
    assert data.decode().splitlines()[1:] == ['31,"Alpha, ""live""",Rock,music', '32,Beta,"Talk, all",other']
    job = make_job("0:00 account service confirmed", '[service]\npackage = "music"\n', documents={"lineup.csv": data})
    expected = expected_channels(job, {})
    assert (set(expected.channels), set(expected.outside)) == ({31}, {32})
    assert read_channels(data.decode()).channels == tuple(
        channel._replace(packages=word) for channel, word in zip(channels, ["music", "other"], strict=True)
    )


@pytest.mark.parametrize(
    ("packages", "outside", "neither", "inside"),
    [
        ("", "other", "music", "music"),
        ("music", "other", "music", "music"),
        ("all music", "all", "all music", "all music"),
        ("other", "other", "other", "music"),
        ("all", "all", "all", "all music"),
        ("all other", "all other", "all other", "all music"),
        ("open", "open", "open", "open"),
        ("open music", "open", "open music", "open music"),
    ],
)
def test_a_mark_changes_the_word_of_the_package_and_no_other(packages, outside, neither, inside):
    channel = PastedChannel(1, "a", "x", packages)
    for marks, wanted in [(Marks({"x"}), outside), (Marks({"y"}), neither), (Marks((), {"x"}), inside)]:
        assert lineup_bytes([channel], marks, "music").decode().splitlines()[1] == f"1,a,x,{wanted}"


def test_the_other_word_is_never_the_package_itself():
    channels = [PastedChannel(1, "a", "x"), PastedChannel(2, "b", "y")]
    assert [line.packages for line in parse_lineup(lineup_bytes(channels, Marks("y"), "other").decode())] == [
        {"other"}, {"other-2"},
    ]  # fmt: skip
    assert [line.packages for line in parse_lineup(lineup_bytes(channels, Marks(), "").decode())] == [set(), set()]


@pytest.mark.parametrize(
    ("numbers", "package", "said"),
    [([1, 1], "music", "stands in line 2 already"), ([10**7], "music", "channel number"), ([1], "Mu sic", "package"),
     ([1], "open", "package")],
)  # fmt: skip
def test_what_makes_no_line_up(numbers, package, said):
    with pytest.raises(BadInput, match=said):
        lineup_bytes([PastedChannel(number, "a", "") for number in numbers], Marks(), package)


LINES = st.lists(
    st.tuples(
        st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=8),
        st.sampled_from(["a", "b", "c", "__proto__"]),
        st.sampled_from(["", "full", "other", "open", "all full", "other all"]),
    ),
    min_size=1,
    max_size=8,
)
CATEGORIES = st.sets(st.sampled_from(["a", "b", "c", "__proto__"]))


@settings(max_examples=150, deadline=None)
@given(LINES, CATEGORIES, CATEGORIES)
def test_marks_change_packages_alone_can_be_taken_back_and_hold_when_made_twice(lines, first, second):
    quote = '"{}"'.format
    rows = [
        f"{n},{quote(name.replace(chr(34), chr(34) * 2))},{category},{words}"
        for n, (name, category, words) in enumerate([*lines, ("", "held", "full")])
    ]
    documents = {**sheet_of("full"), "lineup.csv": "\n".join([",".join(LINEUP_COLUMNS), *rows, ""]).encode()}
    before = parse_lineup(documents["lineup.csv"].decode())
    marks = Marks(first, second - first)
    documents |= mark_lineup(documents, marks).documents
    assert mark_lineup(documents, marks).documents == {}
    after = parse_lineup(documents["lineup.csv"].decode())
    for old, new in zip(before, after, strict=True):
        assert (new.channel, new.name, new.category) == (old.channel, old.name, old.category)
        assert new.packages - {"full", "other"} == old.packages - {"full", "other"}
        if new.category in marks.outside:
            assert "full" not in new.packages
            assert new.packages
        elif new.category in marks.inside:
            assert new.packages & {"full", "open"}
        else:
            assert new == old
    back = documents | dict(mark_lineup(documents, Marks((), {"a", "b", "c", "__proto__"})).documents)
    assert all(line.packages & {"full", "open"} for line in parse_lineup(back["lineup.csv"].decode()))


def test_a_line_that_keeps_its_marks_keeps_its_bytes():
    text = 'channel,name,category,packages\n1,"plain, or not",a,full\n2,"b",b,all full\n'
    (made,) = mark_lineup({**sheet_of("full"), "lineup.csv": text.encode()}, Marks({"b"})).documents.values()
    assert made.decode() == text.replace('2,"b",b,all full', "2,b,b,all")


def test_the_summary_counts_each_channel_once():
    told = summary(parse_lineup(LINEUP.decode() + "9,Demo Nine,info,open full\n"))
    assert told == {
        "channels": 6,
        "categories": [
            {"category": "music", "channels": 2, "open": 0, "blank": 0, "packages": [("full", 2)]},
            {"category": "talk", "channels": 2, "open": 0, "blank": 1, "packages": [("other", 1)]},
            {"category": "info", "channels": 2, "open": 2, "blank": 0, "packages": []},
        ],
    }


# --- the page's requests --------------------------------------------------------------------------------------------


def test_packages_that_a_list_names_come_through_to_the_job(place):
    text = "channel,name,category,packages\n4,a,Rock,all full\n5,b,Talk,gold all\n6,c,Talk,open\n"
    with running(place) as deck:
        (read,) = asked(deck, ("/lineup/read", {"text": text}))
        sent = {"channels": read.json()["channels"], "outside": []}
        (kept,) = asked(deck, ("/lineup", sent))
        assert kept.json() == {"count": 3}
        assert read.json()["lineup"]["categories"][1]["packages"] == [["all", 1], ["gold", 1]]
        assert held(place) == {4: ["all", "full"], 5: ["all", "gold"], 6: ["open"]}
        asked(deck, ("/lineup", {**sent, "outside": ["Rock"], "inside": ["Talk"]}))
    assert held(place) == {4: ["all"], 5: ["all", "full", "gold"], 6: ["open"]}
    assert notes(place) == [
        "line-up: 3 channels, outside full: Talk", "line-up: 3 channels, outside full: Rock",
    ]  # fmt: skip


def test_the_package_comes_into_the_sheet_with_the_line_up_that_needs_it(bare):
    with running(bare) as deck:
        (read,) = asked(deck, ("/lineup/read", {"text": TEXT}))
        sent = {"channels": read.json()["channels"], "outside": ["Talk"]}
        refused, wrong, done = asked(
            deck,
            ("/lineup", sent),
            ("/lineup", {**sent, "package": "Full One"}),
            ("/lineup", {**sent, "package": "full"}),
        )
        (state,) = asked(deck, ("/state", None))
    for answer, what in [(refused, "which package was ordered"), (wrong, "not a package word")]:
        assert answer.status_code == 422
        assert [(one["key"], what in one["what"]) for one in answer.json()["problems"]] == [("service.package", True)]
    assert done.json() == {"count": 4}
    state = state.json()
    assert state["sheet"]["service.package"] == "full"
    assert [one["expected"] for one in state["channels"]] == [True, True, False, False]
    assert state["lineup"]["categories"][1]["packages"] == [["other", 2]]
    job = read_job_file(bare)
    assert job.sheet.package == "full"
    assert notes(bare) == ["sheet: service.package: unknown -> full; line-up: 4 channels, outside full: Talk"]
    assert [row.time != "" for row in job.rows] == [True]
    assert check_job_file(bare) == []


def test_what_is_refused_changes_neither_document(bare):
    before = read_job_file(bare).documents
    channel = {"number": 1, "name": "a", "category": "x"}
    with running(bare) as deck:
        answers = asked(
            deck,
            ("/lineup", {"channels": [channel, channel], "outside": ["x"], "package": "full"}),
            ("/lineup", {"channels": [{**channel, "packages": "A B"}], "outside": ["x"], "package": "full"}),
            ("/lineup", {"channels": [channel], "outside": ["x"], "inside": ["x"], "package": "full"}),
            ("/lineup", {"channels": [channel], "outside": ["x"], "package": "open"}),
            ("/lineup", {"channels": [channel], "outside": ["x"], "package": "full"}),
            ("/lineup/marks", {"outside": ["x"], "package": "full"}),
        )
    assert [one.status_code for one in answers] == [422] * 6
    assert "no channel of the line-up is in the package" in answers[4].text
    assert read_job_file(bare).documents == before
    assert notes(bare) == []


OLD = "channel,name,category,packages\n1,a,x,{}\n2,b,y,{}\n"


@pytest.mark.parametrize("error", [StoreWaits, StoreProblem])
@pytest.mark.parametrize(
    ("package", "lineup"),
    [("", None), ("", OLD.format("", "")), ("gold", OLD.format("gold", ""))],
)
def test_sheet_and_lineup_are_changed_together_or_not_at_all(tmp_path, user, monkeypatch, error, package, lineup):
    place, replace, calls, broken = tmp_path / "demo.satjob", LiveFile.replace_documents, [], [True]
    sheet = SHEET.replace(b'"full"', f'"{package}"'.encode())
    documents = {"job.toml": sheet, **({"lineup.csv": lineup.encode()} if lineup else {})}
    create_job_file(place, build_job(documents, []))
    before = read_job_file(place).documents

    def reluctant(self, changed, rows=()):
        if broken[0]:
            raise error("demo: the medium")
        calls.append(sorted(changed))
        replace(self, changed, rows)

    monkeypatch.setattr(LiveFile, "replace_documents", reluctant)
    monkeypatch.setattr(deck_module, "CHANGE_WAIT_S", 0.3 if error is StoreWaits else 60.0)
    channels = [PastedChannel(1, "a", "x"), PastedChannel(2, "b", "y")]
    with running(place) as deck:
        with pytest.raises(error):
            deck.set_lineup(channels, Marks({"x"}, (), "full"))
        assert read_job_file(place).documents == before
        broken[0] = False
        if error is StoreWaits:  # it is held, and written when it can be: both
            until(lambda: calls == [["job.toml", "lineup.csv"]])
            until(lambda: (deck.tick(), deck.state(None)["sheet"]["service.package"] == "full")[1])
            assert held(place) == {1: ["other"], 2: ["full"]}
    assert len(notes(place)) == (error is StoreWaits)
    assert check_job_file(place) == []


def test_a_package_that_no_channel_holds_is_refused_and_it_is_said_where_to_mend_it(place):
    with running(place) as deck:
        sheet, all_out = asked(
            deck,
            ("/sheet", {"changes": {"service.package": "gold", "job.vehicle": "demo bus"}}),
            ("/lineup/marks", {"outside": ["music", "talk"]}),
        )
        assert [one.status_code for one in (sheet, all_out)] == [422, 422]
        (problem,) = sheet.json()["problems"]
        assert problem["key"] == "service.package"
        assert "Channel list" in problem["mend"]
        assert notes(place) == []
        (done,) = asked(deck, ("/lineup/marks", {"inside": ["music"], "package": "gold"}))
        assert done.json() == {"count": 5}
    assert held(place)[1] == ["full", "gold"]


def test_a_number_of_the_sheet_that_is_sent_as_javascript_writes_it_is_no_change(place):
    sent = {"name": "demo yard", "latitude_deg": 45, "longitude_deg": -93}
    with running(place) as deck:
        (same,) = asked(deck, ("/sheet", {"changes": {"site": sent}}))
        assert same.status_code == 200
    assert read_job_file(place).documents["job.toml"] == SHEET
    assert notes(place) == []


def test_categories_go_out_and_in_again_without_pasting_anew(place):
    everywhere = ["music", "talk", "info"]
    with running(place) as deck:
        out, same, back, nothing = asked(
            deck,
            ("/lineup/marks", {"outside": ["music"], "inside": ["talk"]}),
            ("/lineup/marks", {"outside": ["music"]}),
            ("/lineup/marks", {"inside": everywhere, "package": "full"}),
            ("/lineup/marks", {}),
        )
        assert [one.json() for one in (out, same, back, nothing)] == [{"count": 5}] * 4
    assert held(place) == {1: ["full"], 2: ["full"], 3: ["full"], 4: ["full"], 5: ["open"]}
    assert [line.name for line in read_job_file(place).lineup][:2] == ["Demo One", "Demo Two"]
    assert notes(place) == ["line-up: 5 channels, outside full: music", "line-up: 5 channels"]


def test_another_package_is_told_apart_from_the_one_before(place):
    with running(place) as deck:
        asked(deck, ("/lineup/marks", {"outside": ["talk"], "inside": ["music"], "package": "gold"}))
    assert held(place)[1] == ["full", "gold"]
    assert held(place)[3] == held(place)[4] == ["other"]
    assert read_job_file(place).sheet.package == "gold"
    assert notes(place) == ["sheet: service.package: full -> gold; line-up: 5 channels, outside gold: talk"]


def test_hostile_words_stay_words(bare):
    lines = [f"{n} Demo {n}" for n in range(1, len(HOSTILE) + 1)]
    with running(bare) as deck:
        (read,) = asked(deck, ("/lineup/read", {"text": "\n".join(lines)}))
        channels = [
            {**one, "name": word, "category": word}
            for one, word in zip(read.json()["channels"], HOSTILE, strict=True)
        ]
        done, state = asked(
            deck,
            ("/lineup", {"channels": channels, "outside": ["__proto__", HOSTILE[3]], "package": "full"}),
            ("/state", None),
        )
    assert done.json() == {"count": len(HOSTILE)}
    categories = {one["category"]: one["packages"] for one in state.json()["lineup"]["categories"]}
    assert categories["__proto__"] == categories["abc"] == [["other", 1]]
    assert categories[HOSTILE[0]] == [["full", 1]]
    assert all(note.isprintable() for note in notes(bare))
    assert check_job_file(bare) == []


# --- kept for other jobs --------------------------------------------------------------------------------------------


def test_a_line_up_is_kept_with_its_marks_and_read_back_for_another_job(place, bare, user):
    with running(place) as deck:
        none, kept = asked(deck, ("/lineups", None), ("/lineups/keep", {"name": "region-1"}))
        assert none.json() == {"names": []}
        assert kept.json() == {"name": "region-1", "kept": "new"}
        (again,) = asked(deck, ("/lineups/keep", {"name": "region-1"}))
        assert again.json()["kept"] == "same"
    assert (user / "lineups" / "region-1.csv").read_bytes() == LINEUP
    check_all({f"{one.kind}/{one.path.name}": one.path.read_bytes() for one in entries()}, {})
    with running(bare) as deck:
        names, read = asked(deck, ("/lineups", None), ("/lineups/read", {"name": "region-1"}))
        assert names.json() == {"names": ["region-1"]}
        told = read.json()
        assert told["how"] == "Kept as 'region-1': 5 channels."
        assert [one["packages"] for one in told["channels"]] == ["full", "full", "other", "", "open"]
        done = asked(deck, ("/lineup", {"channels": told["channels"], "package": "full", "outside": ["talk"]}))[0]
        assert done.json() == {"count": 5}
    assert held(bare) == {1: ["full"], 2: ["full"], 3: ["other"], 4: ["other"], 5: ["open"]}


def test_a_name_that_is_taken_is_asked_about_before_it_is_replaced(place, user):
    with running(place) as deck:
        asked(deck, ("/lineups/keep", {"name": "region-1"}), ("/lineup/marks", {"inside": ["talk"]}))
        taken, capitals = asked(
            deck, ("/lineups/keep", {"name": "region-1"}), ("/lineups/keep", {"name": "Region-1", "replace": True})
        )
        assert (taken.status_code, taken.json()["problems"][0]["key"]) == (422, "replace")
        assert (capitals.status_code, capitals.json()["problems"][0]["key"]) == (422, "name")
        assert (user / "lineups" / "region-1.csv").read_bytes() == LINEUP
        (done,) = asked(deck, ("/lineups/keep", {"name": "region-1", "replace": True}))
        assert done.json()["kept"] == "replaced"
    assert (user / "lineups" / "region-1.csv").read_bytes() == read_job_file(place).documents["lineup.csv"]
    assert kept_names() == ["region-1"]


@pytest.mark.parametrize(
    "name",
    [
        "",
        ".",
        "..",
        "../x",
        "a/b",
        "a\\b",
        "/etc/x",
        "con",
        "a ",
        "a.",
        "\u202ea",
        "x\0",
        "<img onerror=1>",
        "é",
        "a" * 101,
    ],
)
def test_a_name_that_is_no_file_name_is_refused_and_nothing_is_written(place, user, name):
    with running(place) as deck:
        kept, read = asked(deck, ("/lineups/keep", {"name": name}), ("/lineups/read", {"name": name}))
    assert [(one.status_code, one.json()["problems"][0]["key"]) for one in (kept, read)] == [(422, "name")] * 2
    assert not user.exists()


def test_names_lead_to_nothing_but_kept_line_ups(place, user):
    outside = user.parent / "secret.csv"
    outside.write_bytes(LINEUP)
    (user / "lineups").mkdir(parents=True)
    (user / "profiles").mkdir()
    (user / "profiles" / "region.csv").write_bytes(LINEUP)
    (user / "lineups" / "broken.csv").write_text("channel,name\n1,a\n", "utf-8")
    (user / "lineups" / "none.csv").write_text(",".join(LINEUP_COLUMNS) + "\n", "utf-8")
    with running(place) as deck:
        names = ["../../secret", "../secret", str(outside).removesuffix(".csv"), "region", "broken", "none"]
        answers = asked(deck, *(("/lineups/read", {"name": name}) for name in names))
    assert [one.status_code for one in answers] == [422] * len(names)
    assert "'name' is missing" not in answers[4].text
    assert "missing" in answers[4].text


@pytest.mark.parametrize(("name", "why"), [("CON", "Windows keeps for devices"), ("a b", "not file-name safe")])
def test_why_a_name_cannot_be_kept_is_true(user, name, why):
    """Names of devices: Microsoft, 'Naming Files, Paths, and Namespaces' (from memory)."""
    with pytest.raises(BadInput, match=why):
        keep(name, LINEUP, False)


def test_a_list_as_large_as_a_job_takes_is_read_back_whole_and_a_larger_one_is_refused(user):
    def lines(count):
        rows = (f"{n},Demo {n} \u202e<b>,__proto__,full" for n in range(count))
        return "\n".join([",".join(LINEUP_COLUMNS), *rows, ""]).encode()

    assert (keep("large", lines(2000), False), keep("larger", lines(2001), False)) == ("new", "new")
    found = read_kept("large")
    assert len(found.channels) == 2000
    assert found.channels[7] == (7, "Demo 7 <b>", "__proto__", "full")
    with pytest.raises(BadInput, match="it holds 2001 channels"):
        read_kept("larger")


def test_a_job_without_a_line_up_has_none_to_keep_or_to_mark(bare, user):
    with running(bare) as deck:
        keeping, marking, state = asked(
            deck, ("/lineups/keep", {"name": "x"}), ("/lineup/marks", {"outside": []}), ("/state", None)
        )
    assert [one.json()["problems"][0]["what"] for one in (keeping, marking)] == ["the job has no line-up yet"] * 2
    assert state.json()["lineup"] is None
    assert not user.exists()


def test_a_user_folder_that_cannot_be_used_is_said(place, user):
    user.write_text("a file where the folder should be", "utf-8")
    with running(place) as deck:
        answers = asked(deck, ("/lineups", None), ("/lineups/keep", {"name": "x"}), ("/lineups/read", {"name": "x"}))
    assert [(one.status_code, "cannot be read" in one.json()["error"]) for one in answers] == [(503, True)] * 3


# --- who may --------------------------------------------------------------------------------------------------------

CHANGES = {
    "/lineup/marks": {"outside": ["music"]},
    "/lineups/read": {"name": "region-1"},
    "/lineups/keep": {"name": "region-2"},
}


@pytest.mark.parametrize("code", [None, WATCH])
def test_a_stranger_gets_nothing_and_a_watcher_changes_nothing(place, user, code):
    keep("region-1", LINEUP, False)
    before = read_job_file(place).documents
    with running(place) as deck:
        posts = asked(deck, *CHANGES.items(), code=code)
        (names,) = asked(deck, ("/lineups", None), code=code)
    assert [one.status_code for one in posts] == [401 if code is None else 403] * 3
    assert names.status_code == (401 if code is None else 403)  # whose lists are kept is nobody else's business
    assert "region-1" not in json.dumps([one.json() for one in (*posts, names)])
    assert kept_names() == ["region-1"]
    assert read_job_file(place).documents == before


@pytest.mark.parametrize("path", CHANGES)
@pytest.mark.parametrize(
    ("headers", "status"),
    [({"X-Satdiag": ""}, 403), ({"Content-Type": "text/plain"}, 415), ({"Sec-Fetch-Site": "cross-site"}, 403),
     ({"Origin": "http://evil.example"}, 403), ({"Host": "evil.example"}, 400)],
)  # fmt: skip
def test_every_guard_of_a_change_stands_before_these_too(place, path, headers, status):
    async def run(deck):
        async with browser(deck) as client:
            return await client.post(path, json=CHANGES[path], headers=headers)

    with running(place) as deck:
        assert asyncio.run(run(deck)).status_code == status
    assert kept_names() == []
