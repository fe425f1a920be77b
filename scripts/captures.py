"""Brings real receiver logs for the tests of the GNSS room: the test logs of Debian's source package gpsd (BSD-2).

python scripts/captures.py      into the folder captures, or the one that SATDIAG_CAPTURES names

They come through this machine's own apt client, from the Debian (or Ubuntu) mirror that it is set up with; apt checks
them. Nothing of the machine's set-up is changed, and no other rights are needed. Standard library only.
"""

import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

from _boot import ROOT

PACKAGE = "gpsd"
LOG = re.compile(r"[^/]+/test/daemon/([A-Za-z0-9][A-Za-z0-9._+-]*\.log)")
LICENCE = re.compile(r"[^/]+/COPYING")
TARBALL_BYTES = (1_000_000, 20_000_000)
FILE_BYTES = 5_000_000
ALL_BYTES = 100_000_000
FEWEST_LOGS = 60
STAMP = "BROUGHT"
"""In the folder: the tarball's name, then those of the logs, a line each."""

APT_FOLDER = Path("/etc/apt")
KEPT_FIELDS = ("Signed-By", "Trusted")


def target_folder():
    """Where the logs belong."""
    return Path(os.environ.get("SATDIAG_CAPTURES") or ROOT / "captures")


def logs_there(folder):
    """The names of the logs that an earlier run brought, if all of them are there."""
    stamp = folder / STAMP
    names = stamp.read_text("utf-8").splitlines()[1:] if stamp.is_file() else []
    return names if all((folder / name).is_file() for name in names) else []


def one_line_source(line):
    """A line of sources.list (man sources.list) as address, suite, components, further fields; None if it is none."""
    found = re.fullmatch(r"\s*deb(?:-src)?\s+(?:\[([^\]]*)\]\s+)?(\S+)\s+(\S+)\s+([^#]*[^#\s])\s*(?:#.*)?", line)
    if not found:
        return None
    options = dict(word.split("=", 1) for word in (found[1] or "").split() if "=" in word)
    further = {key: options[key.lower()] for key in KEPT_FIELDS if key.lower() in options}
    return found[2], found[3], found[4].split(), further


def stanza_sources(text):
    """The sources of a deb822 file (man sources.list), one an address and suite, as `one_line_source` has them."""
    found = []
    for stanza in re.split(r"\n[ \t]*\n", re.sub(r"(?m)^#.*\n?", "", text)):
        fields = re.findall(r"(?m)^([A-Za-z-]+):[ \t]*(.*(?:\n[ \t].*)*)", stanza)
        named = {key.lower(): value.rstrip() for key, value in fields}
        if named.get("enabled", "yes").lower() in ("no", "false"):
            continue
        further = {key: named[key.lower()] for key in KEPT_FIELDS if key.lower() in named}
        for address in named.get("uris", "").split():
            for suite in named.get("suites", "").split():
                found.append((address, suite, named.get("components", "").split(), further))
    return found


def apt_sources(apt_folder):
    """All sources that this machine's apt is set up with."""
    lists = [apt_folder / "sources.list", *sorted((apt_folder / "sources.list.d").glob("*.list"))]
    lines = [line for path in lists if path.is_file() for line in path.read_text("utf-8", "replace").splitlines()]
    found = [source for line in lines if (source := one_line_source(line))]
    for path in sorted((apt_folder / "sources.list.d").glob("*.sources")):
        found += stanza_sources(path.read_text("utf-8", "replace"))
    return found


def source_stanzas(sources, codename):
    """What to ask for source packages, as a deb822 text: the release's own suite, its `main` (and `universe`)."""
    stanzas = []
    for address, suite, components, more in [each for each in sources if each[1] == codename] or sources:
        kept = [name for name in components if name in ("main", "universe")]
        fields = {"Types": "deb-src", "URIs": address, "Suites": suite, "Components": " ".join(kept), **more}
        stanza = "".join(f"{key}: {value}\n" for key, value in fields.items())
        if kept and stanza not in stanzas:
            stanzas.append(stanza)
    return "\n".join(stanzas)


def code_name():
    """The name of the installed release, e.g. bookworm; blank if it is not told."""
    try:
        found = re.search(r'(?m)^VERSION_CODENAME="?([\w-]+)', Path("/etc/os-release").read_text("utf-8"))
    except OSError:
        return ""
    return found[1] if found else ""


def run_apt(work, *words):
    """One apt-get with lists, cache and sources of its own below `work`. Ends the program if it fails."""
    settings = {
        "Dir::Etc::sourcelist": work / "none",
        "Dir::Etc::sourceparts": work / "sources",
        "Dir::State::lists": work / "lists",
        "Dir::Cache": work / "cache",
        "Acquire::Languages": "none",
    }
    options = [word for key, value in settings.items() for word in ("-o", f"{key}={value}")]
    done = subprocess.run(["apt-get", "-q", *options, *words], cwd=work / "tarball", capture_output=True, text=True)
    if done.returncode:
        said = (done.stderr or done.stdout).strip()
        sys.exit(f"apt-get {words[0]} failed:\n{said}\nCan the mirror that apt is set up with be reached?")


def fetch_tarball(work):
    """The original tarball of the package, brought by apt into a folder below `work`, as a path."""
    stanzas = source_stanzas(apt_sources(APT_FOLDER), code_name())
    if not stanzas:
        sys.exit(f"{APT_FOLDER} names no source with a component 'main': there is nowhere to ask for {PACKAGE}.")
    for name in ("sources", "lists/partial", "cache/archives/partial", "tarball"):
        (work / name).mkdir(parents=True)
    (work / "sources" / "captures.sources").write_text(stanzas, "utf-8")
    work.chmod(0o755)
    run_apt(work, "update")
    run_apt(work, "source", "--download-only", "--tar-only", "--only-source", PACKAGE)
    found = sorted((work / "tarball").glob(f"{PACKAGE}_*.orig.tar.*"))
    if len(found) != 1:
        sys.exit(f"apt brought {len(found)} tarballs of {PACKAGE}, not one.")
    low, high = TARBALL_BYTES
    if not low <= found[0].stat().st_size <= high:
        sys.exit(f"{found[0].name} has {found[0].stat().st_size} bytes; {low} to {high} were expected.")
    return found[0]


def unpack(tarball, folder):
    """The logs and the licence out of a tarball, as plain files right in `folder`. Returns the names of the logs.

    A name counts only if it matches as a whole, and only its last part is used: nothing can be written elsewhere.
    """
    names, total, licence = [], 0, False
    with tarfile.open(tarball) as archive:
        for member in archive:
            log, is_licence = LOG.fullmatch(member.name), LICENCE.fullmatch(member.name) is not None
            if not (log or is_licence) or not member.isfile():
                continue
            total += member.size
            if member.size > FILE_BYTES or total > ALL_BYTES:
                sys.exit(f"{member.name} is larger than expected ({member.size} bytes); nothing was brought.")
            (folder / (log[1] if log else "COPYING")).write_bytes(archive.extractfile(member).read())
            licence = licence or is_licence
            names += [log[1]] if log else []
    if not licence or len(names) < FEWEST_LOGS:
        found = f"{len(names)} logs and {'a' if licence else 'no'} licence"
        sys.exit(f"{tarball.name} holds {found}, fewer than expected; nothing was brought.")
    return names


def bring(folder):
    """Fetch, unpack, and put in place at the end. Returns the tarball's name and those of the logs."""
    with tempfile.TemporaryDirectory(prefix="satdiag-captures-") as name:
        work = Path(name)
        tarball = fetch_tarball(work)
        ready = work / "ready"
        ready.mkdir()
        names = unpack(tarball, ready)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / STAMP).unlink(missing_ok=True)
        for path in ready.iterdir():
            shutil.copyfile(path, folder / path.name)
        (folder / STAMP).write_text("\n".join([tarball.name, *sorted(names)]) + "\n", "utf-8")
        return tarball.name, names


def main():
    """Bring the logs unless they are there."""
    folder = target_folder()
    names = logs_there(folder)
    if names:
        print(f"{len(names)} logs are in {folder} already.")
        return 0
    if not shutil.which("apt-get"):
        sys.exit("There is no apt-get here: the logs come from Debian's package archive, by its own client.")
    print(f"bringing the receiver logs of the source package {PACKAGE} (about 3 MB, and apt's lists) ...", flush=True)
    tarball, names = bring(folder)
    size = sum((folder / name).stat().st_size for name in names)
    print(
        f"{len(names)} logs, {size / 1e6:.1f} MB, of {tarball} are now in {folder}; their licence is COPYING there."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
