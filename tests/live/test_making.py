"""Papers made beside a recording: who may have them, how they are served, and that the process that makes them ends.

What a paper says is the business of the rooms that make it. Processes are real: either satdiag's own, or a short
program that answers as that does, or badly.
"""

import asyncio
import json
import signal
import subprocess
import sys
import time

import pytest

import satdiag.live.making as making
from satdiag.language import speaking, translated
from satdiag.live.handing import PAGE_CSP, PDF_CSP
from satdiag.live.making import Busy, Maker
from satdiag.live.papers import FORMS, NotAWish, Wish, make_paper, wish_from
from satdiag.live.security import CSP
from satdiag.opening import open_job
from satdiag.store import check_job_file
from tests.live.rigs import CODE, HOST, PAGE, WATCH, browser, new_job, running, tap, until

GOOD = {"what": "customer", "form": "html", "language": "es", "by": "Demo Hand"}
WISH = Wish("report", "html", "en")
STOP, GO_ON = getattr(signal, "SIGSTOP", 0), getattr(signal, "SIGCONT", 0)


def answering(code):
    """How a short program is started in the place of satdiag's: it reads the wish, then runs `code`."""
    return [sys.executable, "-c", f"import json, sys, time; asked = json.load(sys.stdin.buffer)\n{code}"]


ECHO = "print(json.dumps({'name': asked['language'] + '.html', 'rows': 7})); print(asked['by'], end='')"


@pytest.fixture
def maker(tmp_path):
    """A function that makes a Maker of a program; each is stopped at the end."""
    made = []

    def make(code, **more):
        made.append(Maker(tmp_path / "demo.satjob", answering(code), **more))
        return made[-1]

    yield make
    for one in made:
        one.stop()


def done(one):
    """What is told when nothing is being made any more."""
    until(lambda: one.told()["making"] is None)
    return one.told()


def ask(place, what):
    """Run `what(client, deck)` with a paired client on a deck that records."""

    async def go():
        async with browser(deck) as client:
            return await what(client, deck)

    with running(place) as deck:
        return asyncio.run(go())


# --- what may be asked for ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("what", FORMS)
def test_each_paper_can_be_asked_for_in_each_of_its_forms(what):
    for form in FORMS[what]:
        assert wish_from({**GOOD, "what": what, "form": form}) == Wish(what, form, "es", "Demo Hand", False)


@pytest.mark.parametrize(
    "wrong",
    [
        {},
        {**GOOD, "what": "letters"},
        {**GOOD, "what": ["customer"]},
        {**GOOD, "form": "zip"},
        {**GOOD, "what": "record", "form": "pdf"},
        {**GOOD, "language": "de"},
        {**GOOD, "language": None},
        {**GOOD, "by": 7},
        {**GOOD, "by": "d" * 101},
        {**GOOD, "by": "demo\x1b[2J"},
        {**GOOD, "full_id": "yes"},
        {**GOOD, "full_id": True},
        {**GOOD, "place": "/etc/passwd"},
    ],
)
def test_nothing_else_can_be_asked_for(wrong):
    with pytest.raises(NotAWish):
        wish_from(wrong)


# --- one at a time, in a process that ends --------------------------------------------------------------------------


def test_a_paper_is_kept_until_a_newer_one_of_its_kind_takes_its_place(maker):
    one = maker(ECHO)
    one.begin(Wish("report", "html", "en", "first"))
    (first,) = done(one)["made"]
    one.begin(Wish("report", "html", "fr", "second"))
    (second,) = done(one)["made"]
    assert one.find(first["id"], first["name"]) is None
    assert one.find(second["id"], second["name"]).paper.data == b"second"
    assert (second["name"], second["rows"], second["bytes"]) == ("fr.html", 7, 6)
    assert len(second["id"]) >= 32
    assert first["id"] != second["id"]
    for identifier, name in (
        ("", ""),
        (second["id"], "../fr.html"),
        (second["id"][:-1], "fr.html"),
        ("é", "fr.html"),
    ):
        assert one.find(identifier, name) is None


def test_only_one_paper_is_made_at_a_time(maker, tmp_path):
    go_on = tmp_path / "go on"
    one = maker(f"import os\nwhile not os.path.exists({str(go_on)!r}): time.sleep(0.01)\n{ECHO}")
    one.begin(Wish("report", "html", "en", "first"))
    with pytest.raises(Busy, match="Another paper is being made"):
        one.begin(Wish("report", "html", "en", "second"))
    assert one.told()["making"].keys() == {"what", "form", "for_s"}
    go_on.touch()
    (made,) = done(one)["made"]
    assert one.find(made["id"], "en.html").paper.data == b"first"


@pytest.mark.parametrize(
    ("code", "why"),
    [
        ("print(json.dumps({'error': 'The demo went wrong.'}))", "The demo went wrong."),
        ("sys.exit(3)", "It ended before it was done."),
        ("print('no JSON at all'); print('x')", "It ended before it was done."),
        ("print(json.dumps({'name': 'a.html', 'rows': 1}))", "It ended before it was done."),
        ("print(json.dumps(['a.html', 1])); print('x')", "It ended before it was done."),
    ],
)
def test_what_is_not_made_is_told_and_can_be_tried_again(maker, code, why):
    one = maker(code)
    for _ in range(2):
        one.begin(WISH)
        told = done(one)
        assert told["failed"] == [{"what": "report", "form": "html", "why": why}]
        assert told["made"] == []


def test_why_it_is_not_made_is_said_as_the_page_speaks(maker):
    one = maker("sys.exit(3)")
    with speaking("es"):
        one.begin(WISH)
        why = translated("It ended before it was done.")
    assert why != "It ended before it was done."
    assert done(one)["failed"][0]["why"] == why


def test_whatever_goes_wrong_the_next_paper_can_be_made(maker, monkeypatch):
    one, wish = maker(ECHO), Wish("report", "html", "en", "Demo Hand")
    with monkeypatch.context() as patched:
        patched.setattr(making, "_read", lambda out: 1 / 0)
        one.begin(wish)
        assert "division" in done(one)["failed"][0]["why"]
    one.begin(wish)
    assert len(done(one)["made"]) == 1


def test_a_process_that_takes_too_long_is_ended(maker):
    one = maker("time.sleep(3600)", limit_s=0.5)
    one.begin(WISH)
    assert "longer than" in done(one)["failed"][0]["why"]


def test_papers_together_are_no_larger_than_they_may_be(maker, monkeypatch):
    monkeypatch.setattr(making, "MOST_BYTES", 1_000_000)
    head = "print(json.dumps({'name': asked['what'], 'rows': 1}), flush=True)"
    one = maker(f"{head}\nsys.stdout.write('x' * int(asked['by'])); sys.stdout.flush()")
    for what in ("report", "customer", "dealer"):
        one.begin(Wish(what, "html", "en", "400000"))
        told = done(one)
    assert [paper["name"] for paper in told["made"]] == ["customer", "dealer"], "the oldest went first"
    one.begin(Wish("provider", "html", "en", "1000001"))
    told = done(one)
    assert "larger than 1 MB" in told["failed"][0]["why"]
    assert [paper["name"] for paper in told["made"]] == ["customer", "dealer"]


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_at_the_end_the_process_is_gone(maker, tmp_path):
    """The program writes its number, and would run for an hour."""
    one = maker(f"import os; open({str(tmp_path / 'pid')!r}, 'w').write(str(os.getpid())); time.sleep(3600)")
    one.begin(WISH)
    until(lambda: (tmp_path / "pid").exists() and (tmp_path / "pid").read_text())
    one.stop()
    number = (tmp_path / "pid").read_text()
    assert subprocess.run(["kill", "-0", number], capture_output=True, check=False).returncode != 0
    with pytest.raises(Busy):
        one.begin(WISH)


# --- for those alone who may write ----------------------------------------------------------------------------------

ADDRESSES = [("POST", "/make"), ("GET", "/made"), ("GET", "/made/abc/report.html"), ("GET", "/made/abc/..%2Fstate")]


def test_who_may_not_write_gets_nothing_of_it(tmp_path):
    async def go(client, deck):
        found = {}
        for who, code in (("stranger", None), ("watch", WATCH), ("write", CODE)):
            client.cookies.clear()
            if code:
                assert (await client.post("/pair", json={"code": code})).status_code == 200
            for method, path in ADDRESSES:
                sent = {"json": {**GOOD, "form": "none"}} if method == "POST" else {}
                answer = await client.request(method, path, **sent)
                found[who, method, path] = answer.status_code
                assert answer.headers["content-security-policy"] == CSP
        return found

    found = ask(new_job(tmp_path / "demo.satjob"), go)
    assert {status for (who, *_), status in found.items() if who == "stranger"} == {401}
    assert {status for (who, *_), status in found.items() if who == "watch"} == {403}
    assert [status for (who, *_), status in found.items() if who == "write"] == [400, 200, 404, 404]


def test_another_sites_page_other_methods_and_bad_bodies_are_refused(tmp_path):
    async def go(client, deck):
        foreign = {"Origin": "http://demo.example"}
        cross = {"Sec-Fetch-Site": "cross-site"}
        plain = {"Content-Type": "text/plain"}
        asked = [
            ("POST", "/make", {"json": GOOD, "headers": foreign}, 403),
            ("POST", "/make", {"json": GOOD, "headers": cross}, 403),
            ("GET", "/made", {"headers": cross}, 403),
            ("GET", "/made/abc/report.html", {"headers": cross}, 403),
            ("GET", "/made/abc/report.html", {"headers": {"Host": "demo.example"}}, 400),
            ("HEAD", "/made/abc/report.html", {}, 405),
            ("PUT", "/make", {"json": GOOD}, 405),
            ("GET", "/make", {}, 405),
            ("POST", "/made", {"json": GOOD}, 405),
            ("POST", "/make", {"content": json.dumps(GOOD), "headers": plain}, 415),
            ("POST", "/make", {"json": {**GOOD, "by": "d" * 70_000}}, 413),
            ("POST", "/make", {"content": b"{", "headers": {"Content-Type": "application/json"}}, 400),
            ("POST", "/make", {"json": [GOOD]}, 400),
            ("POST", "/make", {"json": {**GOOD, "full_id": True}}, 400),
        ]
        for method, path, more, status in asked:
            answer = await client.request(method, path, **more)
            assert answer.status_code == status, (method, path, more, answer.text)
        assert deck.maker.told() == {"making": None, "made": [], "failed": []}, "nothing was begun"

    ask(new_job(tmp_path / "demo.satjob"), go)


# --- a letter, for real ---------------------------------------------------------------------------------------------


def test_a_letter_is_made_of_what_was_saved_and_served_as_a_page_that_can_do_nothing(tmp_path, monkeypatch):
    place = new_job(tmp_path / "demo.satjob")
    (tmp_path / "json.py").write_text("raise SystemExit('a file of the folder one happens to be in was run')")
    monkeypatch.chdir(tmp_path)

    async def go(client, deck):
        sent = [tap("channel", "1", "authorised"), tap("channel", "2", "refused")]
        assert (await client.post("/taps", json={"page": PAGE, "taps": sent})).status_code == 200
        assert (await client.post("/make", json=GOOD)).json()["making"]["what"] == "customer"
        process = until(lambda: deck.maker._process)
        process.send_signal(STOP)  # it shall not be done before it was looked at
        busy = await client.post("/make", json=GOOD, headers={"Accept-Language": "es"})
        assert (busy.status_code, busy.json()["error"][:24]) == (409, "Se está preparando otro ")
        meanwhile = tap("channel", "3", "refused")
        answer = await client.post("/taps", json={"page": PAGE, "taps": [meanwhile]})
        assert answer.json()["saved"] == [meanwhile["key"]]
        assert (await client.get("/made")).json()["making"], "it did not wait for the paper"
        process.send_signal(GO_ON)
        end_s = time.monotonic() + 200
        while (told := (await client.get("/made")).json())["making"]:
            assert time.monotonic() < end_s
            await asyncio.sleep(0.1)
        assert told["failed"] == []
        (made,) = told["made"]
        path = f"/made/{made['id']}/{made['name']}"
        shown, saved = await client.get(path), await client.get(f"{path}?save=1")
        wrong = [await client.get(f"/made/{made['id']}/{name}") for name in ("other.html", "..%2fstate", "")]
        return made, shown, saved, [one.status_code for one in wrong]

    made, shown, saved, wrong = ask(place, go)
    assert made["name"] == "demo-job-letter-customer-es.html"
    assert made["rows"] in (2, 3), "the last tap came while the process began"
    assert abs(time.time() * 1000 - made["at_ms"]) < 60_000
    assert wrong == [404, 404, 404]
    assert "Demo Hand" in shown.text
    assert 'lang="es"' in shown.text
    assert "demo van" in shown.text
    assert "DEMO00042" not in shown.text
    assert saved.content == shown.content
    assert shown.headers["content-type"] == "text/html; charset=utf-8"
    assert shown.headers["content-disposition"] == f'inline; filename="{made["name"]}"'
    assert saved.headers["content-disposition"] == f'attachment; filename="{made["name"]}"'
    for answer in (shown, saved):
        assert answer.headers.get_list("content-security-policy") == [PAGE_CSP]
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["x-content-type-options"] == "nosniff"
    assert check_job_file(place) == []
    assert HOST not in shown.text


def test_a_page_may_run_its_own_script_in_a_sandbox_and_nothing_else():
    rules = dict(rule.strip().partition(" ")[::2] for rule in PAGE_CSP.split(";"))
    assert rules["sandbox"].split() == ["allow-scripts"], "with allow-same-origin it would act as the page"
    assert rules["default-src"] == "'none'"
    assert "connect-src" not in rules, "it may fetch nothing"
    assert rules["script-src"] == "'unsafe-inline'"
    assert rules["form-action"] == rules["frame-ancestors"] == "'none'"
    assert "script" not in PDF_CSP


@pytest.mark.long
def test_a_process_reads_the_job_as_it_is_and_leaves_it_so(tmp_path):
    place = new_job(tmp_path / "demo.satjob")
    before = place.read_bytes()
    one = Maker(place)
    one.begin(Wish("provider", "html", "en", "", True))
    told = done(one)
    one.stop()
    assert told["failed"] == [], told
    (made,) = told["made"]
    assert made["full_id"]
    assert made["name"] == "demo-job-letter-provider-whole-id-en.html"
    data = one.find(made["id"], made["name"]).paper.data
    assert b"DEMO00042" in data
    assert data == make_paper(open_job(place), Wish("provider", "html", "en", "", True)).data
    assert place.read_bytes() == before
