"""The rows of a job thinned all at once, against one row after another: the same in every part, for all logs."""

from pathlib import Path
from random import Random

import pytest

from satdiag.opening import open_job
from satdiag.recorder.clock import time_text
from satdiag.recorder.thin_log import ThinLog
from satdiag.recorder.thinning import BEFORE
from satdiag.rows import Row
from satdiag.sheet import parse_sheet
from tests.recorder.test_thin_log import SAMPLES, START_NS, whole

FLOOR = parse_sheet('[job]\nid = "test-job"\n[receiver]\nlevel_scale = "dB"\nlevel_floor = 2.0\n')


def one_by_one(job, **more):
    """The job's rows taken as a recorder takes rows, each in its turn."""
    thin, log = ThinLog(job.sheet, **more), job.log
    at_us = log["at"].to_numpy().astype("datetime64[us]").astype("int64").tolist()
    texts = [log[name].tolist() for name in ("kind", "subject", "value", "unit", "source", "span_s", "id")]
    for t_us, kind, subject, value, unit, source, span_s, identifier in zip(at_us, *texts, strict=True):
        time = time_text(t_us * 1000) if kind == "signal" else ""
        thin._take(Row(time, kind, subject, value, unit, source, "", f"{span_s:f}", id=identifier), BEFORE, t_us)
    thin._fold_old()
    return thin


def parts(thin):
    """Everything that a thinned log holds, in a form that can be compared."""
    told = {
        name: value for name, value in vars(thin).items() if name not in ("_sheet", "_seen", "_recent", "_gap_starts")
    }
    recent = {line: sorted(heap) for line, heap in thin._recent.items()}
    starts = {line: sorted(heap) for line, heap in thin._gap_starts.items() if heap}
    seen = {
        name: list(value.items()) if isinstance(value, dict) else value for name, value in vars(thin._seen).items()
    }
    return told | {"_recent": recent, "_gap_starts": starts, "_seen": seen}


def assert_alike(job, **more):
    """Thinned both ways it comes to the same, and goes on to be the same."""
    at_once, in_turn = ThinLog.of_job(job, **more), one_by_one(job, **more)
    expected = parts(in_turn)
    for name, value in parts(at_once).items():
        assert value == expected[name], name
    assert at_once.exposure() == in_turn.exposure()
    assert (at_once.channels(), at_once.levels()) == (in_turn.channels(), in_turn.levels())


@pytest.mark.parametrize("folder", SAMPLES, ids=lambda folder: Path(folder).name)
def test_the_sample_logs_are_thinned_alike(folder):
    assert_alike(open_job(folder))


SAYS = [
    *(
        ("signal", path, level, "dB")
        for path in ("satellite:east", "repeater")
        for level in ("1.0", "5.0", "unreadable")
    ),
    *(("lock", path, state, "") for path in ("satellite:east", "any") for state in ("yes", "no")),
    *(("power", "receiver", state, "") for state in ("awake", "standby", "off")),
    *(("channel", n, state, "") for n in "123" for state in ("authorised", "refused", "missing", "no-signal")),
    *(("tune", "4", mark, "") for mark in ("requested", "audio", "title", "refused")),
    *(("audio", "output", state, "") for state in ("playing", "muted")),
    ("reset", "receiver", "seen", ""),
    ("swap", "receiver", "same", ""),
    ("account", "service", "confirmed", ""),
    ("note", "", "demo", ""),
    ("ring", "bus", "lost", ""),
]


def made_up(draw, count, step_s, often):
    """Rows at random: some of one instant, by hand or from sources, with gaps that follow one another or do not.

    `often`: how likely the row before is said again, so that there is much to leave out.
    """
    rows, t_ms, said, gap_ms = [], 0, draw.choice(SAYS), 0
    for n in range(count):
        t_ms += draw.choice([0, 1, 1000, round(1000 * step_s * draw.random()), round(1000 * step_s)])
        at, source = time_text(START_NS + t_ms * 10**6), draw.choice(["serial:a", "serial:a", "serial:b", "hand"])
        if draw.random() < 0.04:
            span_ms = draw.choice([t_ms - gap_ms, 5000, round(1000 * step_s), 900_000])
            span = f"{max(0, span_ms) / 1000:.3f}"
            rows.append(
                Row(at, "gap", draw.choice(["serial:a", "serial:b"]), "lost", "", source, "", span, id=f"r-{n}")
            )
            gap_ms = t_ms
            continue
        said = said if draw.random() < often else draw.choice(SAYS)
        span = "30.000" if said[0] == "channel" and draw.random() < 0.2 else ""
        rows.append(Row(at, *said, source, "", span, id=f"r-{n}"))
    return rows


@pytest.mark.parametrize("seed", range(20))
def test_made_up_logs_are_thinned_alike(seed):
    draw = Random(seed)
    rows = made_up(draw, draw.choice([1, 2, 30, 300]), draw.choice([0.5, 20.0, 120.0]), draw.choice([0.0, 0.6, 0.95]))
    assert_alike(whole(rows, FLOOR), fold_over=draw.choice([10, 40_000]))


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1000, 1200))
def test_many_long_made_up_logs_are_thinned_alike(seed):
    draw = Random(seed)
    rows = made_up(draw, 3000, draw.choice([0.1, 0.5, 20.0, 120.0]), draw.choice([0.0, 0.6, 0.95, 0.99]))
    assert_alike(whole(rows, FLOOR), fold_over=draw.choice([10, 300, 40_000]))


def test_a_log_without_rows_is_nothing():
    assert_alike(whole([]))
