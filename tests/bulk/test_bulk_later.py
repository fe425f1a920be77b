"""A job with one more row is the same whether what was known of the others is taken over or worked out again."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import satdiag
from satdiag.bulk import ColumnRows, columns_of_rows
from satdiag.job import Job
from satdiag.rows import Row

ROOT = Path(__file__).parents[2]
SAMPLES = sorted(path.name for path in (ROOT / "sample_logs").iterdir() if path.is_dir())
NEXT = [("ring", "bus", "open", ""), ("bias", "current", "48.5", "mA"), ("signal", "demo-path", "7.5", "dB")]


def later(job: Job, said: tuple[str, str, str, str]) -> Row:
    """A row a minute after the last one."""
    last = job.instant(job.end_s) + np.timedelta64(60, "s")
    return Row(f"{np.datetime_as_string(last, unit='us')}Z", *said)


def by_column(job: Job) -> Job:
    return replace(job, rows=columns_of_rows(job.rows))


@pytest.mark.parametrize("laid", [by_column, lambda job: replace(job, rows=tuple(job.rows))], ids=["column", "row"])
@pytest.mark.parametrize("name", SAMPLES)
def test_a_later_row_gives_the_log_that_all_rows_give(name, laid):
    job = laid(satdiag.open_job(ROOT / "sample_logs" / name))
    kinds = sorted(set(job.log["kind"]))
    for kind in kinds:
        job.select(kind)
    for said in NEXT:
        row = later(job, said)
        found, anew = job.followed_by(row), replace(job, rows=(*job.rows, row))
        assert isinstance(found.rows, ColumnRows) == isinstance(job.rows, ColumnRows)
        pd.testing.assert_frame_equal(found.log, anew.log)
        pd.testing.assert_frame_equal(found.observations, anew.observations)
        for kind in {*kinds, said[0]}:
            told, expected = (one.select(kind).reset_index(drop=True) for one in (found, anew))
            pd.testing.assert_frame_equal(told, expected, check_categorical=False)
            assert told["row"].tolist() == expected["row"].tolist()
        assert (found.end_s, found.start, found.visits) == (anew.end_s, anew.start, anew.visits)


def test_a_row_after_none_is_the_first():
    job = replace(satdiag.open_job(ROOT / "sample_logs" / SAMPLES[0]), rows=())
    row = Row("2031-05-03T13:40:00Z", "ring", "bus", "open")
    pd.testing.assert_frame_equal(job.followed_by(row).log, replace(job, rows=(row,)).log)
