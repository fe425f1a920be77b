"""What the verdict says while a visit goes on: a log ends when somebody looks, which must not count as a sign.

Simulated logs prove the code against our own model only.
"""

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

import satdiag

SAMPLES = Path(__file__).parents[2] / "sample_logs"


def verdict_after(sample, share):
    job = satdiag.open_job(SAMPLES / sample)
    so_far = job.rows[: int(share * len(job.rows))]
    return satdiag.analyse(replace(job, rows=tuple(row for row in so_far if row.kind != "withdraw"))).verdict


@pytest.mark.parametrize("share", [0.1, 0.3, 0.35, 0.5, 0.7])
def test_who_looks_while_the_channels_come_is_told_that_they_come(share):
    verdict = verdict_after("filling", share)
    assert (verdict.state, verdict.class_) == ("filling", "none")


def test_a_silence_of_hours_is_no_longer_waiting():
    verdict = verdict_after("wrong-id", 0.6)
    assert (verdict.state, verdict.class_) == ("fault", "subscription")


@pytest.mark.long
@pytest.mark.parametrize("share", [0.15, 0.3, 0.45, 0.6, 0.75, 0.9])
def test_no_sample_is_called_surely_something_else_at_any_time(share):
    for place in sorted(path for path in SAMPLES.iterdir() if (path / "truth.toml").is_file()):
        truth = tomllib.loads((place / "truth.toml").read_text("utf-8"))
        verdict = verdict_after(place.name, share)
        assert not verdict.sure or verdict.class_ == truth["class"], place.name
