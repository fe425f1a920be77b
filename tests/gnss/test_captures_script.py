"""The script that brings the captures: what it asks apt for, and that it unpacks nothing elsewhere. No network."""

import io
import os
import runpy
import subprocess
import sys
import tarfile
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "scripts" / "captures.py"

# Both forms are those of man sources.list (apt 2.6).
ONE_LINE = """# deb http://never.invalid/x suite main
deb [arch=amd64 signed-by=/keys/demo.gpg] http://mirror.invalid/demo demo-suite main contrib # note
deb-src http://mirror.invalid/demo demo-suite universe
"""
DEB822 = """Types: deb
# an older address
URIs: http://mirror.invalid/demo http://second.invalid/demo
Suites: demo-suite demo-updates
Components: main
Signed-By:
 -----BEGIN PGP PUBLIC KEY BLOCK-----
 .
 AbCd
 -----END PGP PUBLIC KEY BLOCK-----

Enabled: no
Types: deb
URIs: http://off.invalid/demo
Suites: demo-suite
Components: main

Types: deb
URIs: http://third.invalid/tool
Suites: nodistro
Components: main
"""


@pytest.fixture(scope="module")
def script():
    sys.path.insert(0, str(SCRIPT.parent))
    try:
        return runpy.run_path(str(SCRIPT))
    finally:
        sys.path.remove(str(SCRIPT.parent))


@pytest.fixture
def sources(script, tmp_path):
    (tmp_path / "sources.list").write_text(ONE_LINE)
    (tmp_path / "sources.list.d").mkdir()
    (tmp_path / "sources.list.d" / "demo.sources").write_text(DEB822)
    return script["apt_sources"](tmp_path)


def test_both_forms_of_source_lists_are_read(sources):
    assert [each[:2] for each in sources] == [
        ("http://mirror.invalid/demo", "demo-suite"),
        ("http://mirror.invalid/demo", "demo-suite"),
        ("http://mirror.invalid/demo", "demo-suite"),
        ("http://mirror.invalid/demo", "demo-updates"),
        ("http://second.invalid/demo", "demo-suite"),
        ("http://second.invalid/demo", "demo-updates"),
        ("http://third.invalid/tool", "nodistro"),
    ]
    assert sources[0][2:] == (["main", "contrib"], {"Signed-By": "/keys/demo.gpg"})
    assert sources[2][3]["Signed-By"].splitlines()[3:] == [" AbCd", " -----END PGP PUBLIC KEY BLOCK-----"]


def test_only_the_release_itself_is_asked_and_its_key_goes_along(script, sources):
    text = script["source_stanzas"](sources, "demo-suite")
    assert "third.invalid" not in text
    assert "demo-updates" not in text
    assert "contrib" not in text
    assert text.count("Types: deb-src\n") == 4
    assert "Signed-By: /keys/demo.gpg\n" in text
    assert "third.invalid" in script["source_stanzas"](sources, "unheard-of")
    assert script["source_stanzas"]([], "demo-suite") == ""


def _tarball(path, members):
    with tarfile.open(path, "w:xz") as archive:
        for name, data in members:
            info = tarfile.TarInfo(name)
            info.size = len(data)
            archive.addfile(info, io.BytesIO(data))
        link = tarfile.TarInfo("demo-1/test/daemon/link.log")
        link.type, link.linkname = tarfile.SYMTYPE, "/etc/hostname"
        archive.addfile(link)
    return path


def _enough():
    return [("demo-1/COPYING", b"licence"), *((f"demo-1/test/daemon/log-{n}.log", b"$") for n in range(60))]


def test_logs_and_licence_are_unpacked_and_nothing_else(script, tmp_path):
    target = tmp_path / "target"
    target.mkdir()
    evil = [
        ("demo-1/test/daemon/../../../../evil.log", b"x"),
        ("demo-1/test/daemon/sub/evil.log", b"x"),
        ("/demo-1/test/daemon/evil.log", b"x"),
        ("../test/daemon/.evil.log", b"x"),
        ("demo-1/test/daemon/evil.log.chk", b"x"),
        ("demo-1/other/evil.log", b"x"),
    ]
    names = script["unpack"](_tarball(tmp_path / "demo.tar.xz", evil + _enough()), target)
    assert sorted(names) == sorted(f"log-{n}.log" for n in range(60))
    assert sorted(path.name for path in target.iterdir()) == sorted([*names, "COPYING"])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["demo.tar.xz", "target"]


@pytest.mark.parametrize("members", [_enough()[1:], _enough()[:-1], []], ids=["no licence", "a log less", "empty"])
def test_a_tarball_without_what_belongs_in_it_is_refused(script, tmp_path, members):
    with pytest.raises(SystemExit) as refused:
        script["unpack"](_tarball(tmp_path / "demo.tar.xz", members), tmp_path)
    assert "nothing was brought" in str(refused.value)


def test_a_file_that_is_too_large_is_refused(script, tmp_path):
    large = ("demo-1/test/daemon/large.log", bytes(script["FILE_BYTES"] + 1))
    with pytest.raises(SystemExit, match="larger than expected"):
        script["unpack"](_tarball(tmp_path / "demo.tar.xz", [large]), tmp_path)


def test_what_is_there_is_not_brought_again_unless_one_is_missing(script, tmp_path):
    assert script["logs_there"](tmp_path) == []
    (tmp_path / script["STAMP"]).write_text("demo.tar.xz\na.log\nb.log\n")
    (tmp_path / "a.log").write_bytes(b"")
    assert script["logs_there"](tmp_path) == []
    (tmp_path / "b.log").write_bytes(b"")
    assert script["logs_there"](tmp_path) == ["a.log", "b.log"]


def test_without_an_apt_client_it_says_so(tmp_path):
    folder = tmp_path / "captures"
    environment = {**os.environ, "PATH": str(tmp_path), "SATDIAG_CAPTURES": str(folder)}
    done = subprocess.run([sys.executable, SCRIPT], env=environment, capture_output=True, text=True, timeout=60)
    assert done.returncode == 1
    assert "apt-get" in done.stderr
    assert not folder.exists()
