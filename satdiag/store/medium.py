"""Where a job file may be recorded into: not on a network drive, not in a folder that a service keeps in step.

A write-ahead log needs memory that all its users share, which no network drive gives (https://sqlite.org/wal.html),
and a service that copies the file while it is written copies halves of it.
"""

from __future__ import annotations

import ntpath
import os
import re
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NamedTuple

from satdiag.errors import StoreProblem

_NETWORK = re.compile(
    r"nfs\d?|cifs|smb\d?|smbfs|smb3|ncpfs?|afs|afpfs|auristorfs|9p|coda|ceph|lustre|gpfs|beegfs\w*|orangefs|pvfs2|webdav|"
    r"davfs2?|vboxsf|prl_fs|"
    r"fuse\.(sshfs|s3fs|rclone|gvfsd-fuse|davfs2?|glusterfs|ceph\S*|curlftpfs|smbnetfs|vmhgfs-fuse|juicefs|goofys)"
)
"""Types of file systems that reach over a network or out of a virtual machine, as Linux and macOS name them."""

_DRIVE_REMOTE = 4  # GetDriveTypeW, fileapi.h


class _Service(NamedTuple):
    """How a synchronised folder is known: by its name, by what lies in it, by a variable that names it."""

    name: str
    folder: str
    markers: tuple[str, ...] = ()
    variables: tuple[str, ...] = ()


_SERVICES = (
    _Service("OneDrive", r"OneDrive(( - |-).+)?", (), ("OneDrive", "OneDriveCommercial", "OneDriveConsumer")),
    _Service("Dropbox", r"Dropbox( \(.+\))?", (".dropbox.cache",)),
    _Service("Google Drive", r"Google ?Drive(-.+)?|My Drive", (".tmp.drivedownload", ".tmp.driveupload")),
    _Service("iCloud Drive", r"iCloud ?Drive|com~apple~CloudDocs|Mobile Documents"),
    _Service("Nextcloud", r"Nextcloud\d?", (".nextcloudsync.log", ".sync_*.db")),
    _Service("ownCloud", r"ownCloud\d?", (".owncloudsync.log", "._sync_*.db")),
    _Service("Syncthing", r"Syncthing", (".stfolder",)),
    _Service("Resilio Sync", r"Resilio ?Sync", (".sync/ID",)),
    _Service("Box", r"Box[ -](Sync|Box)"),
    _Service("MEGA", r"MEGA(sync)?", (".megaignore",)),
    _Service("Seafile", r"Seafile"),
    _Service("pCloud", r"pCloud ?(Drive|Sync)"),
    _Service("Proton Drive", r"Proton ?Drive(-.+)?"),
    _Service("a cloud service", r"CloudStorage"),
)
"""The only place that names such services."""

_INSTEAD = (
    "Record into a file in a folder of this computer; then copy the finished file there, or give it out with "
    "`satdiag export`."
)


def check_medium(
    place: Path, mounts: str | None = None, environment: Mapping[str, str] | None = None, system: str = sys.platform
) -> None:
    """See that a file may be recorded into where it lies. Raises StoreProblem that says what to do instead.

    `mounts` is the system's table of mounted file systems, `environment` its variables; both default to this
    computer's.
    """
    real = os.path.realpath(place)
    if found := network_drive(real, _mounts(system) if mounts is None else mounts, system):
        raise StoreProblem(f"{place}: it lies on a network drive ({found}); rows can get lost there. {_INSTEAD}")
    if service := synchronising_service(Path(real), os.environ if environment is None else environment):
        what = f"it lies in a folder that {service} keeps in step; that breaks a file that is being written"
        raise StoreProblem(f"{place}: {what}. {_INSTEAD}")
    check_writable(place)


def check_writable(place: Path) -> None:
    """See that a file, which need not be there yet, and its folder may be written. Raises StoreProblem."""
    folder = Path(os.path.realpath(place)).parent
    if _is_read_only(folder):
        what, mend = "its medium can only be read", "Copy the file into a folder of this computer and use that copy."
    elif not folder.is_dir():
        what, mend = f"its folder, {folder}, is not there", "Make that folder, or name another."
    elif place.exists() and not os.access(place, os.W_OK):
        what, mend = "you may not write to the file", "Get the right to, or use a copy."
    elif not os.access(folder, os.W_OK):
        what, mend = f"you may not write in its folder, {folder}", "Get the right to, or use a copy elsewhere."
    else:
        return
    raise StoreProblem(f"{place}: {what}. {mend}")


def _is_read_only(folder: Path) -> bool:
    if sys.platform == "win32":
        return False
    try:
        return bool(os.statvfs(folder).f_flag & os.ST_RDONLY)
    except OSError:
        return False


# --- network drives ------------------------------------------------------------------------------------------------


def network_drive(path: str, mounts: str, system: str = sys.platform) -> str | None:
    """The type of the network drive that an absolute path without links lies on; None if on none, or not known.

    `mounts` is the text of /proc/self/mountinfo on Linux and the output of `mount` on macOS.
    """
    if system == "win32":
        return windows_share(path)
    table = _mountinfo(mounts) if system.startswith("linux") else _mount_output(mounts)
    around = [mount for mount in table if _lies_in(path, mount.point)]
    if not around:
        return None
    innermost = max(enumerate(around), key=lambda entry: (len(entry[1].point), entry[0]))[1]  # later covers earlier
    return f"{innermost.kind}, {innermost.source}" if _NETWORK.fullmatch(innermost.kind) else None


class _Mount(NamedTuple):
    point: str
    kind: str
    source: str


def _lies_in(path: str, point: str) -> bool:
    return path == point or path.startswith(point.rstrip("/") + "/")


def _mountinfo(text: str) -> list[_Mount]:
    """The lines of /proc/self/mountinfo (man 5 proc): ... mount point, options ... '-' type source options."""
    found = []
    for line in text.splitlines():
        before, dash, after = line.partition(" - ")
        left, right = before.split(" "), after.split(" ")
        if dash and len(left) > 4 and len(right) > 1:
            found.append(_Mount(_unescaped(left[4]), right[0], _unescaped(right[1])))
    return found


def _unescaped(text: str) -> str:
    """Blanks and line ends in a mount point are written as octal numbers: `\\040`."""
    return re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), text)


def _mount_output(text: str) -> list[_Mount]:
    """The lines of mount(8) on macOS: 'SOURCE on POINT (TYPE, option, ...)'."""
    found = (re.fullmatch(r"(.+?) on (/.*) \(([^,()]+)[^()]*\)", line) for line in text.splitlines())
    return [_Mount(match[2], match[3].strip(), match[1]) for match in found if match]


def _mounts(system: str) -> str:
    """This computer's table of mounts; blank where it cannot be had."""
    try:
        if system.startswith("linux"):
            return Path("/proc/self/mountinfo").read_text("utf-8", "surrogateescape")
        if system == "darwin":
            command = ["/sbin/mount"]
            return subprocess.run(command, capture_output=True, text=True, timeout=10, check=False).stdout
    except (OSError, subprocess.SubprocessError, UnicodeError):
        pass
    return ""


def windows_share(path: str, drive_type: Callable[[str], int] | None = None) -> str | None:
    """The share or network drive that an absolute Windows path lies on; None if on none."""
    drive = ntpath.splitdrive(path.replace("/", "\\"))[0]
    if drive.upper().startswith("\\\\?\\UNC\\"):
        return drive
    plain = drive.removeprefix("\\\\?\\").removeprefix("\\\\.\\")
    if plain.startswith("\\\\"):
        return drive
    is_remote = bool(plain) and (drive_type or _drive_type)(plain + "\\") == _DRIVE_REMOTE
    return f"drive {plain}" if is_remote else None


def _drive_type(root: str) -> int:
    if sys.platform != "win32":
        return 0
    import ctypes

    return int(ctypes.windll.kernel32.GetDriveTypeW(root))


# --- synchronised folders ------------------------------------------------------------------------------------------


def synchronising_service(place: Path, environment: Mapping[str, str]) -> str | None:
    """The name of the service that keeps one of the folders around a file in step; None if none does."""
    for service in _SERVICES:
        named = [os.path.realpath(text) for name in service.variables if (text := environment.get(name))]
        for folder in place.parents:
            if re.fullmatch(service.folder, folder.name, re.IGNORECASE) or str(folder) in named:
                return service.name
            if any(_holds(folder, marker) for marker in service.markers):
                return service.name
    return None


def _holds(folder: Path, marker: str) -> bool:
    try:
        return any(True for _ in folder.glob(marker))
    except OSError:
        return False
