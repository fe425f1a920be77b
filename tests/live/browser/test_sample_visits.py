"""The end of each sample's visit tapped on a phone: what was seen last by hand, the verdict, the customer's letter.

All that was logged earlier, and all that instruments told, is in the job already; the phone's person taps what was
seen last by hand: how each channel is, whether the radio is listed, whether there is sound. The letter must say what
tests/letter/expected.toml demands of the sample, in English, Spanish and French by turns. The samples are simulated:
this proves that the parts fit together, and the code against our own model only.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from collections.abc import Sequence
from typing import Any

import pytest

from satdiag.job import Job, build_job
from satdiag.opening import open_job
from satdiag.recorder.clock import time_text
from satdiag.rows import Row, parse_time_us
from satdiag.store import create_job_file
from tests.letter.read import LANGUAGES, expected, truth
from tests.live.browser.real import PATIENCE_S, PHONE, Laptop, live, saved, until, view
from tests.live.browser.test_live_visit import customer_letter
from tests.sample_findings import SAMPLES, job_of

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(sys.platform == "win32", reason="it ends the server with a signal of POSIX"),
]

LAST_S = 300.0
"""What was last seen by hand is tapped if that was in the last so many seconds."""
OLD_S = 30.0
"""So old is a log's last row as the visit begins."""
BY_HAND = ("hand", "page")
MARKED = ("authorised", "refused", "missing", "no-signal")


def moved(job: Job) -> list[tuple[float, Row]]:
    """The rows at such times that the last one is `OLD_S` old: how many seconds before the last, and the row."""
    times_us = [parse_time_us(row.time, job.sheet.naive_times) for row in job.rows]
    told = [(time_us, row) for time_us, row in zip(times_us, job.rows, strict=True) if time_us is not None]
    assert len(told) == len(job.rows)
    last_us = max(time_us for time_us, _ in told)
    later_us = time.time_ns() // 1000 - round(OLD_S * 1e6) - last_us
    return [
        ((last_us - time_us) / 1e6, row._replace(time=time_text((time_us + later_us) * 1000), raw=None))
        for time_us, row in told
    ]


def can_be_tapped(row: Row) -> bool:
    """Whether the page has a target for what a hand entered."""
    if row.source not in BY_HAND or row.note or row.span_s:
        return False
    if row.kind == "channel":
        return row.value in MARKED
    return (row.kind, row.subject) in {("listing", "source"), ("audio", "output")}


def parted(rows: Sequence[tuple[float, Row]]) -> tuple[list[Row], list[Row]]:
    """What is in the job already, and what is tapped: the last of each channel and thing, in order of time.

    What was seen earlier stays as it was logged: a slip that was put right later must not be tapped after it.
    """
    last = {(row.kind, row.subject): n for n, (_, row) in enumerate(rows)}
    late = [
        before_s <= LAST_S and can_be_tapped(row) and last[row.kind, row.subject] == n
        for n, (before_s, row) in enumerate(rows)
    ]
    known = [row for (_, row), tapped in zip(rows, late, strict=True) if not tapped]
    return known, [row for (_, row), tapped in zip(rows, late, strict=True) if tapped]


def tap(page: Any, rows: Sequence[Row], names: dict[str, str]) -> None:
    """Tap what was seen: the channels by the mark chosen above them, the rest on 'By hand'."""
    view(page, "channels")
    for row in (one for one in rows if one.kind == "channel"):
        key = page.locator(f".chooser [data-value={row.value}]")
        if key.get_attribute("aria-pressed") != "true":
            key.tap()
        words = re.compile(rf"(?<!\d){row.subject}\s+{re.escape(names[row.subject])}")
        page.locator(".channel", has_text=words).first.tap()
    view(page, "byhand")
    for row in (one for one in rows if one.kind != "channel"):
        page.locator(f'#view-byhand [data-enter="{row.kind} {row.subject} {row.value}"]').tap()


@pytest.mark.parametrize("name", SAMPLES)
def test_the_end_of_a_samples_visit_is_tapped_and_its_letter_tells_the_truth(phone, tmp_path, capsys, name):
    job, n = job_of(name), SAMPLES.index(name) % len(LANGUAGES)
    known, seen = parted(moved(job))
    channels = {row.subject for row in seen if row.kind == "channel"}
    names = {str(line.channel): line.name for line in job.lineup or ()}
    if not seen:
        pytest.skip(f"{name}: nothing was seen by hand in its last {LAST_S:.0f} s, instruments told all of it")
    if missing := sorted(channels - set(names)):
        pytest.skip(f"{name}: the page lists no channel without a line-up, so {missing} cannot be tapped")
    place = tmp_path / "demo.satjob"
    create_job_file(place, build_job(job.documents, known, job.header))
    page, complaints = phone(**PHONE, locale=LANGUAGES[n])
    begun_s = time.monotonic()
    with Laptop(place) as laptop:
        page.goto(laptop.link)
        live(page)
        tap(page, seen, names)
        saved(page)
        number = analysis(page)
        until(lambda: analysis(page) > number, page, what="an analysis of what was tapped")
        view(page, "verdict")
        page.wait_for_selector("#view-verdict .sentence:not(:empty)", state="visible")
        text = customer_letter(page)
        code, said = laptop.end()
    assert code == 0, said
    with capsys.disabled():
        print(f"\n{name}, {LANGUAGES[n]}: {len(seen)} taps, {time.monotonic() - begun_s:.0f} s")
    tapped = [row for row in open_job(place).rows if row.source == "page" and (row.id or "").startswith("p-")]
    assert len(tapped) == len(seen)
    check_verdict(place, name)
    check_letter(text, name, n)
    assert complaints == []


def analysis(page: Any) -> int:
    """The number of the last analysis."""
    return int(page.evaluate("async () => (await (await fetch('/state')).json()).analysis"))


def check_verdict(place: Any, name: str) -> None:
    """What the real command says of the job is what was wrong in the simulated world."""
    command = [sys.executable, "-m", "satdiag", "analyse", "--json", str(place)]
    found = json.loads(subprocess.run(command, check=True, capture_output=True, timeout=PATIENCE_S).stdout)["verdict"]
    assert (found["state"], found["class"]) == (truth(name)["state"], truth(name)["class"])


def check_letter(text: str, name: str, n: int) -> None:
    """All that the table demands of the customer's letter stands there, and nothing that it forbids."""
    wanted, language = expected()["sample"][name], LANGUAGES[n]
    for group in wanted["customer"]:
        assert any(words in text for words in group[n].split("|")), (group[n], text)
    never = expected()["never"][wanted["kind"]][language] + expected()["no_customer"][language]
    assert [words for words in never if words.lower() in text.lower()] == [], text
    assert job_of(name).sheet.receiver.id not in text
