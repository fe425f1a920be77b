"""The report is written whole or not at all."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from satdiag.errors import SatdiagError
from satdiag.report import placing, report_html, write_report
from tests.report import made

OLD = "<!doctype html><p>old"


def _write(place: Path) -> None:
    write_report(place, made.bare_job(), made.empty_findings())


def test_the_file_holds_the_report(tmp_path):
    _write(tmp_path / "report.html")
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert text == report_html(made.bare_job(), made.empty_findings())
    assert os.listdir(tmp_path) == ["report.html"]


def test_an_old_report_is_replaced_and_keeps_its_rights(tmp_path):
    place = tmp_path / "report.html"
    place.write_text(OLD)
    place.chmod(0o640)
    _write(place)
    assert place.read_text(encoding="utf-8").startswith("<!DOCTYPE html>\n<html lang=")
    assert stat.S_IMODE(place.stat().st_mode) == 0o640


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(SatdiagError, match="this is a folder"):
        _write(tmp_path)


def test_a_place_without_a_folder_is_refused(tmp_path):
    with pytest.raises(SatdiagError, match="there is no folder"):
        _write(tmp_path / "none" / "report.html")
    assert not os.listdir(tmp_path)


def test_a_file_that_is_no_page_is_not_written_over(tmp_path):
    place = tmp_path / "job.satjob"
    place.write_bytes(b"SQLite format 3\x00")
    with pytest.raises(SatdiagError, match="is no web page, and is not written over"):
        _write(place)
    assert place.read_bytes() == b"SQLite format 3\x00"


@pytest.mark.skipif(not Path("/dev/null").exists(), reason="this system has no /dev/null")
def test_a_device_is_not_written_over():
    with pytest.raises(SatdiagError, match="is no web page"):
        _write(Path("/dev/null"))


def test_a_link_stays_a_link(tmp_path):
    target, link = tmp_path / "real.html", tmp_path / "report.html"
    target.touch()
    try:
        link.symlink_to(target)
    except OSError:
        pytest.skip("this system lets this user make no links")
    _write(link)
    assert link.is_symlink()
    assert target.stat().st_size > 1000


def test_a_failed_write_leaves_the_old_report(tmp_path, monkeypatch):
    place = tmp_path / "report.html"
    place.write_text(OLD)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(placing, "sync", full)
    with pytest.raises(SatdiagError, match=r"cannot be written \(No space left on device\)"):
        _write(place)
    assert place.read_text() == OLD
    assert os.listdir(tmp_path) == ["report.html"]
