"""The committed sample logs are what the script makes."""

from __future__ import annotations

import importlib.util
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_logs"


def script():
    """scripts/make_sample_logs.py as a module."""
    spec = importlib.util.spec_from_file_location("make_sample_logs", ROOT / "scripts" / "make_sample_logs.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def contents(folder: Path) -> dict[str, bytes]:
    """Every file under a folder by its relative name."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_script_repeats_itself_and_clears_stale_files(tmp_path, capsys):
    make = script()
    assert make.main(["--seed", "3", "--to", str(tmp_path)]) == 0
    first = contents(tmp_path)
    (tmp_path / "filling" / "old.csv").write_text("left over")
    assert make.main(["--seed", "3", "--to", str(tmp_path)]) == 0
    assert contents(tmp_path) == first
    assert "filling" in capsys.readouterr().out
    assert b"naive_times" in first[f"{make.NAIVE}/job.toml"]


@pytest.mark.skipif(not SAMPLES.is_dir(), reason="installed without the sample logs")
@pytest.mark.skipif(sys.platform != "linux", reason="another C library may round a logarithm's last bit otherwise")
def test_samples_are_what_the_script_makes(tmp_path):
    seed = tomllib.loads((SAMPLES / "filling" / "truth.toml").read_text("utf-8"))["seed"]
    assert script().main(["--seed", str(seed), "--to", str(tmp_path)]) == 0
    made = contents(tmp_path)
    assert len({name.split("/")[0] for name in made}) >= 15
    kept = {
        name: data
        for name, data in contents(SAMPLES).items()
        if name.split("/")[0] in {n.split("/")[0] for n in made}
    }
    assert kept == made
