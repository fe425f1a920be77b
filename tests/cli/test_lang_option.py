"""Commands for one part of the vehicle speak Spanish and French too, and leave the language as it was behind them."""

import re
import shutil

import pytest

from satdiag.cli import run
from satdiag.language import spoken
from tests.sample_findings import ROOT

ENGLISH = re.compile(r"\b(?:the|and|is|was|are|with|which|where|there|only|from|not)\b")


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder with two samples."""
    place = tmp_path_factory.mktemp("languages")
    for name in ("filling", "antenna-open"):
        shutil.copytree(ROOT / name, place / name)
    assert run(["ring", "new", str(place / "ring.toml")]) == 0
    return place


COMMANDS = {
    "checklist filling": (0, "El registro demuestra", "Le relevé prouve"),
    "sky --at 41.2,-96.1 --constellation demo-pair --day 2031-05-03": (0, "3 de mayo de 2031", "3 mai 2031"),
    "feed antenna-open": (0, "alimentación de la antena", "alimentation de l'antenne"),
    "battery --start-percent 80": (0, "La carga baja del 80 %", "La charge passe de 80\u202f%"),
    "cable --type rg-174 --length 5 --return-loss 20": (
        0,
        "pérdida en un sentido: 8,0 dB",
        "perte dans un sens\u202f: 8,0 dB",
    ),
    "feed --rise": (0, "Lo que resulta", "Ce qui en résulte"),
    "ring check ring.toml": (1, "No se sabe", "Inconnu"),
    "ring plan ring.toml": (1, "anillo", "anneau"),
    "ring break ring.toml --position amplifier=1 --position receiver=2": (0, "anillo", "anneau"),
}


@pytest.mark.parametrize("language", ["es", "fr"])
@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_speaks_the_language_asked_for(line, language, place, monkeypatch, capsys):
    monkeypatch.chdir(place)
    code, spanish, french = COMMANDS[line]
    assert run([*line.split(), "--lang", language]) == code
    said = capsys.readouterr().out
    assert (spanish if language == "es" else french) in said
    plain = re.sub(r"satdiag [a-z ]+|\S+\.toml", "", said)
    assert ENGLISH.findall(plain) == []
    assert spoken() == "en"


def test_the_language_may_stand_in_the_environment(place, monkeypatch, capsys):
    monkeypatch.chdir(place)
    monkeypatch.setenv("SATDIAG_LANG", "fr")
    assert run(["sky", "filling"]) == 0
    assert "Comment se garer" in capsys.readouterr().out
