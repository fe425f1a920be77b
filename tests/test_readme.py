"""README and contributors' guide say what is so: the first screen, the commands, the Python floor, the rooms."""

import re
import tomllib
from pathlib import Path

from click.testing import CliRunner

import satdiag.cli as command_line

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")


def test_the_first_screen_is_what_the_demo_prints(monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    shown = README.split("```\n$ python scripts/demo.py\n")[1].split("\nTake care")[0]
    result = CliRunner().invoke(command_line.cli, ["analyse", str(ROOT / "sample_logs" / "filling")], obj={})
    assert result.exit_code == 0
    assert result.stdout.startswith(shown.rstrip())


def test_first_paragraph_then_limits_then_cautions():
    headings = re.findall(r"^## (.*)$", README, re.MULTILINE)
    assert headings[:2] == ["What this cannot tell you", "Before you touch the vehicle"]
    assert "prove" in README.split("```")[0]


def test_the_python_floor_is_one():
    floor = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["requires-python"]
    assert f"Python {floor.removeprefix('>=')} or newer" in README


def test_the_house_is_described_whole():
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    rooms = [path.name for path in (ROOT / "satdiag").iterdir() if path.is_dir() and not path.name.startswith("__")]
    assert [room for room in rooms if f"`{room}/`" not in guide] == []
    modules = [path.name for path in (ROOT / "satdiag").glob("*.py") if not path.name.startswith("__")]
    assert [name for name in modules if f"`{name}`" not in guide] == []
