"""Which channels a letter promises, refuses and counts, read back from its words and held against truth.toml."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from satdiag.letter.channels import names_text, numbers_text, runs_of
from tests.helpers import make_job
from tests.letter.read import LANGUAGES, body, channels_in, letter, plain, truth, value_of
from tests.sample_findings import SAMPLES, findings_of, job_of

COMING = {
    "en": ("May still come", "Likely to come", "Very likely to come", "Almost certain to come"),
    "es": ("Aún pueden llegar", "Probable que lleguen", "Muy probable que lleguen", "Casi seguro que llegan"),
    "fr": ("Peuvent encore arriver", "Arrivée probable", "Arrivée très probable", "Arrivée presque certaine"),
}
OUTSIDE = {"en": "Not in your package", "es": "Fuera de su paquete", "fr": "Hors de votre bouquet"}
MONTHS = {"en": "September", "es": "septiembre", "fr": "septembre"}


def _listed(name: str, language: str, labels: tuple[str, ...]) -> list[int]:
    made = letter(name, "customer", language)
    texts = [text for label in labels if (text := value_of(made, label))]
    return [channel for text in texts for channel in channels_in(text, job_of(name), language)]


@pytest.mark.parametrize("name", SAMPLES)
def test_promised_channels_come_and_those_outside_do_not(name):
    entitled = set(truth(name)["entitled"])
    for language in LANGUAGES:
        coming = _listed(name, language, COMING[language])
        outside = _listed(name, language, (OUTSIDE[language],))
        assert set(coming) <= entitled
        assert not set(outside) & entitled
        assert not set(outside) & set(coming)
        assert bool(coming) == (truth(name)["state"] == "filling")


def test_the_filling_sample_names_all_that_lacks():
    """Of the 27 channels of the account 18 play at the last row; the log's last check of the others is 'refused'."""
    late = {4, 8, 9, 17, 28, 31, 43, 55, 61}
    for language in LANGUAGES:
        assert set(_listed("filling", language, COMING[language])) == late


def test_the_time_that_is_told_holds_in_the_world_that_was_simulated():
    """The last channel comes after 2608 s of exposure (truth.toml); 984 s were proved when the letter was made."""
    zone = ZoneInfo("America/Chicago")
    found = findings_of("filling").entitlement
    now = datetime.fromisoformat(findings_of("filling").verdict.as_of).astimezone(zone).replace(tzinfo=None)
    comes = now + timedelta(seconds=max(truth("filling")["arrival_s"].values()) - found.exposure_s)
    latest = now + timedelta(seconds=found.remaining_to_last_s.p95)
    for language in LANGUAGES:
        text = body(letter("filling", "customer", language), language)
        day, clock = re.search(rf"(\d+)\D{{1,5}}{MONTHS[language]} (?:de )?2031(?: à|,) (\d\d:\d\d)", text).groups()
        told = datetime.fromisoformat(f"2031-09-{int(day):02d}T{clock}:00")
        assert comes <= told
        assert latest <= told <= latest + timedelta(minutes=10)


def test_channels_that_play_are_counted_as_the_log_has_them():
    for name in ("filling", "complete", "partial-package", "account-lapsed"):
        last = {}
        for row in job_of(name).select("channel").itertuples():
            last[int(row.subject)] = row.value
        free = {line.channel for line in job_of(name).lineup if line.is_open}
        plays = {channel for channel, value in last.items() if value == "authorised"} - free
        text = value_of(letter(name, "provider", "en"), "Authorised when last checked")
        assert set(channels_in(text, job_of(name), "en")) == plays


# --- how channels are written ------------------------------------------------------------------------------------


def _job(numbers, name="Demo"):
    lines = [f"{channel},{name} {chr(65 + k % 26)},Rock,all" for k, channel in enumerate(numbers)]
    return make_job("0:00 power receiver awake", lineup="\n".join(lines))


def test_few_channels_have_their_names_and_many_become_ranges():
    job = _job(range(2, 62, 2))
    assert plain(names_text([2, 4], job)) == "2 Demo A and 4 Demo B"
    assert plain(names_text(range(2, 42, 2), job)) == "2 Demo A to 40 Demo T"
    assert plain(names_text([*range(2, 32, 2), 40], job)) == "2 Demo A to 30 Demo O and 40 Demo T"


def test_a_range_never_runs_over_a_channel_that_is_not_in_it():
    job = _job(range(1, 101))
    told = [channel for channel in range(1, 101) if channel % 7]
    runs = runs_of(told, job)
    assert sorted(channel for run in runs for channel in run) == told
    assert set(channels_in(numbers_text(told, job), job, "en")) == set(told)


def test_neighbours_without_a_line_up_are_neighbouring_numbers():
    job = make_job("0:00 power receiver awake")
    assert numbers_text([3, 4, 5, 9], job) == "3 to 5 and 9"
    assert numbers_text([3, 4, 9], job) == "3, 4 and 9"


def test_a_very_long_list_says_how_many_more_there_are():
    told = list(range(1, 201, 2))
    text = numbers_text(told, make_job("0:00 power receiver awake"))
    assert text.endswith("79 and 60 more")


def test_long_names_are_cut():
    job = _job([7, 9], name="A very long name of a channel that would not fit")
    assert plain(names_text([7], job)) == "7 A very long name of a chann…"


def test_numbers_alone_never_hide_gaps_behind_a_range_of_our_line_up():
    job = _job(range(2, 62, 3))
    assert numbers_text([5, 8, 11, 14], job) == "5, 8, 11 and 14"  # who reads it may have channels 6 and 7
