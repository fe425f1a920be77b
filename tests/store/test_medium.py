"""Where a file may be recorded into: network drives, synchronised folders and media that can only be read."""

import os
import shutil
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest

from satdiag.errors import StoreProblem
from satdiag.store import append_rows, check_job_file, create_job_file, open_live, read_job_file
from satdiag.store.medium import check_medium, network_drive, synchronising_service, windows_share
from tests.helpers import make_job, make_row
from tests.store.files import batch, names, read_only, recorded, small_disk

# The first line is the example of man 5 proc; the others are made in its form.
MOUNTINFO = r"""
36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
25 1 253:0 / / rw,relatime shared:1 - ext4 /dev/vda rw
26 25 0:22 / /home/demo/share rw - cifs //server/share rw,vers=3.0
27 25 0:23 / /home/demo/share/stick rw - ext4 /dev/sdb1 rw
28 25 0:24 / /srv/with\040blank rw shared:7 master:2 - nfs4 server:/export rw
29 25 0:25 / /media/far rw - fuse.sshfs demo@server: rw
30 25 0:26 / /media/far rw - ext4 /dev/sdc1 rw
31 25 0:27 / /mnt/host rw - 9p drvfs rw
32 25 0:28 / /tmp rw - tmpfs tmpfs rw
half a line
"""

# In the form of mount(8) on macOS, from memory.
MOUNT = """
/dev/disk3s1s1 on / (apfs, sealed, local, read-only, journaled)
/dev/disk3s5 on /System/Volumes/Data (apfs, local, journaled, nobrowse, protect)
//demo@server/share on /Volumes/share (smbfs, nodev, nosuid, mounted by demo)
server:/export on /Volumes/a place (with brackets) (nfs, asynchronous)
/dev/disk4s1 on /Volumes/STICK (msdos, local, nodev, nosuid, noowners)
"""


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("/mnt2/a.satjob", None),
        ("/home/demo/a.satjob", None),
        ("/home/demo/share/a.satjob", "cifs, //server/share"),
        ("/home/demo/share/deep/down/a.satjob", "cifs, //server/share"),
        ("/home/demo/shared/a.satjob", None),
        ("/home/demo/share/stick/a.satjob", None),
        ("/srv/with blank/a.satjob", "nfs4, server:/export"),
        ("/media/far/a.satjob", None),  # the later mount lies over the earlier one
        ("/mnt/host/a.satjob", "9p, drvfs"),
        ("/tmp/a.satjob", None),
    ],
)
def test_network_drives_of_linux(path, found):
    assert network_drive(path, MOUNTINFO, "linux") == found


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("/Users/demo/a.satjob", None),
        ("/Volumes/share/a.satjob", "smbfs, //demo@server/share"),
        ("/Volumes/a place (with brackets)/a.satjob", "nfs, server:/export"),
        ("/Volumes/STICK/a.satjob", None),
    ],
)
def test_network_drives_of_macos(path, found):
    assert network_drive(path, MOUNT, "darwin") == found


@pytest.mark.parametrize(
    ("path", "found"),
    [
        (r"C:\jobs\a.satjob", None),
        (r"Z:\jobs\a.satjob", "drive Z:"),
        (r"\\?\C:\jobs\a.satjob", None),
        (r"\\server\share\a.satjob", r"\\server\share"),
        ("//server/share/a.satjob", r"\\server\share"),
    ],
)
def test_network_drives_of_windows(path, found):
    """2 is a removable drive, 3 a fixed one, 4 a remote one: GetDriveTypeW, fileapi.h, from memory."""
    assert windows_share(path, {"C:\\": 3, "Z:\\": 4}.__getitem__) == found


def test_a_share_by_its_long_name_is_one():
    assert windows_share(r"\\?\UNC\server\share\a.satjob", lambda _: 3) is not None


def test_without_a_table_nothing_is_claimed():
    assert network_drive("/home/demo/a.satjob", "", "linux") is None
    assert network_drive("/home/demo/a.satjob", "nonsense\n - \n", "linux") is None
    assert network_drive("/home/demo/a.satjob", "", "freebsd14") is None


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_this_computer_s_own_table_is_understood(tmp_path):
    """The innermost mount of the temporary folder is the one that the system finds by its device number."""
    from satdiag.store.medium import _lies_in, _mountinfo

    table = _mountinfo(Path("/proc/self/mountinfo").read_text())
    around = [mount for mount in table if _lies_in(os.path.realpath(tmp_path), mount.point)]
    assert around
    assert os.stat(max(around, key=lambda mount: len(mount.point)).point).st_dev == os.stat(tmp_path).st_dev
    check_medium(tmp_path)


@pytest.mark.parametrize(
    ("folders", "marker", "found"),
    [
        ("jobs", None, None),
        ("Dropbox/jobs", None, "Dropbox"),
        ("dropbox (demo garage)/jobs", None, "Dropbox"),
        ("my dropbox notes", None, None),
        ("OneDrive - Demo Garage/jobs", None, "OneDrive"),
        ("Google Drive", None, "Google Drive"),
        ("Library/Mobile Documents/com~apple~CloudDocs", None, "iCloud Drive"),
        ("Library/CloudStorage/Box-Box", None, "Box"),
        ("Library/CloudStorage/Other-demo", None, "a cloud service"),
        ("work/jobs", "work/.stfolder", "Syncthing"),
        ("work/jobs", "work/.dropbox.cache", "Dropbox"),
        ("work/jobs", "work/.sync_0123456789ab.db", "Nextcloud"),
        ("work/jobs", "work/.sync/ID", "Resilio Sync"),
        ("work/jobs", "other/.stfolder", None),
    ],
)
def test_synchronised_folders(tmp_path, folders, marker, found):
    folder = tmp_path / folders
    folder.mkdir(parents=True)
    if marker:
        (tmp_path / marker).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / marker).write_bytes(b"")
    assert synchronising_service(folder / "a.satjob", {}) == found


def test_a_variable_names_a_synchronised_folder(tmp_path):
    (tmp_path / "work").mkdir()
    place = tmp_path.resolve() / "work" / "a.satjob"
    assert synchronising_service(place, {"OneDriveCommercial": str(tmp_path)}) == "OneDrive"
    assert synchronising_service(place, {"OneDriveCommercial": str(tmp_path / "other")}) is None
    assert synchronising_service(place, {"OneDrive": ""}) is None


def test_recording_is_refused_there_and_a_note_is_not(tmp_path):
    place = tmp_path / "Nextcloud" / "demo.satjob"
    create_job_file(place, make_job("0:00 account service confirmed"))
    with pytest.raises(StoreProblem, match=r"Nextcloud keeps in step.*Record into a file in a folder of this"):
        open_live(place)
    append_rows(place, [make_row("1:00 power receiver off")])
    assert len(read_job_file(place).rows) == 2
    assert names(place) == ["demo.satjob"]


def test_a_network_drive_is_refused_with_a_way_out(tmp_path):
    place = tmp_path / "demo.satjob"
    create_job_file(place, make_job("0:00 account service confirmed"))
    table = f"1 0 0:1 / {os.path.realpath(tmp_path)} rw - nfs4 server:/export rw\n"
    with pytest.raises(StoreProblem, match=r"network drive \(nfs4, server:/export\).*satdiag export"):
        check_medium(place, table, {}, "linux")
    check_medium(place, "", {}, "linux")


@pytest.mark.parametrize(
    ("forbidden", "said"),
    [("demo.satjob", "you may not write to the file"), ("locked up", "you may not write in its folder")],
)
def test_without_the_right_to_write_it_says_so(tmp_path, monkeypatch, forbidden, said):
    """The rights are made up: whoever runs the tests as root has them all."""
    place = tmp_path / "locked up" / "demo.satjob"
    create_job_file(place, make_job("0:00 account service confirmed"))
    allowed = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path).name != forbidden and allowed(path, mode))
    for attempt in (open_live, lambda path: append_rows(path, [make_row("1:00 power receiver off")])):
        with pytest.raises(StoreProblem, match=said):
            attempt(place)
    assert names(place) == ["demo.satjob"]


@pytest.fixture
def disk(tmp_path):
    folder = tmp_path / "disk"
    folder.mkdir()
    with small_disk(folder) as mounted:
        yield mounted


def test_a_medium_that_can_only_be_read(disk):
    place = disk / "demo.satjob"
    create_job_file(place, make_job("0:00 account service confirmed"))
    with open_live(place) as live:
        live.append(*batch(1, 5))
    read_only(disk)
    assert recorded(read_job_file(place)) == 5
    assert check_job_file(place) == []
    for attempt in (open_live, lambda path: append_rows(path, [make_row("1:00 power receiver off")])):
        with pytest.raises(StoreProblem, match=r"its medium can only be read\. Copy the file"):
            attempt(place)
    assert names(place) == ["demo.satjob"]


@pytest.fixture
def cut_off(tmp_path):
    """The three files of a recording of 30 rows as a kill leaves them."""
    (tmp_path / "live").mkdir()
    (tmp_path / "cut off").mkdir()
    place = tmp_path / "live" / "demo.satjob"
    create_job_file(place, make_job("0:00 account service confirmed"))
    with open_live(place) as live:
        live.begin("r1", "2031-05-03T14:00:00Z")
        live.append(*batch(1, 30))
        for end in ("", "-wal", "-shm"):
            shutil.copy(f"{place}{end}", tmp_path / "cut off")
    return tmp_path / "cut off" / "demo.satjob"


@pytest.mark.parametrize(("ends", "count"), [(("", "-wal"), 30), (("",), 0)], ids=["with its log", "the file alone"])
def test_a_recording_that_was_cut_off_on_a_medium_that_can_only_be_read(disk, cut_off, tmp_path, ends, count):
    """What only the log holds is never silently left out."""
    for end in ends:
        shutil.copy(f"{cut_off}{end}", disk)
    read_only(disk)
    for attempt in (read_job_file, check_job_file):
        with pytest.raises(StoreProblem, match=r"not folded into it yet.*demo\.satjob-wal.*a folder on this"):
            attempt(disk / "demo.satjob")
    back = tmp_path / "back"
    back.mkdir()
    for end in ends:
        shutil.copy(f"{disk}/demo.satjob{end}", back)
    assert recorded(read_job_file(back / "demo.satjob")) == count


def test_all_three_files_on_a_medium_that_can_only_be_read_are_read_in_full(disk, cut_off):
    for end in ("", "-wal", "-shm"):
        shutil.copy(f"{cut_off}{end}", disk)
    read_only(disk)
    assert recorded(read_job_file(disk / "demo.satjob")) == 30


def test_a_half_done_write_on_a_medium_that_can_only_be_read(disk):
    place = disk / "demo.satjob"
    create_job_file(place, make_job("0:00 account service confirmed", documents={"raw.jsonl": bytes(200_000)}))
    with closing(sqlite3.connect(place, isolation_level=None)) as connection:
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("UPDATE documents SET bytes = randomblob(200000) WHERE name = 'raw.jsonl'")
        images = {path.name: path.read_bytes() for path in disk.iterdir()}
        connection.execute("ROLLBACK")
    assert sorted(images) == ["demo.satjob", "demo.satjob-journal"]
    for name, data in images.items():
        (disk / name).write_bytes(data)
    read_only(disk)
    with pytest.raises(StoreProblem, match=r"not folded into it yet"):
        read_job_file(place)
