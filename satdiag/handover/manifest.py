"""What a bundle holds: `manifest.json` for programs and `MANIFEST.txt` for people, which `sha256sum -c` reads too."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from satdiag.errors import bad_input
from satdiag.language import tell

SCHEMA = 1
JSON_NAME = "manifest.json"
TEXT_NAME = "MANIFEST.txt"
_HASH = re.compile(r"[0-9a-f]{64}")
_LISTED = re.compile(r"([0-9a-f]{64}) [ *](.+)")
_KEYS = ("name", "size", "sha256", "what", "steady")


@dataclass(frozen=True)
class Piece:
    """A file of the bundle before it is packed. `steady`: the same job and version give the same bytes."""

    name: str
    data: bytes
    what: str
    steady: bool = True


@dataclass(frozen=True)
class Listed:
    """A file as the manifest lists it; see `Piece`."""

    name: str
    size: int
    sha256: str
    what: str
    steady: bool


@dataclass(frozen=True)
class About:
    """What the bundle is of. `left_out` says in sentences what is not in it, and why."""

    satdiag: str
    job: str
    job_sha256: str
    as_of: str | None
    receiver: str
    full_id: bool
    language: str
    schemas: dict[str, int]
    left_out: tuple[str, ...] = ()


def manifest_pieces(about: About, pieces: Sequence[Piece]) -> tuple[Piece, Piece]:
    """`manifest.json` and `MANIFEST.txt` of the pieces; the second lists the first too, and nothing lists itself."""
    listed = [_listed(piece) for piece in sorted(pieces, key=lambda piece: piece.name)]
    document = {"schema": SCHEMA, **asdict(about), "files": [asdict(one) for one in listed]}
    text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    steady = all(piece.steady for piece in pieces)
    first = Piece(JSON_NAME, text.encode(), tell("this list, for programs"), steady)
    return first, Piece(TEXT_NAME, _readable(about, [*listed, _listed(first)]).encode(), "", steady)


def _listed(piece: Piece) -> Listed:
    digest = hashlib.sha256(piece.data).hexdigest()
    return Listed(piece.name, len(piece.data), digest, piece.what, piece.steady)


def _readable(about: About, listed: Sequence[Listed]) -> str:
    """Comment lines for people, then one line a file in the form that `sha256sum` writes and checks."""
    said = [
        tell("Hand-over of job {job}, receiver {receiver}.", job=about.job, receiver=about.receiver),
        tell("Made by satdiag {version} from the log alone.", version=about.satdiag),
        tell("SHA-256 of the job: {hash}", hash=about.job_sha256),
        tell("To check that nothing was changed: {command}", command="satdiag bundle --check BUNDLE.zip"),
        tell("or, in the unpacked folder: {command}", command=f"sha256sum -c {TEXT_NAME}"),
        tell("This shows accidents and careless changes; there is no signature in it."),
    ]
    lines = [*said, "", *(f"{one.name} ({one.size}): {one.what}" for one in listed)]
    lines += ["", *about.left_out] if about.left_out else []
    comments = "".join(f"# {' '.join(line.split())}".rstrip() + "\n" for line in lines)
    return comments + "".join(f"{one.sha256}  {one.name}\n" for one in listed)


def parse_manifest(data: bytes, file: str) -> tuple[dict[str, Any], dict[str, Listed]]:
    """A manifest and its files by name. Raises BadInput."""
    try:
        document = json.loads(data)
        if document["schema"] != SCHEMA:
            raise bad_input(
                file, f"schema {document['schema']!r} is not known here", "Use the satdiag that wrote it."
            )
        listed = [Listed(**{key: one[key] for key in _KEYS}) for one in document["files"]]
    except (ValueError, KeyError, TypeError, RecursionError):
        raise bad_input(file, "not a manifest of satdiag", "Ask for the bundle again.") from None
    for one in listed:
        if not isinstance(one.name, str) or not _HASH.fullmatch(str(one.sha256)) or not isinstance(one.size, int):
            raise bad_input(file, "a file is listed without name, size or hash", "Ask for the bundle again.")
    return document, {one.name: one for one in listed}


def parse_list(data: bytes) -> dict[str, str]:
    """The hashes of `MANIFEST.txt` by file name; lines of another form are comments."""
    found = (_LISTED.fullmatch(line) for line in data.decode("utf-8", errors="replace").splitlines())
    return {match[2]: match[1] for match in found if match is not None}
