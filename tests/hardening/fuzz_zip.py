"""The parsers of ZIP files: what a person keeps, and the bundle of a hand-over."""

from __future__ import annotations

import hashlib
import io
import json
import re
import warnings
import zipfile
from collections.abc import Callable, Mapping
from functools import cache

from tests.hardening.fuzz_changes import BYTES, JSON, ODD, Operator
from tests.hardening.fuzz_engine import Parser
from tests.hardening.fuzz_files import as_file

_NAMES = (
    *(
        "../x.csv",
        "/x.csv",
        "C:/x.csv",
        "a\\b.csv",
        "lineups/../../x.csv",
        "NUL.csv",
        "lineups/NUL.csv",
        "x" * 300,
        "",
    ),
    *(
        "lineups/",
        "lineups/é.csv",
        "lineups/\u202ex.csv",
        ".hidden",
        "lineups/x.csv",
        "manifest.json",
        "MANIFEST.txt",
    ),
)
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)


def _members(data: bytes) -> list[tuple[str, bytes]]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return [(info.filename, archive.read(info)) for info in archive.infolist() if info.file_size < 10**6][:50]


def _zipped(members: list[tuple[str, bytes]], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    made = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the same name twice
        with zipfile.ZipFile(made, "w", method) as archive:
            for name, data in members:
                archive.writestr(name, data)
    return made.getvalue()


def _member_changed(data: bytes, where: int, what: int) -> bytes:
    """A member's content is changed as a text or as JSON."""

    def change(members: list[tuple[str, bytes]]) -> None:
        at = where % len(members)
        name, content = members[at]
        inner = list(JSON.values())
        members[at] = name, inner[(where >> 8) % len(inner)](content, what, where)

    return _repacked(data, change)


def _member_renamed(data: bytes, where: int, what: int) -> bytes:
    def change(members: list[tuple[str, bytes]]) -> None:
        at = where % len(members)
        members[at] = _NAMES[what % len(_NAMES)], members[at][1]

    return _repacked(data, change)


def _member_more(data: bytes, where: int, what: int) -> bytes:
    def change(members: list[tuple[str, bytes]]) -> None:
        if what % 3:
            members.append((_NAMES[where % len(_NAMES)], ODD[what % len(ODD)].encode("utf-8", "replace")))
        else:
            members.append(members[where % len(members)])

    return _repacked(data, change)


def _member_away(data: bytes, where: int, what: int) -> bytes:
    return _repacked(data, lambda members: members.pop(where % len(members)), _METHODS[what % len(_METHODS)])


def _repacked(
    data: bytes, change: Callable[[list[tuple[str, bytes]]], object], method: int = zipfile.ZIP_DEFLATED
) -> bytes:
    try:
        members = _members(data)
        change(members)
        return _zipped(members, method)
    except (
        zipfile.BadZipFile,
        ValueError,
        IndexError,
        ZeroDivisionError,
        OSError,
        EOFError,
        RuntimeError,
        NotImplementedError,
        zipfile.LargeZipFile,
    ):
        return data
    except Exception as error:
        if type(error).__name__ not in ("error", "LZMAError"):
            raise
        return data


ZIP: Mapping[str, Operator] = {
    **BYTES,
    "member": _member_changed,
    "member-renamed": _member_renamed,
    "member-more": _member_more,
    "member-away": _member_away,
}


def _user_zip(data: bytes) -> str:
    from satdiag.cli.user_cmd import _checks
    from satdiag.user_folder.contents import check_all
    from satdiag.user_folder.places import KINDS
    from satdiag.user_folder.zip_file import unpack

    files = unpack(as_file("user.zip", data), {kind: one.suffix for kind, one in KINDS.items()})
    check_all(files, _checks())
    return f"{min(len(files), 5)} files"


def _user_zips() -> list[bytes]:
    from satdiag.recorder.profile import packaged_profiles, profile_text
    from tests.test_user_folder import GOOD

    text, _ = profile_text(next(iter(packaged_profiles())))
    own = re.sub(r'(?m)^name = ".*"$', 'name = "mine"', text, count=1)
    return [_zipped([*GOOD.items()]), _zipped([("profiles/mine.toml", own.encode())])]


def _bundle(data: bytes) -> str:
    from satdiag.handover.bundle_check import check_bundle

    found = check_bundle(as_file("bundle.zip", data))
    assert all(isinstance(text, str) for text in (found.job, found.job_sha256))
    return f"{min(len(found.wrong), 4)} wrong"


@cache
def _bundles() -> tuple[bytes, ...]:
    from satdiag.handover.manifest import About, Piece, manifest_pieces

    pieces = [Piece("report.html", b"<p>demo</p>", "the report"), Piece("data/rows.csv", b"a,b\n1,2\n", "rows")]
    about = About("0.0", "demo-1", "0" * 64, None, "•••123", False, "en", {"findings": 1}, ("no figures",))
    whole = [*pieces, *manifest_pieces(about, pieces)]
    return (_zipped([(one.name, one.data) for one in whole]),)


def _bundle_mended(data: bytes) -> bytes:
    """The sizes and hashes in the manifest made right, so that the words beside them are looked at."""
    try:
        members = dict(_members(data))
        manifest = json.loads(members["manifest.json"])
        for one in manifest["files"]:
            content = members.get(one["name"], b"")
            one["size"], one["sha256"] = len(content), hashlib.sha256(content).hexdigest()
        members["manifest.json"] = json.dumps(manifest).encode()
        return _zipped([*members.items()])
    except Exception:  # noqa: BLE001 (what is too broken to be mended stays as it is)
        return data


ZIP_PARSERS: tuple[Parser, ...] = (
    Parser("user-zip", _user_zips, _user_zip, ZIP),
    Parser("bundle-zip", _bundles, _bundle, ZIP, mend=_bundle_mended),
)
